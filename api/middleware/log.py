"""The log: one JSON object a line for each request. It never holds a token, a query or anything out of a body."""

from __future__ import annotations

import asyncio
import json
import logging
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TextIO

import msgspec

_encode = msgspec.json.Encoder().encode
MOST_KINDS = 5
"""Most failures that are named where one led to another."""
MOST_FRAMES = 20
"""Most places of a failure's path that are named, the innermost ones."""


class Log:
    """Writes lines to a stream. Those of requests that end together are written together, as each write costs.

    Args:
        lost: told how many lines could not be written, for the log must not stop the service.
    """

    def __init__(self, stream: TextIO, lost: Callable[[int], None]) -> None:
        self.stream, self.lost = stream, lost
        self._waiting: list[bytes] = []

    def write(self, at: float, line: dict[str, Any]) -> None:
        """Takes one line, in the event loop; it is written before the loop waits for anything.

        Args:
            at: s since 1970.
        """
        if not self._waiting:
            asyncio.get_running_loop().call_soon(self._write)
        self._waiting.append(_encode({"time": _moment(at), **line}))

    def _write(self) -> None:
        lines, self._waiting = self._waiting, []
        try:
            self.stream.write(b"\n".join([*lines, b""]).decode())
            self.stream.flush()
        except (OSError, ValueError):  # the pipe's reader is gone, the disk is full, the stream was closed
            self.lost(len(lines))


def failure(error: BaseException) -> dict[str, Any]:
    """What a failure was and where, by types and places only: its message may hold what was sent."""
    kinds: list[str] = []
    seen: BaseException | None = error
    while seen is not None and len(kinds) < MOST_KINDS:
        kinds.append(type(seen).__name__)
        seen = seen.__cause__ or seen.__context__
    frames = traceback.extract_tb(error.__traceback__)[-MOST_FRAMES:]
    return {"error": " from ".join(kinds), "places": [f"{one.filename}:{one.lineno} {one.name}" for one in frames]}


class ServerLine(logging.Formatter):
    """What the HTTP server itself has to say, in lines of the same form."""

    def format(self, record: logging.LogRecord) -> str:
        """One line. A failure is told as ``failure`` tells it."""
        line = {"time": _moment(record.created), "level": record.levelname.lower(), "server": record.getMessage()}
        told = failure(record.exc_info[1]) if record.exc_info and record.exc_info[1] else {}
        return json.dumps({**line, **told}, ensure_ascii=False)


def _moment(at: float) -> str:
    return datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds")
