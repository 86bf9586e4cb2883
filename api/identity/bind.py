"""On which addresses the service may be reached."""

from __future__ import annotations

from api.identity.fetch import is_loopback


def may_bind(host: str, tokens: bool, sign_on: bool, behind_proxy: bool) -> str | None:
    """Why the service must not listen on an address, None if it may.

    Tokens open what they are for to whoever reads them, those of a sign-on as well (RFC 6750, section 5.2), and this
    server speaks plain HTTP. So another machine may reach it only through a proxy that encrypts.

    Args:
        tokens: whether a token of ours opens anything.   sign_on: whether an organisation's own sign-on is set up.
        behind_proxy: whoever starts it says that only such a proxy can reach the address.
    """
    if is_loopback(host):
        return None
    reached = f"{host or 'every address'} can be reached from other machines"
    if not (tokens or sign_on):
        return f"{reached}, and nobody has a token yet. Make one first: setup-audit token make"
    if not behind_proxy:
        return (
            f"{reached}, and tokens would cross the network in plain text. Use 127.0.0.1, or put a proxy that "
            "encrypts in front, let nothing else reach the address, and say so with --behind-proxy."
        )
    return None
