"""Asks addresses that a user gave, without letting them reach what only this server can reach.

A name is resolved once, every address that it stands for is looked at, and the connection goes to one of those; asking
again would let the name's owner answer otherwise the second time. No redirect is followed, no proxy is used.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from threading import Timer
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

ALLOWED = "SETUP_AUDIT_OWN_NETWORKS"
"""Names networks of one's own that may be asked, also without encryption: ``10.1.0.0/16, 127.0.0.1/32``."""
PATIENCE = 20.0
"""Seconds for one exchange, however slowly it drips."""
MOST_BYTES = 32 * 1024 * 1024
_CHUNK = 64 * 1024

Network = IPv4Network | IPv6Network
Resolve = Callable[[str, int], Sequence[Any]]

_CARRY_IPV4 = tuple(
    ip_network(one) for one in ("64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", "2001::/32", "::ffff:0:0/96", "::/96")
)
"""IPv6 networks whose addresses lead to an IPv4 address (RFC 6052, 8215, 3056, 4380, 4291): the world's view of them
says nothing of where they end, so they are refused."""


class Unsafe(Exception):
    """The address must not be asked, and why."""


class NotReached(Exception):
    """No whole answer came, and why."""


@dataclass(frozen=True, slots=True)
class Safe:
    """An address that was looked at.

    Attributes:
        url: as it was given.   host, port: as the server is called.
        reached_at: the IP address that the connection goes to.
    """

    url: str
    scheme: str
    host: str
    port: int
    target: str
    reached_at: str


@dataclass(frozen=True, slots=True)
class Reply:
    """What was answered; header names in small letters."""

    status: int
    headers: Mapping[str, str]
    body: bytes


def own_networks(environment: Mapping[str, str]) -> tuple[Network, ...]:
    """Networks that the environment allows. Raises Unsafe for what is none."""
    found = []
    for one in environment.get(ALLOWED, "").split(","):
        if one.strip():
            try:
                found.append(ip_network(one.strip()))
            except ValueError as error:
                raise Unsafe(f"${ALLOWED}: {error}") from error
    return tuple(found)


def looked_at(url: str, own: Sequence[Network] = (), resolve: Resolve | None = None) -> Safe:
    """The address, resolved once and safe to ask.

    Args:
        own: networks that may be asked although they are not public.
        resolve: as ``socket.getaddrinfo``.

    Raises: Unsafe.
    """
    try:
        parts = urlsplit(url)
        port = parts.port or (443 if parts.scheme == "https" else 80)
    except ValueError:
        raise Unsafe("the address can't be read") from None
    host = (parts.hostname or "").rstrip(".")
    if parts.scheme not in ("http", "https") or not host:
        raise Unsafe("the address must begin with https:// and name a host")
    if parts.username is not None or parts.password is not None:
        raise Unsafe("the address must not carry a user or password")
    if parts.fragment or not url.isascii() or not url.isprintable() or " " in url or "\\" in url:
        raise Unsafe("the address must be plain ASCII, without spaces, backslashes or a fragment")
    found = _resolved(host, port, resolve or socket.getaddrinfo)
    for one in found:
        _check(host, one, parts.scheme, own)
    target = parts.path or "/"
    return Safe(url, parts.scheme, host, port, f"{target}?{parts.query}" if parts.query else target, str(found[0]))


def ask(
    address: Safe,
    method: str = "GET",
    headers: Mapping[str, str] | None = None,
    body: bytes = b"",
    patience: float = PATIENCE,
    most_bytes: int = MOST_BYTES,
) -> Reply:
    """One exchange with an address that was looked at. Raises NotReached."""
    import httpx2

    shown = f"[{address.host}]" if ":" in address.host else address.host
    usual = 443 if address.scheme == "https" else 80
    at = f"[{address.reached_at}]" if ":" in address.reached_at else address.reached_at
    sent = {
        **(headers or {}),
        "Host": shown if address.port == usual else f"{shown}:{address.port}",
        "Accept-Encoding": "identity",
    }
    until = monotonic() + patience
    found = bytearray()
    try:
        with (
            httpx2.Client(timeout=patience, follow_redirects=False, trust_env=False) as client,
            _closed_after(patience, client.close),
            client.stream(
                method, f"{address.scheme}://{at}:{address.port}{address.target}", headers=sent, content=body or None,
                extensions={"sni_hostname": address.host},
            ) as answer,
        ):  # fmt: skip
            if (coding := answer.headers.get("content-encoding", "identity").lower()) not in ("identity", ""):
                raise NotReached(f"{address.host} answers in a coding that was not asked for ({coding[:40]})")
            for piece in answer.iter_raw(_CHUNK):
                found += piece
                if len(found) > most_bytes:
                    raise NotReached(f"{address.host} answers with more than {most_bytes:,} bytes")
                if monotonic() > until:
                    raise NotReached(f"{address.host} took longer than {patience:g} s")
            said = {name.lower(): value for name, value in answer.headers.items()}
            return Reply(answer.status_code, said, bytes(found))
    except (httpx2.HTTPError, httpx2.InvalidURL, OSError, RuntimeError) as error:
        if monotonic() > until:
            raise NotReached(f"{address.host} took longer than {patience:g} s") from error
        raise NotReached(f"{address.host} can't be reached: {type(error).__name__}") from error


@contextmanager
def _closed_after(seconds: float, close: Callable[[], None]) -> Iterator[None]:
    """Ends an exchange whose every byte comes in time, but not the whole: the client's own limit is for each read."""
    timer = Timer(seconds, close)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _resolved(host: str, port: int, resolve: Resolve) -> list[IPv4Address | IPv6Address]:
    try:
        answers = resolve(host, port)
        found = [ip_address(str(one[4][0]).partition("%")[0]) for one in answers]
    except (OSError, UnicodeError, ValueError) as error:
        raise Unsafe(f"{host} stands for no address") from error
    if not found:
        raise Unsafe(f"{host} stands for no address")
    return list(dict.fromkeys(found))


def _check(host: str, one: IPv4Address | IPv6Address, scheme: str, own: Sequence[Network]) -> None:
    if any(one in network for network in own if network.version == one.version):
        return
    carries = one.version == 6 and any(one in network for network in _CARRY_IPV4)
    if carries or not one.is_global or one.is_multicast or one.is_reserved:
        raise Unsafe(f"{host} leads into a network that is not public ({one}); ${ALLOWED} may name one's own networks")
    if scheme != "https":
        raise Unsafe("the address must begin with https://")
