"""setup-audit serve"""

from __future__ import annotations

import ipaddress
import sys
from collections.abc import Sequence
from pathlib import Path

from api.environment import say_problems
from api.status import BAD_INPUT, CLEARED
from audit.nouns.problem import BadInput


def serve(host: str, port: int, sites: Sequence[Path]) -> int:
    """Serve HTTP on this machine; there is no sign-on, so only a loopback address is accepted."""
    if not _loopback(host):
        print(
            f"{host} can be reached from other machines, and there is no sign-on yet. "
            "Use 127.0.0.1, and a proxy of yours in front of it where others must reach it.",
            file=sys.stderr,
        )
        return BAD_INPUT
    import uvicorn

    from api.app import create_app

    try:
        app = create_app(sites)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    uvicorn.run(app, host=host, port=port, log_level="info")
    return CLEARED


def _loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
