"""Signatures of webhooks.

Outside references: the standardwebhooks library; Ed25519 of RFC 8032 by cryptography; the vector that the reference
libraries of Standard Webhooks share (from memory).
"""

from __future__ import annotations

import time
from base64 import b64decode

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from standardwebhooks import Webhook, WebhookVerificationError

from api.certificates.keys import WrongSecret
from api.exchange.out.signing import Secret, headers, make, seal, unseal

BODY = '{"crop":"Körnermais"}'.encode()
ID = "event-5a1c9e0f2b7d44335a1c9e0f"


def test_the_shared_vector() -> None:
    secret = Secret(b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"), bytes(32))
    found = headers("msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}', [secret])
    first, _ = found["webhook-signature"].split(" ")
    assert first == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_general_library_verifies_either_secret_while_both_live() -> None:
    old, new = make(), make()
    found = headers(ID, int(time.time()), BODY, [new, old])
    for secret in (old, new):
        Webhook(secret.text).verify(BODY, found)
    with pytest.raises(WebhookVerificationError):
        Webhook(make().text).verify(BODY, found)
    with pytest.raises(WebhookVerificationError):
        Webhook(new.text).verify(BODY + b" ", found)
    with pytest.raises(WebhookVerificationError):
        Webhook(new.text).verify(BODY, {**found, "webhook-id": "event-0"})


@pytest.mark.parametrize("skew", [-301, 301])
def test_a_general_library_refuses_what_is_off_by_more_than_five_minutes(skew: int) -> None:
    secret = make()
    with pytest.raises(WebhookVerificationError):
        Webhook(secret.text).verify(BODY, headers(ID, int(time.time()) + skew, BODY, [secret]))


def test_the_public_key_checks_the_second_signature() -> None:
    secret = make()
    found = headers(ID, 1_790_000_000, BODY, [secret])
    (text,) = [one.removeprefix("v1a,") for one in found["webhook-signature"].split(" ") if one.startswith("v1a,")]
    public = Ed25519PublicKey.from_public_bytes(b64decode(secret.public.removeprefix("whpk_")))
    public.verify(b64decode(text), f"{ID}.1790000000.".encode() + BODY)
    with pytest.raises(InvalidSignature):
        public.verify(b64decode(text), f"{ID}.1790000001.".encode() + BODY)


def test_a_sealed_secret_opens_for_its_webhook_and_server_only() -> None:
    secret, server = make(), b"s" * 32
    sealed = seal(secret, "ridgeline/webhook-1", server)
    assert unseal(sealed, "ridgeline/webhook-1", server) == secret
    assert secret.shared not in sealed
    for of, other, text in (
        ("ridgeline/webhook-2", server, sealed),
        ("ridgeline/webhook-1", b"t" * 32, sealed),
        ("ridgeline/webhook-1", server, sealed[:-1]),
        ("ridgeline/webhook-1", server, b""),
    ):
        with pytest.raises(WrongSecret):
            unseal(text, of, other)
