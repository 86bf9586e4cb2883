"""How large a body may be, and how often a client may ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.types import Message, Receive

from api.middleware.rates import Rate
from audit.intake.json_text import MOST_BYTES

USUAL = 2 * MOST_BYTES
"""Bytes that a body may have where a route says nothing of its own: room for a setup and what is asked of it."""
FREE = "/health/live"
"""Never counted against a rate: a server that is merely busy must not be started again."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Limits of a server.

    Attributes:
        sizes: the most bytes of a body by the path's first part, ``("/rulebooks", 16_000_000)``; else ``usual``.
        by_token, by_address: rates; None for none, as on a machine that only its own user can reach. The one by address
            also holds for whoever changes tokens with every request, so it should be several times the other.
        most_keys: tokens, and addresses, that are remembered at once.
    """

    sizes: Sequence[tuple[str, int]] = ()
    usual: int = USUAL
    by_token: Rate | None = None
    by_address: Rate | None = None
    most_keys: int = 20_000

    def most_bytes(self, path: str) -> int:
        """The most bytes that a body sent to a path may have."""
        for first, most in self.sizes:
            if path == first or path.startswith(f"{first}/"):
                return most
        return self.usual


class TooLarge(HTTPException):
    """A body has more bytes than it may have."""

    def __init__(self, most: int) -> None:
        super().__init__(413, f"A body sent here may have at most {most:,} bytes.")


def says_too_large(headers: list[tuple[bytes, bytes]], most: int) -> bool:
    """Whether a request's own words are that its body is too large."""
    for name, value in headers:
        if name == b"content-length" and value.isdigit() and (len(value) > 18 or int(value) > most):
            return True
    return False


def counted(receive: Receive, most: int) -> Receive:
    """``receive`` that raises TooLarge as soon as more bytes came than may, whatever the headers said."""
    size = 0

    async def counting() -> Message:
        nonlocal size
        message = await receive()
        if message["type"] == "http.request":
            size += len(message.get("body", b""))
            if size > most:
                raise TooLarge(most)
        return message

    return counting
