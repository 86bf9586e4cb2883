"""The id of a request: the client's, if it sent a sane one, else one of our own."""

from __future__ import annotations

import re
import secrets

_SANE = re.compile(rb"[A-Za-z0-9._-]{8,64}")
_TRACE = re.compile(rb"(?!ff)[0-9a-f]{2}-(?!0{32})([0-9a-f]{32})-(?!0{16})[0-9a-f]{16}-[0-9a-f]{2}(?:-.*)?")


def request_id(headers: list[tuple[bytes, bytes]]) -> str:
    """The id of a request by its headers: ``X-Request-Id``, else the trace id of ``traceparent``, else a new one.

    Only letters, digits, dot, underscore and dash are taken, so that an id can stand in a log, a header and a URN. A
    header that is sent twice counts as none.

    Source: W3C Recommendation "Trace Context", section 3.2, for ``traceparent``.
    """
    own = [value for name, value in headers if name == b"x-request-id"]
    if len(own) == 1 and _SANE.fullmatch(own[0]):
        return own[0].decode()
    parents = [value for name, value in headers if name == b"traceparent"]
    if len(parents) == 1 and (found := _TRACE.fullmatch(parents[0])) and _length_fits(parents[0]):
        return found[1].decode()
    return secrets.token_hex(16)


def _length_fits(parent: bytes) -> bool:
    """Version 00 has nothing behind its flags; later ones may."""
    return len(parent) == 55 or not parent.startswith(b"00")
