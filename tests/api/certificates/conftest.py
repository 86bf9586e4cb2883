"""A key, the claims of one start in the invented co-op, and ways to forge."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from api.certificates.certificate import Claims, sign
from api.certificates.keys import PublicKey, SigningKey, make
from api.certificates.text import to_base64url

Forge = Callable[..., str]


@pytest.fixture(scope="session")
def now() -> float:
    return 1_790_000_000.5


@pytest.fixture(scope="session")
def key() -> SigningKey:
    return make()


@pytest.fixture(scope="session")
def keys(key: SigningKey) -> dict[str, PublicKey]:
    return {key.id: key.public}


@pytest.fixture(scope="session")
def claims(now: float) -> Claims:
    return Claims(
        issuer="https://audit.tarnfield.example",
        organisation="tarnfield",
        unit="unit-07",
        crop="corn",
        header_kind="corn-head",
        start="start-0031",
        setup="setup-0112",
        setup_digest="a1" * 32,
        rulebook="b2" * 32,
        issued=int(now),
        expires=int(now) + 86400,
        accepted=("acceptance-04", "acceptance-09"),
        record_number=512,
        record_hash="c3" * 32,
    )


@pytest.fixture(scope="session")
def certificate(claims: Claims, key: SigningKey) -> str:
    return sign(claims, key)


@pytest.fixture(scope="session")
def forge(key: SigningKey) -> Forge:
    """Signs any header and any content with the true key, to show that what is refused is not the signature."""

    def forged(header: dict[str, Any] | bytes, content: dict[str, Any] | bytes, signer: SigningKey = key) -> str:
        parts = [part if isinstance(part, bytes) else json.dumps(part).encode() for part in (header, content)]
        text = ".".join(to_base64url(part) for part in parts)
        return f"{text}.{to_base64url(signer.private.sign(text.encode()))}"

    return forged
