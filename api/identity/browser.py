"""A signed-on browser: its token, sealed in a cookie that no script can read.

The cookie holds the token itself, encrypted and dated by the server's own secret (Fernet), so that there is one way to
be known, and ending the token ends every browser that came in by it. Another site can make a browser send requests, but
not ones that say they come from a page of ours; what changes anything is taken from our own pages only.
"""

from __future__ import annotations

from base64 import urlsafe_b64encode
from urllib.parse import urlsplit

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from starlette.requests import HTTPConnection

COOKIE = "setup_audit_signed_on"
SECURE_COOKIE = f"__Host-{COOKIE}"
"""Its name where the page came by HTTPS: a browser then takes it from no other host, and sends it nowhere else."""
GOOD_FOR = 12 * 3600
"""Seconds that a browser stays signed on."""
MOST_BYTES = 4000
"""Most bytes of a cookie that every browser keeps."""
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class TooLong(Exception):
    """A token that no cookie can hold."""


class Browsers:
    """Seals tokens into cookies and opens them.

    Args:
        secret: the server's own; other servers on the same store need the same one.
    """

    def __init__(self, secret: bytes) -> None:
        key = HKDF(SHA256(), 32, salt=None, info=b"setup audit, browser").derive(secret)
        self._fernet = Fernet(urlsafe_b64encode(key))

    def sealed(self, token: str, now: float) -> str:
        """What the cookie holds. Raises TooLong."""
        found = self._fernet.encrypt_at_time(token.encode(), int(now)).decode()
        if len(found) > MOST_BYTES:
            raise TooLong
        return found

    def opened(self, cookie: str, now: float) -> str | None:
        """The token in a cookie; None if it is not ours, was changed or is older than it may be."""
        try:
            return self._fernet.decrypt_at_time(cookie.encode("ascii", "replace"), GOOD_FOR, int(now)).decode()
        except InvalidToken:
            return None


def cookie_name(request: HTTPConnection) -> str:
    """The cookie's name for the way that a request came."""
    return SECURE_COOKIE if request.url.scheme == "https" else COOKIE


def from_own_page(request: HTTPConnection) -> bool:
    """Whether a request that changes something comes from a page of this server (Fetch Metadata, else Origin)."""
    if request.scope["method"] in _SAFE:
        return True
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = request.headers.get("origin", "")
    return bool(origin) and urlsplit(origin).netloc == request.headers.get("host")
