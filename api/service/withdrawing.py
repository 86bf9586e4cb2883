"""A signing key that somebody else may have: nothing that it signed counts, so starts that stand on it are revoked."""

from __future__ import annotations

from api.certificates.jws import named_key
from api.service.gate import revoke
from api.store import events, starts
from api.store.database import Store
from api.store.keys import current_id, mark_compromised, rotate
from api.store.starts import StartRow


def withdraw_key(store: Store, key_id: str, secret: bytes, who: str, now: float) -> list[StartRow]:
    """Gives up a key in one transaction; each organisation's record says so. Gives the starts that were revoked.

    A new key signs at once where this one did, so that the list of revoked starts can be signed.

    Args:
        secret: seals the new key; the one that sealed the old key may be lost.
        now: s since 1970.

    Raises: NoSuchKey; StoreUnavailable.
    """
    gone: list[StartRow] = []
    with store.writing_all(who, now) as (connection, works):  # a start that is being signed is waited for
        mark_compromised(connection, key_id, now)
        if current_id(connection) is None:
            rotate(connection, secret, now)
        for work in works:
            mine = [start for start in starts.good(work) if _may_stand_on(start, key_id)]
            for start in mine:
                revoke(work, start, "The key that signed its certificate is no longer secret.")
            events.append(
                work, "signing-key.compromised", f"signing-key/{key_id}", {"revoked": [one.id for one in mine]}
            )
            gone += mine
    return gone


def _may_stand_on(start: StartRow, key_id: str) -> bool:
    try:
        return named_key(start.certificate) == key_id
    except (ValueError, KeyError):  # nobody can say what signed it, so it does not count either
        return True
