"""An issuer of access tokens inside the test, with a clock that the test turns."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass, field
from typing import Any

import pytest
from joserfc import jws
from joserfc.jwk import ECKey, OKPKey, RSAKey

from api.identity.bearer import Bearer
from api.identity.fetch import NotFetched
from api.identity.issuer import Issuer
from api.identity.rights import Role
from api.identity.sign_on import SignOn
from tests.api.legal import Clock

ISSUER = "https://sign-on.ridgeline.example"
AUDIENCE = "https://audit.ridgeline.example"
RSA = RSAKey.generate_key(2048, {"kid": "rsa-1"})
EC = ECKey.generate_key("P-256", {"kid": "ec-1"})
ED = OKPKey.generate_key("Ed25519", {"kid": "ed-1"})


@dataclass
class Local:
    """An issuer without a network: its documents by address, and what was asked for."""

    clock: Clock
    keys: list[Any] = field(default_factory=lambda: [key.as_dict(private=False) for key in (RSA, EC, ED)])
    up: bool = True
    asked: list[str] = field(default_factory=list)

    def fetch(self, url: str) -> object:
        self.asked.append(url)
        if not self.up:
            raise NotFetched("down")
        if url == f"{ISSUER}/.well-known/openid-configuration":
            return {"issuer": ISSUER, "jwks_uri": f"{ISSUER}/keys"}
        if url == f"{ISSUER}/keys":
            return {"keys": self.keys}
        raise NotFetched(f"no {url}")

    def claims(self, **changes: Any) -> dict[str, Any]:
        """Claims of a good token with some changed; None takes one out."""
        now = self.clock()
        usual = {
            "iss": ISSUER, "aud": AUDIENCE, "sub": "ana", "client_id": "tablet", "iat": now, "exp": now + 600.0,
            "jti": "1", "org": "Ridgeline Growers", "groups": ["harvest crew"],
        }  # fmt: skip
        return {key: value for key, value in {**usual, **changes}.items() if value is not None}

    def token(self, claims: dict[str, Any] | None = None, key: Any = RSA, alg: str = "RS256", **header: Any) -> str:
        """A signed token; header parameters of None are left out."""
        full = {"alg": alg, "typ": "at+jwt", "kid": key.kid, **header}
        return self.signed(full, json.dumps(self.claims() if claims is None else claims), key)

    def signed(self, header: dict[str, Any], payload: str, key: Any) -> str:
        """Any header over any payload, by the right arithmetic for its algorithm."""
        registry = jws.JWSRegistry(algorithms=[header["alg"]], strict_check_header=False)
        shown = {name: value for name, value in header.items() if value is not None}
        return jws.serialize_compact(shown, payload, key, registry=registry)

    @staticmethod
    def encode(text: str) -> str:
        return urlsafe_b64encode(text.encode()).rstrip(b"=").decode()

    @staticmethod
    def decode(part: str) -> bytes:
        return urlsafe_b64decode(part + "=" * (-len(part) % 4))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def local(clock: Clock) -> Local:
    return Local(clock)


@pytest.fixture
def rsa() -> RSAKey:
    return RSA


@pytest.fixture
def ec() -> ECKey:
    return EC


@pytest.fixture
def ed() -> OKPKey:
    return ED


@pytest.fixture
def sign_on() -> SignOn:
    return SignOn(
        issuer=ISSUER, audience=AUDIENCE, organisation="", organisation_claim=("org",),
        organisations={"Ridgeline Growers": "ridgeline"}, roles_claim=("groups",),
        roles={"harvest crew": Role.MECHANIC, "harvest lead": Role.APPROVER},
    )  # fmt: skip


@pytest.fixture
def bearer(local: Local, sign_on: SignOn, clock: Clock) -> Bearer:
    return Bearer(sign_on, Issuer(ISSUER, local.fetch, clock))
