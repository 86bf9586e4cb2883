"""Asks the issuer of an organisation's own sign-on.

Whoever runs this server chose the issuer, so its own host may stand in any network. Any other host that its documents
name must be public, or in a network that the server was told is its own, like every address that somebody else gave.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from ipaddress import ip_network
from urllib.parse import urlencode, urlsplit

from api.exchange.addresses import Network, NotReached, Reply, Resolve, Unsafe, ask, looked_at
from api.identity.fetch import MOST_BYTES, PATIENCE, NotFetched, json_of, why_not_fetch

_EVERYWHERE: tuple[Network, ...] = (ip_network("0.0.0.0/0"), ip_network("::/0"))
_FORM = "application/x-www-form-urlencoded"


class Asking:
    """Asks one issuer.

    Args:
        issuer: its name, which is its address.
        own: networks that may be asked although they are not public.
        resolve: as ``socket.getaddrinfo``.
    """

    def __init__(self, issuer: str, own: Sequence[Network] = (), resolve: Resolve | None = None) -> None:
        self._host, self._own, self._resolve = urlsplit(issuer).hostname, own, resolve

    def get(self, url: str) -> object:
        """A JSON document. Raises NotFetched."""
        reply = self._asked(url, "GET", {})
        if reply.status != 200:
            raise NotFetched(f"{url} answers {reply.status}")
        return json_of(url, reply.body)

    def post(self, url: str, form: Mapping[str, str], headers: Mapping[str, str]) -> tuple[int, object]:
        """Status and JSON document that a form is answered with. Raises NotFetched; also for a redirect or 5xx."""
        reply = self._asked(url, "POST", {"Content-Type": _FORM, **headers}, urlencode(form).encode("ascii"))
        if not (reply.status == 200 or 400 <= reply.status < 500):
            raise NotFetched(f"{url} answers {reply.status}")
        return reply.status, json_of(url, reply.body)

    def _asked(self, url: str, method: str, headers: Mapping[str, str], body: bytes = b"") -> Reply:
        if why := why_not_fetch(url):
            raise NotFetched(why)
        own = _EVERYWHERE if urlsplit(url).hostname == self._host else self._own
        try:
            address = looked_at(url, own, self._resolve)
            return ask(address, method, {"Accept": "application/json", **headers}, body, PATIENCE, MOST_BYTES)
        except (Unsafe, NotReached) as error:
            raise NotFetched(f"{url}: {error}") from error
