"""Fetches a small JSON document from an issuer of tokens."""

from __future__ import annotations

from ipaddress import ip_address
from time import monotonic
from urllib.parse import urlsplit

from api.certificates.text import read_json

MOST_BYTES = 512 * 1024
PATIENCE = 5.0
"""Seconds for the whole document, however slowly it drips."""


class NotFetched(Exception):
    """The document can't be had, and why."""


def fetch_json(url: str) -> object:
    """A JSON document by GET. No redirect is followed, nothing is unpacked. Raises NotFetched."""
    import httpx2

    if why := why_not_fetch(url):
        raise NotFetched(why)
    until = monotonic() + PATIENCE
    headers = {"Accept": "application/json", "Accept-Encoding": "identity"}
    body = bytearray()
    try:
        with (
            httpx2.Client(timeout=PATIENCE, follow_redirects=False) as client,
            client.stream("GET", url, headers=headers) as answer,
        ):
            if answer.status_code != 200:
                raise NotFetched(f"{url} answers {answer.status_code}")
            for piece in answer.iter_raw(16 * 1024):
                body += piece
                if len(body) > MOST_BYTES:
                    raise NotFetched(f"{url} is longer than {MOST_BYTES} bytes")
                if monotonic() > until:
                    raise NotFetched(f"{url} took longer than {PATIENCE:g} s")
    except (httpx2.HTTPError, httpx2.InvalidURL, OSError) as error:
        raise NotFetched(f"{url} can't be reached: {type(error).__name__}") from error
    try:
        return read_json(bytes(body))
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
