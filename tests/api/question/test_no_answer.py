"""Whatever comes instead of an answer is held, in both examples: broken, cut, redirected, huge, misspelt, or silent."""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.api.question.page import python_example, written

CLEARED = b'{"answer": "cleared", "reasons": [], "certificate": null}'


def answer(body: bytes, status: str = "200 OK", *more: str, length: int | None = None) -> bytes:
    """The bytes of an HTTP answer."""
    heads = [
        f"HTTP/1.1 {status}",
        f"Content-Length: {len(body) if length is None else length}",
        "Connection: close",
        *more,
    ]
    return "\r\n".join(heads).encode() + b"\r\n\r\n" + body


INSTEAD = {
    "closed at once": b"",
    "no HTTP": b"\x00\x01\x02 hello\r\n\r\n",
    "cut body": answer(CLEARED[:30], length=len(CLEARED)),
    "cut between": answer(CLEARED, length=len(CLEARED) + 40),
    "not JSON": answer(b"<html>cleared</html>"),
    "not UTF-8": answer(b'{"answer": "\xff"}'),
    "a list": answer(b'["cleared"]'),
    "a text": answer(b'"cleared"'),
    "null": answer(b"null"),
    "another word": answer(b'{"answer": "CLEARED"}'),
    "true": answer(b'{"answer": true}'),
    "no answer": answer(b'{"clearance": "cleared"}'),
    "nothing": answer(b""),
    "an error that says cleared": answer(CLEARED, "500 Internal Server Error"),
    "not found": answer(CLEARED, "404 Not Found"),
    "created": answer(CLEARED, "201 Created"),
    "a redirect": answer(CLEARED, "302 Found", "Location: http://127.0.0.1:9/may-start"),
    "a redirect to itself": answer(CLEARED, "307 Temporary Redirect", "Location: /may-start"),
    "too nested": answer(b"[" * 100_000),
}


@contextmanager
def saying(said: bytes) -> Iterator[str]:
    """A server that says the same to whoever comes."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        going = threading.Event()

        def serve() -> None:
            door.settimeout(0.1)
            while not going.is_set():
                try:
                    line, _ = door.accept()
                except TimeoutError:
                    continue
                with line:
                    line.settimeout(5)
                    line.recv(65536)
                    line.sendall(said)
                    line.shutdown(socket.SHUT_WR)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield f"http://127.0.0.1:{door.getsockname()[1]}"
        finally:
            going.set()
            thread.join()


@pytest.mark.parametrize("what", INSTEAD)
@pytest.mark.parametrize("key", ["", "task-1"])
def test_python_holds(what: str, key: str, tmp_path: Path) -> None:
    with saying(INSTEAD[what]) as server:
        found = python_example(tmp_path).may_start(server, "token", "unit-07", "corn", "corn-head", 1001, key)
    assert found["answer"] == "held"
    assert found["say"].startswith("HELD: unit-07: ")
    assert found["certificate"] is None


def test_a_right_answer_from_the_same_server_is_taken(tmp_path: Path) -> None:
    """Or the ones above would hold for another reason."""
    with saying(answer(CLEARED)) as server:
        assert (
            python_example(tmp_path).may_start(server, "token", "unit-07", "corn", "corn-head")["answer"] == "cleared"
        )


@pytest.mark.skipif(shutil.which("node") is None, reason="no node here; .ci/run brings it")
def test_javascript_holds(tmp_path: Path) -> None:
    """All in one process of node: each of the answers above from a server of its own."""
    written(tmp_path)
    (tmp_path / "try.mjs").write_text(
        """
        import { mayStart } from "./may-start.mjs";
        const job = { unit: "unit-07", crop: "corn", header_kind: "corn-head" };
        const found = {};
        for (const [what, server] of Object.entries(JSON.parse(process.argv[2])))
          for (const key of ["", "task-1"]) found[what + key] = (await mayStart(server, "token", job, key)).answer;
        console.log(JSON.stringify(found));
        """,
        encoding="utf-8",
    )

    def all_of(left: list[str], servers: dict[str, str]) -> dict[str, str]:
        if left:
            with saying({**INSTEAD, "right": answer(CLEARED)}[left[0]]) as server:
                return all_of(left[1:], {**servers, left[0]: server})
        done = subprocess.run(
            ["node", "try.mjs", json.dumps(servers)], cwd=tmp_path, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        found: dict[str, str] = json.loads(done.stdout)
        return found

    found = all_of([*INSTEAD, "right"], {})
    assert found.pop("right") == found.pop("righttask-1") == "cleared"
    assert set(found.values()) == {"held"}
    assert len(found) == 2 * len(INSTEAD)
