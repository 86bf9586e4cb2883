"""Webhooks of an organisation: who is told what, and the secrets that show that it comes from here."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from unicodedata import normalize

from api.exchange.out import signing
from api.store import webhooks
from api.store.database import Work
from api.store.event_kinds import KINDS
from api.store.webhooks import SealedSecret, Webhook
from audit.nearest import did_you_mean

OVERLAP = 24 * 3600.0
"""s for which the secret before goes on signing beside a new one, where nothing else is asked for."""
MOST_OVERLAP = 30 * 86400.0
MOST_SECRETS = 4
"""Most secrets of a webhook that sign at once: room for a renewal whose answer was lost, and is asked for again."""
MOST_WEBHOOKS = 50
"""Most webhooks of an organisation; each is written to with every event."""


class BadWebhook(Exception):
    """A webhook can't be made like this, and why."""


def make(
    work: Work, name: str, address: str, kinds: Sequence[str], units: Sequence[str], server_secret: bytes
) -> tuple[Webhook, SealedSecret, str]:
    """A new webhook with its secret, which is shown only now.

    Args:
        address: was looked at before.   kinds, units: what it is told of; empty for all.

    Raises: BadWebhook; NameTaken.
    """
    check_kinds(kinds)
    if len(webhooks.every(work)) >= MOST_WEBHOOKS:
        raise BadWebhook(f"there are {MOST_WEBHOOKS} webhooks already; end one that is not needed")
    called = normalize("NFC", name).strip()
    if not called or not called.isprintable():
        raise BadWebhook("its name must have a character, and none of them a control character")
    webhook = Webhook(
        work.organisation, f"webhook-{secrets.token_hex(8)}", called, address, tuple(dict.fromkeys(kinds)),
        tuple(dict.fromkeys(units)), 1, work.now, work.who,
    )  # fmt: skip
    webhooks.add(work, webhook)
    sealed, text = renew_secret(work, webhook, server_secret, 0.0)
    return webhook, sealed, text


def renew_secret(work: Work, webhook: Webhook, server_secret: bytes, overlap: float) -> tuple[SealedSecret, str]:
    """A new secret, shown only now; those before sign beside it for ``overlap`` s at most. Raises BadWebhook."""
    if overlap and len(webhooks.live_secrets(work.connection, work.organisation, webhook.id, work.now)) >= MOST_SECRETS:
        raise BadWebhook(
            f"{MOST_SECRETS} of its secrets sign already; wait until one ends, or leave none of them any time"
        )
    secret = signing.make()
    sealed = signing.seal(secret, f"{webhook.organisation}/{webhook.id}", server_secret)
    return webhooks.add_secret(work, webhook.id, sealed, secret.public, overlap), secret.text


def check_kinds(kinds: Sequence[str]) -> None:
    """Raises BadWebhook for a kind that is none."""
    for kind in kinds:
        if kind not in KINDS:
            raise BadWebhook(f"there is no kind of event '{kind[:60]}'. {did_you_mean(kind, KINDS)}".strip())
