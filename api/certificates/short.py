"""The short form of a certificate, for a sticker or a screen: where to ask, which start, and which certificate.

It proves nothing by itself. Whoever reads it asks the server, or holds it against the certificate.
"""

from __future__ import annotations

import hmac
from hashlib import sha256
from urllib.parse import quote

from api.certificates.certificate import Claims

DIGITS = 16
"""Hexadecimal digits of the certificate's SHA-256."""


def short_form(page: str, start: str, certificate: str) -> str:
    """``page/start/digest``, where ``page`` is the address of the server's page that looks starts up."""
    return f"{page.rstrip('/')}{_ending(start, certificate)}"


def belongs(short: str, claims: Claims, certificate: str) -> bool:
    """Whether a short form is of this certificate. The certificate must have been read, or the answer says nothing."""
    ending = _ending(claims.start, certificate)
    return hmac.compare_digest(short.strip()[-len(ending) :].encode(), ending.encode())


def _ending(start: str, certificate: str) -> str:
    return f"/{quote(start, safe='')}/{sha256(certificate.encode()).hexdigest()[:DIGITS]}"
