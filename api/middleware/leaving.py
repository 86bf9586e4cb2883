"""Running the HTTP server, and stopping it so that no answer is lost.

Told to stop, the server first says that it is not ready and closes each connection with its answer, but goes on
answering for ``linger`` seconds: time for a balancer in front of it to send requests elsewhere. Then it takes no more
connections, finishes the requests that it has, for ``patience`` seconds at most, and ends. Told twice, it does not
linger.
"""

from __future__ import annotations

import time
from types import FrameType
from typing import Any

import uvicorn
from fastapi import FastAPI

from api.middleware.protocol import BoundedProtocol

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "api.middleware.log.ServerLine"}},
    "handlers": {"errors": {"class": "logging.StreamHandler", "formatter": "line"}},
    "loggers": {"uvicorn": {"handlers": ["errors"], "level": "INFO", "propagate": False}},
}


class LeavingServer(uvicorn.Server):
    """An HTTP server that sets ``app.state.leaving`` for a while before it stops."""

    def __init__(self, settings: uvicorn.Config, app: FastAPI, linger: float) -> None:
        super().__init__(settings)
        self.app, self.linger = app, linger
        self._told: tuple[int, float] | None = None

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Called for a signal to stop."""
        if self._told is None:
            self.app.state.leaving = True
            self._told = sig, time.monotonic() + self.linger
        else:
            self._told = sig, 0.0
            super().handle_exit(sig, frame)

    async def on_tick(self, counter: int) -> bool:
        """Called ten times a second: whether to stop."""
        if self._told is not None and not self.should_exit and time.monotonic() >= self._told[1]:
            super().handle_exit(self._told[0], None)
        return await super().on_tick(counter)


def run(app: FastAPI, host: str, port: int, linger: float = 0.0, patience: int = 30) -> None:
    """Serves an app until the process is told to stop.

    Args:
        linger: s to go on answering as not ready; a balancer needs as long as it takes to look twice.
        patience: s that requests in flight have to finish.
    """
    settings = uvicorn.Config(
        app,
        host=host,
        port=port,
        http=BoundedProtocol,
        log_config=LOGGING,
        access_log=False,  # the passage writes a line for each request
        server_header=False,
        timeout_graceful_shutdown=patience,
    )
    LeavingServer(settings, app, linger).run()
