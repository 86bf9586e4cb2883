"""What may be asked of an issuer of tokens, and what its answers must be."""

from __future__ import annotations

from collections.abc import Mapping
from ipaddress import ip_address
from typing import Protocol
from urllib.parse import urlsplit

from api.certificates.text import read_json

MOST_BYTES = 512 * 1024
PATIENCE = 5.0
"""Seconds for a whole answer, however slowly it drips."""


class NotFetched(Exception):
    """The answer can't be had, and why."""


class Asks(Protocol):
    """Asks an issuer. No redirect is followed, nothing is unpacked."""

    def get(self, url: str) -> object:
        """A JSON document. Raises NotFetched."""

    def post(self, url: str, form: Mapping[str, str], headers: Mapping[str, str]) -> tuple[int, object]:
        """Status and JSON document that a form is answered with. Raises NotFetched."""


def json_of(url: str, body: bytes) -> object:
    """A document out of an answer's bytes. Raises NotFetched."""
    try:
        return read_json(body)
    except ValueError as error:
        raise NotFetched(f"{url} is no JSON that can be trusted: {error}") from error


def why_not_fetch(url: str) -> str | None:
    """Why an address must not be asked, None if it may be: it is https, or stays on this machine."""
    try:
        parts = urlsplit(url)
        _ = parts.port
    except ValueError:
        return "the address can't be read"
    if not parts.hostname or parts.username is not None or parts.fragment or not url.isprintable() or " " in url:
        return "the address must name a host, and neither user nor fragment"
    if parts.scheme == "https" or (parts.scheme == "http" and is_loopback(parts.hostname)):
        return None
    return "the address must begin with https://"


def is_loopback(host: str) -> bool:
    """Whether an address can be reached from this machine only."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
