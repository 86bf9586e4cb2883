"""The layout: its own process, nothing from outside, the same bytes, a clear answer where something is missing."""

from __future__ import annotations

import http.server
import io
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from api.pages.sheets import press


def test_nothing_is_fetched(tmp_path: Path) -> None:
    asked: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Listener)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    secret = tmp_path / "secret.txt"
    secret.write_text("not to be read")
    here = f"http://127.0.0.1:{server.server_port}"
    html = f"""<html><head><link rel="stylesheet" href="{here}/a.css">
        <style>@import url({here}/b.css); body {{ background: url({here}/c.png) }}
        @font-face {{ font-family: x; src: url({here}/d.woff) }}</style></head>
        <body style="font-family: x"><img src="{here}/e.png"><object data="{here}/g.svg"></object>
        <a rel="attachment" href="{secret.as_uri()}">x</a>text</body></html>"""
    try:
        with pytest.raises(RuntimeError, match="asked for"):
            press.pressed(html)
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert asked == []


def test_the_same_text_gives_the_same_bytes() -> None:
    html = "<html><body><p>Grüße, 497 r/min ≥ 12 → ■ ▲ ●</p><svg viewBox='0 0 4 4'><circle r='2'/></svg></body></html>"
    assert press.pressed(html) == press.pressed(html)


def test_headings_are_in_the_files_own_structure() -> None:
    pdf = press.pressed("<html lang='de'><body><h1>Titel</h1><p>Text</p></body></html>")
    root = PdfReader(io.BytesIO(pdf)).root_object
    mark: Any = root["/MarkInfo"]
    assert mark["/Marked"]  # ISO 32000-2, 14.7: a tagged file, which a screen reader needs


def test_what_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def lacking(*_: object, **__: object) -> subprocess.CompletedProcess[bytes]:
        return subprocess.CompletedProcess([], press.LACKS, b"", b"cannot load library 'libpango-1.0-0'")

    monkeypatch.setattr(subprocess, "run", lacking)
    with pytest.raises(press.LacksLayout, match="libpango"):
        press.pressed("<p>x</p>")


def test_its_process_says_that_the_library_is_missing(tmp_path: Path) -> None:
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load library')")
    root = Path(__file__).parents[4]
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = [{str(tmp_path)!r}, {str(root)!r}]; "
         "from api.pages.sheets.press import main; sys.exit(main())"],
        input=b"<p>x</p>", capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == press.LACKS


def test_a_sheet_that_takes_too_long_is_given_up_and_its_turn_is_free_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(press, "LONGEST", 0.01)
    for _ in range(press.AT_ONCE + 1):
        with pytest.raises(press.Busy, match="workbook"):
            press.pressed("<p>x</p>")


def test_only_so_many_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(press, "PATIENCE", 0.01)
    monkeypatch.setattr(press, "_turns", threading.BoundedSemaphore(1))
    with press._turns, pytest.raises(press.Busy, match="try again"):
        press.pressed("<p>x</p>")
