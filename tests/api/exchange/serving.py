"""A server on this machine that answers as a test wants."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


class Asked(BaseHTTPRequestHandler):
    """A request as a test's own server sees it."""

    def answer(self, status: int, body: bytes, **headers: str) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: Any) -> None:
        """Nothing on the terminal."""


@contextmanager
def serving(answer: Any, context: ssl.SSLContext | None = None) -> Iterator[int]:
    """A server on this machine; its port."""

    class Handler(Asked):
        def do_GET(self) -> None:
            with suppress(BrokenPipeError, ConnectionResetError):  # whoever asked may have gone, as a test wants
                answer(self)

        do_POST = do_GET

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if context is not None:
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
