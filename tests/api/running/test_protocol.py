"""What is sent to the server's port, byte by byte: requests without an end are refused, and cost little memory."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from tests.api.running.servers import Server, serving

STEP, MOST = 64 * 1024, 1024 * 1024
POST = b"POST /audits HTTP/1.1\r\nHost: here\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    folder = tmp_path_factory.mktemp("protocol")
    secret = folder / "secret"
    secret.write_bytes(bytes(32))
    secret.chmod(0o600)
    address = f"sqlite:///{folder / 'record.db'}"
    with serving(address, {"SETUP_AUDIT_SECRET_FILE": str(secret)}, folder, 1) as (found,):
        yield found


def answer(server: Server, begins: bytes, goes_on: bytes) -> tuple[bytes, int]:
    """What the server says to bytes that never come to an end, and how many it took until it closed."""
    sent, said = 0, b""
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        line.sendall(begins)
        try:
            while sent < MOST:
                line.sendall(goes_on * (STEP // len(goes_on)))
                sent += STEP
            line.shutdown(socket.SHUT_WR)
        except OSError:
            pass
        try:
            while some := line.recv(65536):
                said += some
        except OSError:
            pass
    return said, sent


@pytest.mark.parametrize(
    ("begins", "goes_on"),
    [
        pytest.param(b"GET /", b"x", id="path"),
        pytest.param(b"GET / HTTP/1.1\r\nHost: here\r\nX-Long: ", b"x", id="header"),
        pytest.param(b"GET / HTTP/1.1\r\nHost: here\r\n", b"X-One: more\r\n", id="headers"),
        pytest.param(POST + b"1;", b"x", id="chunk extension"),
        pytest.param(POST + b"2\r\n{}\r\n0\r\nX-Long: ", b"x", id="trailer"),
        pytest.param(POST + b"2\r\n{}\r\n0\r\n", b"X-One: more\r\n", id="trailers"),
    ],
)
def test_what_never_ends_is_refused(server: Server, begins: bytes, goes_on: bytes) -> None:
    said, sent = answer(server, begins, goes_on)
    assert sent < MOST or b" 400 " in said
    assert said == b"" or b"HTTP/1.1 400 Bad Request" in said
    well = answer_of(server, b"GET /health/live HTTP/1.1\r\nHost: here\r\nConnection: close\r\n\r\n")
    assert well.startswith(b"HTTP/1.1 200 OK")


def test_a_head_of_a_usual_length_is_taken(server: Server) -> None:
    head = b"GET /health/live HTTP/1.1\r\nHost: here\r\nX-Long: " + b"x" * 30_000 + b"\r\n"
    assert answer_of(server, head + b"Connection: close\r\n\r\n").startswith(b"HTTP/1.1 200 OK")


@pytest.mark.parametrize(
    "request_",
    [
        b"GET / HTTP/1.1\r\nHost: here\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: here\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
        b"GET / HTTP/1.1\r\nHost: here\r\nBad Name: 1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: here\r\nX: a\x00b\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    ],
    ids=["two lengths", "lengths that differ", "a space in a name", "NUL", "TLS"],
)
def test_what_two_readers_could_take_differently_is_refused(server: Server, request_: bytes) -> None:
    said = answer_of(server, request_)
    assert said.startswith(b"HTTP/1.1 400 Bad Request"), said


def answer_of(server: Server, request_: bytes) -> bytes:
    """The whole of what the server says until it closes."""
    said = b""
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        line.sendall(request_)
        while some := line.recv(65536):
            said += some
    return said
