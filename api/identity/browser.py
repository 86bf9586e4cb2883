"""A signed-on browser: how it is known, sealed in a cookie that no script can read.

What a cookie holds is encrypted and dated by the server's own secret (Fernet). For a token of this server that is the
token itself, so that there is one way to be known, and ending the token ends every browser that came in by it; for the
organisation's own sign-on it is what the issuer said. Another site can make a browser send requests, but not ones that
say they come from a page of ours; what changes anything is taken from our own pages only.
"""

from __future__ import annotations

from base64 import urlsafe_b64encode
from urllib.parse import urlsplit

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from starlette.requests import HTTPConnection

from api.identity.session import Begun, Session, read_begun, read_session, written

COOKIE = "setup_audit_signed_on"
BEGUN_COOKIE = "setup_audit_signing_on"
"""Begins the name of a cookie for each sign-in that was begun; the first characters of its state end it."""
SECURE = "__Host-"
"""Begins a cookie's name where the page came by HTTPS: a browser then takes it from no other host, and sends it nowhere
else."""
GOOD_FOR = 12 * 3600
"""Most seconds that a browser stays signed on."""
BEGUN_FOR = 600
"""Seconds within which a sign-in that was begun must be ended."""
MOST_BYTES = 4000
"""Most bytes of a cookie that every browser keeps."""
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_STATE_NAMED = 12


class TooLong(Exception):
    """What no cookie can hold."""


class Browsers:
    """Seals what is put into cookies, and opens it.

    Args:
        secret: the server's own; other servers on the same store need the same one.
    """

    def __init__(self, secret: bytes) -> None:
        self._signed_on, self._begun = (_fernet(secret, use) for use in (b"browser", b"sign-in that was begun"))

    def sealed(self, shown: str | Session, now: float) -> str:
        """The cookie of a token, or of who signed in by the organisation's own sign-on. Raises TooLong."""
        return _sealed(self._signed_on, written(shown) if isinstance(shown, Session) else shown, now)

    def opened(self, cookie: str, now: float) -> str | Session | None:
        """What was sealed; None if it is not ours, was changed or is older than it may be."""
        found = _opened(self._signed_on, cookie, GOOD_FOR, now)
        if found is None or not found.startswith("{"):  # no token begins so
            return found
        return read_session(found)

    def begun_sealed(self, begun: Begun, now: float) -> str:
        """The cookie of a sign-in that was begun. Raises TooLong."""
        return _sealed(self._begun, written(begun), now)

    def begun_opened(self, cookie: str, now: float) -> Begun | None:
        """The sign-in that was begun; None as for ``opened``."""
        found = _opened(self._begun, cookie, BEGUN_FOR, now)
        return None if found is None else read_begun(found)


def cookie_name(request: HTTPConnection) -> str:
    """The cookie's name for the way that a request came."""
    return _secure(request) + COOKIE


def begun_cookie_name(request: HTTPConnection, state: str) -> str:
    """The name of the cookie of a sign-in that was begun, so that several can be under way in one browser."""
    return f"{_secure(request)}{BEGUN_COOKIE}_{state[:_STATE_NAMED]}"


def begun_cookies(request: HTTPConnection) -> list[str]:
    """Names of the cookies of sign-ins that were begun and not ended."""
    return [name for name in request.cookies if name.startswith(f"{_secure(request)}{BEGUN_COOKIE}_")]


def from_own_page(request: HTTPConnection) -> bool:
    """Whether a request that changes something comes from a page of this server (Fetch Metadata, else Origin)."""
    if request.scope["method"] in _SAFE:
        return True
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("origin", "")
    return bool(origin) and urlsplit(origin).netloc == request.headers.get("host")


def _secure(request: HTTPConnection) -> str:
    return SECURE if request.url.scheme == "https" else ""


def _fernet(secret: bytes, use: bytes) -> Fernet:
    key = HKDF(SHA256(), 32, salt=None, info=b"setup audit, " + use).derive(secret)
    return Fernet(urlsafe_b64encode(key))


def _sealed(by: Fernet, text: str, now: float) -> str:
    found = by.encrypt_at_time(text.encode(), int(now)).decode()
    if len(found) > MOST_BYTES:
        raise TooLong
    return found


def _opened(by: Fernet, cookie: str, lasts: int, now: float) -> str | None:
    try:
        return by.decrypt_at_time(cookie.encode("ascii", "replace"), lasts, int(now)).decode()
    except InvalidToken:
        return None
