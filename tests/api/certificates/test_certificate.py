"""What a certificate says and when it is good."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from api.certificates.certificate import KIND, LONGEST, Claims, Expected, read, sign
from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey
from api.certificates.moment import CLOCKS_DIFFER, shown, span
from api.certificates.text import from_base64url

Forge = Callable[..., str]


def flaw(text: str, keys: dict[str, PublicKey], now: float, expected: Expected | None = None) -> Flaw:
    with pytest.raises(NotGood) as caught:
        read(text, keys, now, expected or Expected())
    return caught.value.flaw


def test_what_was_signed_is_read(certificate: str, claims: Claims, keys: dict[str, PublicKey], now: float) -> None:
    wanted = Expected(
        claims.issuer, claims.organisation, claims.unit, claims.crop, claims.header_kind, claims.setup_digest,
        claims.rulebook,
    )  # fmt: skip
    assert read(certificate, keys, now) == read(certificate, keys, now, wanted) == claims


def test_a_header_nobody_knows_can_be_certified(
    claims: Claims, key: SigningKey, keys: dict[str, PublicKey], now: float
) -> None:
    bare = replace(claims, header_kind="", accepted=())
    assert read(sign(bare, key), keys, now) == bare
    assert flaw(sign(bare, key), keys, now, Expected(header_kind="corn-head")) is Flaw.FOR_ANOTHER_JOB


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("issuer", Flaw.OTHER_ISSUER),
        ("organisation", Flaw.FOR_ANOTHER_ORGANISATION),
        ("unit", Flaw.FOR_ANOTHER_UNIT),
        ("crop", Flaw.FOR_ANOTHER_JOB),
        ("header_kind", Flaw.FOR_ANOTHER_JOB),
        ("setup_digest", Flaw.FOR_ANOTHER_SETUP),
        ("rulebook", Flaw.OTHER_RULEBOOK),
    ],
)
def test_a_certificate_for_something_else(
    name: str, found: Flaw, certificate: str, claims: Claims, keys: dict[str, PublicKey], now: float
) -> None:
    for other in ("", getattr(claims, name).upper(), getattr(claims, name) + " "):
        assert flaw(certificate, keys, now, replace(Expected(), **{name: other})) is found


def test_it_is_good_until_the_very_second(certificate: str, claims: Claims, keys: dict[str, PublicKey]) -> None:
    assert read(certificate, keys, claims.expires - 0.001) == claims
    for late in (claims.expires, claims.expires + 1, float("inf")):
        assert flaw(certificate, keys, late) is Flaw.EXPIRED


def test_it_is_good_from_when_it_was_issued(certificate: str, claims: Claims, keys: dict[str, PublicKey]) -> None:
    """A clock that is a little behind is forgiven, another is not; nor is one that shows no time."""
    assert read(certificate, keys, claims.issued - CLOCKS_DIFFER) == claims
    for early in (claims.issued - CLOCKS_DIFFER - 1, 0.0, float("nan")):
        assert flaw(certificate, keys, early) is Flaw.NOT_YET_VALID


WRONG: list[tuple[str, Any]] = [
    ("iss", ""), ("sub", "unit-07\x1b[2J"), ("sub", "unit\u202e70"), ("sub", None), ("sub", 7), ("sub", "u" * 301),
    ("sub", "\ud800"), ("crop", ["corn"]), ("header_kind", "a\nb"), ("header_kind", None), ("jti", ""), ("setup", {}),
    ("setup_digest", "A1" * 32), ("setup_digest", "a1" * 31), ("rulebook", None), ("record_hash", "c3" * 32 + "\n"),
    ("iat", True), ("iat", "1790000000"), ("iat", -1), ("iat", 0), ("exp", None), ("record_number", 0),
    ("accepted", None), ("accepted", "a"), ("accepted", {"a": 1}), ("accepted", [1]), ("accepted", [["a"]]),
    ("accepted", ["a", "a"]), ("accepted", [""]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value"), WRONG)
def test_claims_of_another_shape(
    name: str, value: object, certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    """Signed by the true key, and still not taken."""
    content = json.loads(from_base64url(certificate.split(".")[1]))
    assert name in content
    content[name] = value
    text = forge({"alg": "Ed25519", "kid": key.id, "typ": KIND}, content)
    assert flaw(text, keys, now) is Flaw.MALFORMED


def test_claims_that_are_missing_or_more(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    content = json.loads(from_base64url(certificate.split(".")[1]))
    header = {"alg": "Ed25519", "kid": key.id, "typ": KIND}
    for name in content:
        less = {other: value for other, value in content.items() if other != name}
        assert flaw(forge(header, less), keys, now) is Flaw.MALFORMED
    assert flaw(forge(header, {**content, "aud": "all"}), keys, now) is Flaw.MALFORMED


def test_what_no_reader_would_take_is_not_signed(claims: Claims, key: SigningKey) -> None:
    for odd in (
        replace(claims, unit=""),
        replace(claims, unit="unit\t07"),
        replace(claims, setup_digest=""),
        replace(claims, issued=claims.issued + 0.5),  # type: ignore[arg-type]
        replace(claims, expires=claims.issued),
        replace(claims, expires=claims.issued + LONGEST + 1),
        replace(claims, accepted=tuple(f"acceptance-{number:060}" for number in range(400))),
    ):
        with pytest.raises(ValueError, match="certificate"):
            sign(odd, key)


def test_the_longest_is_signed_and_read(
    claims: Claims, key: SigningKey, keys: dict[str, PublicKey], now: float
) -> None:
    longest = replace(claims, expires=claims.issued + LONGEST)
    assert read(sign(longest, key), keys, now) == longest


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "less than a minute"),
        (59.9, "less than a minute"),
        (60, "1 minute"),
        (7199, "1 hour"),
        (86400, "24 hours"),
        (172799, "47 hours"),
        (172800, "2 days"),
    ],
)
def test_lengths_of_time_are_never_said_longer(seconds: float, said: str) -> None:
    assert span(seconds) == said


def test_a_time_is_never_said_later() -> None:
    """1790000000 is 2026-09-21 14:13:20 UTC: 20717 days and 51200 s since 1970."""
    assert shown(1_790_000_039.9) == "2026-09-21 14:13 UTC"
    assert shown(10**15) == "9999-12-31 23:59 UTC"
