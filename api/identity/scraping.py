"""The token of a monitor that sees the counts of the whole server: nobody's on record, named by whoever runs it."""

from __future__ import annotations

import hmac
import re
from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path

from api.identity.sign_on import BadSettings

VARIABLE = "SETUP_AUDIT_SCRAPE_TOKEN_FILE"
"""Names the file that holds the token, alone on its line."""
_TOKEN = re.compile(r"[A-Za-z0-9._~+/-]{32,200}=*")


class Scraping:
    """Knows a monitor by its token; without a token it knows nobody."""

    def __init__(self, token: str = "") -> None:
        self._hash = sha256(token.encode()).digest() if token else b""

    def is_monitor(self, authorization: Sequence[str]) -> bool:
        """Whether these are the Authorization headers of the monitor."""
        if not self._hash or len(authorization) != 1:
            return False
        kind, _, sent = authorization[0].partition(" ")
        hashed = sha256(sent.strip().encode("utf-8", "replace")).digest()
        return kind.lower() == "bearer" and hmac.compare_digest(hashed, self._hash)


def scraping_of(environment: Mapping[str, str]) -> Scraping:
    """By the file that the environment names, if it names one. Raises BadSettings."""
    name = environment.get(VARIABLE, "")
    if not name:
        return Scraping()
    try:
        token = Path(name).read_text("ascii").strip()
    except (OSError, UnicodeError) as error:
        raise BadSettings([f"{VARIABLE}: {name} can't be read: {type(error).__name__}"]) from error
    if not _TOKEN.fullmatch(token):
        raise BadSettings([f"{VARIABLE}: {name} must hold 32 to 200 letters, digits and . _ ~ + / - on one line"])
    return Scraping(token)
