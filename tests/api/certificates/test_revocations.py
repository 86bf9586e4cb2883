"""The signed list of revoked starts."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.certificates.certificate import Claims
from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey, make
from api.certificates.moment import CLOCKS_DIFFER
from api.certificates.revocations import KIND, MEMBER, MOST_BYTES, Revocations, mark, read, sign

Forge = Callable[..., str]


@pytest.fixture(scope="module")
def listed(claims: Claims, now: float) -> Revocations:
    starts = {mark("tarnfield", "start-0030"): int(now) - 60, mark("hollowmere", claims.start): int(now) - 30}
    return Revocations(claims.issuer, int(now), starts, (make().id,))


@pytest.fixture(scope="module")
def document(listed: Revocations, key: SigningKey) -> bytes:
    return sign(listed, key).encode()


def flaw(text: bytes, keys: dict[str, PublicKey], now: float) -> Flaw:
    with pytest.raises(NotGood) as caught:
        read(text, keys, now)
    return caught.value.flaw


def test_what_was_signed_is_read(document: bytes, listed: Revocations, keys: dict[str, PublicKey], now: float) -> None:
    assert read(document, keys, now) == listed


def test_a_start_is_revoked_in_its_own_organisation_only(listed: Revocations, claims: Claims, now: float) -> None:
    assert listed.revoked(claims) is None
    assert listed.revoked(replace(claims, organisation="hollowmere")) == int(now) - 30
    assert listed.revoked(replace(claims, start="start-0030")) == int(now) - 60


def test_two_ids_are_never_one_mark() -> None:
    assert mark("ab", "c") != mark("a", "bc")
    assert mark('a","start":"b', "c") != mark("a", 'b","start":"c')


def test_the_list_tells_nobody_whose_it_is(document: bytes) -> None:
    for name in (b"hollowmere", b"start-00"):
        assert name not in document


def test_a_compromised_key_is_marked(listed: Revocations, key: SigningKey, keys: dict[str, PublicKey]) -> None:
    assert listed.keys_left(keys) == keys
    assert replace(listed, compromised=(key.id,)).keys_left(keys)[key.id].compromised
    known = {key.id: PublicKey(key.id, key.private.public_key(), compromised=True)}
    assert listed.keys_left(known) == known


def test_a_list_that_calls_its_own_key_compromised(
    listed: Revocations, key: SigningKey, keys: dict[str, PublicKey], now: float
) -> None:
    odd = sign(replace(listed, compromised=(key.id,)), key).encode()
    assert flaw(odd, keys, now) is Flaw.COMPROMISED_KEY


def test_a_list_from_the_future(document: bytes, keys: dict[str, PublicKey], now: float) -> None:
    read(document, keys, now - CLOCKS_DIFFER)
    assert flaw(document, keys, now - CLOCKS_DIFFER - 1) is Flaw.NOT_YET_VALID


def test_a_list_is_good_for_as_long_as_it_says(
    listed: Revocations, key: SigningKey, keys: dict[str, PublicKey]
) -> None:
    """Not at or after ``exp`` (RFC 7519, 4.1.4), unless whoever reads it says how old it may be."""
    text = sign(replace(listed, good_for=600), key).encode()
    assert read(text, keys, listed.made + 599.9).until == listed.made + 600
    assert flaw(text, keys, listed.made + 600) is Flaw.EXPIRED
    assert read(text, keys, listed.made + 5000, most_age=5001).good_for == 600
    with pytest.raises(NotGood, match="too old"):
        read(text, keys, listed.made + 100, most_age=100)


@given(data=st.data())
def test_no_changed_byte_is_read(data: st.DataObject, document: bytes, keys: dict[str, PublicKey], now: float) -> None:
    some = bytearray(document)
    some[data.draw(st.integers(0, len(some) - 1))] ^= data.draw(st.integers(1, 255))
    flaw(bytes(some), keys, now)


def test_a_list_by_another_key(listed: Revocations, keys: dict[str, PublicKey], now: float) -> None:
    assert flaw(sign(listed, make()).encode(), keys, now) is Flaw.UNKNOWN_KEY


def test_a_certificate_is_no_list(certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    assert flaw(json.dumps({MEMBER: certificate}).encode(), keys, now) is Flaw.WRONG_TYPE


@pytest.mark.parametrize(
    "text", [b"", b"[]", b'["start-0031"]', b"{}", b'{"revoked_starts": []}', b'{"revoked_starts": "", "more": 1}']
)
def test_what_is_not_signed_is_no_list(text: bytes, keys: dict[str, PublicKey], now: float) -> None:
    assert flaw(text, keys, now) is Flaw.MALFORMED


def test_a_list_that_is_too_large(keys: dict[str, PublicKey], now: float) -> None:
    assert flaw(b" " * (MOST_BYTES + 1), keys, now) is Flaw.TOO_LARGE


WRONG: list[tuple[str, Any]] = [
    ("iss", ""), ("iss", 1), ("iat", 0), ("iat", "now"), ("iat", True), ("exp", 0),
    ("exp", 1_790_000_000), ("exp", "soon"), ("starts", []), ("starts", {"start-0031": 5}),
    ("starts", {"0" * 32: 0}), ("starts", {"0" * 32: "5"}), ("starts", {"0" * 31 + "G": 5}), ("compromised", {}),
    ("compromised", [1]), ("compromised", "kid"), ("more", 1),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value"), WRONG)
def test_a_list_of_another_shape(
    name: str, value: object, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    content = {"iss": "audit", "iat": int(now), "exp": int(now) + 60, "starts": {}, "compromised": []}
    header = {"alg": "Ed25519", "kid": key.id, "typ": KIND}
    good = json.dumps({MEMBER: forge(header, content)}).encode()
    assert read(good, keys, now) == Revocations("audit", int(now), {}, good_for=60)
    text = json.dumps({MEMBER: forge(header, {**content, name: value})}).encode()
    assert flaw(text, keys, now) is Flaw.MALFORMED


def test_what_no_reader_would_take_is_not_signed(listed: Revocations, key: SigningKey) -> None:
    for odd in (
        replace(listed, made=0),
        replace(listed, good_for=0),
        replace(listed, starts={"start-0031": 5}),
        replace(listed, issuer=""),
    ):
        with pytest.raises(ValueError, match="list of revoked starts"):
            sign(odd, key)
