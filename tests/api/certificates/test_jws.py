"""Signing and strict reading, against the published examples, another implementation, and forgeries of every kind."""

from __future__ import annotations

import base64
import hmac
import json
import warnings
from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st
from joserfc import jws as other_jws
from joserfc.errors import SecurityWarning
from joserfc.jwk import OKPKey

from api.certificates import jws
from api.certificates.certificate import KIND, Claims, read, sign
from api.certificates.flaw import Flaw, NotGood
from api.certificates.keys import PublicKey, SigningKey, jwk_of, make, public_key, thumbprint
from api.certificates.text import from_base64url, json_object, to_base64url

Forge = Callable[..., str]

# RFC 8037, appendix A.1: the example's private key, and A.2: its public key
RFC_D = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"
RFC_X = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
# order of the group that Ed25519 computes in (RFC 8032, 5.1)
ORDER = 2**252 + 27742317777372353535851937790883648493


def rfc_key() -> SigningKey:
    private = Ed25519PrivateKey.from_private_bytes(from_base64url(RFC_D))
    return SigningKey(thumbprint(jwk_of(private.public_key())), private)


def header(key: SigningKey) -> dict[str, Any]:
    return {"alg": "Ed25519", "kid": key.id, "typ": KIND}


def refused(text: str, keys: dict[str, PublicKey], now: float) -> Flaw:
    """Why a text is no good certificate."""
    with pytest.raises(NotGood) as caught:
        read(text, keys, now)
    assert str(caught.value)
    return caught.value.flaw


def content_of(certificate: str) -> dict[str, Any]:
    return json_object(from_base64url(certificate.split(".")[1]))


def test_the_example_of_rfc_8037_a4_is_signed_alike() -> None:
    """RFC 8037, A.4: header {"alg":"EdDSA"}, payload "Example of Ed25519 signing"."""
    text = ".".join(map(to_base64url, (b'{"alg":"EdDSA"}', b"Example of Ed25519 signing")))
    assert text == "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc"
    assert to_base64url(rfc_key().private.sign(text.encode())) == (
        "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
    )


def test_the_public_half_is_that_of_rfc_8037_a2() -> None:
    assert jwk_of(rfc_key().private.public_key()) == {"kty": "OKP", "crv": "Ed25519", "x": RFC_X}


def test_the_thumbprint_of_rfc_8037_a3() -> None:
    found = public_key({"kty": "OKP", "crv": "Ed25519", "x": RFC_X, "kid": "any", "use": "sig"})
    assert found.id == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"


def test_the_thumbprint_of_rfc_7638_3_1() -> None:
    """The RFC's own RSA key: the members in their order, the digest in base64url."""
    assert (
        thumbprint(
            {
                "kty": "RSA",
                "n": "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw",
                "e": "AQAB",
            }
        )
        == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"
    )


def test_another_implementation_reads_ours(certificate: str, key: SigningKey) -> None:
    """joserfc, with the fully specified name of RFC 9864."""
    other = OKPKey.import_key({**jwk_of(key.private.public_key()), "kid": key.id})
    assert other.thumbprint() == key.id
    found = other_jws.deserialize_compact(certificate, other, algorithms=["Ed25519"])
    assert json.loads(found.payload or b"") == content_of(certificate)


@pytest.mark.parametrize("algorithm", ["Ed25519", "EdDSA"])
def test_ours_reads_another_implementation(
    algorithm: str, certificate: str, claims: Claims, key: SigningKey, keys: dict[str, PublicKey], now: float
) -> None:
    other = OKPKey.import_key({**jwk_of(key.private.public_key()), "d": to_base64url(key.private.private_bytes_raw())})
    content = json.dumps(content_of(certificate))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SecurityWarning)  # the older name is read on purpose
        text = other_jws.serialize_compact({**header(key), "alg": algorithm}, content, other, algorithms=[algorithm])
    assert read(text, keys, now) == claims


def test_what_is_signed_twice_is_the_same_text(claims: Claims, key: SigningKey, certificate: str) -> None:
    assert sign(claims, key) == certificate


@given(data=st.data())
def test_no_changed_byte_is_read(data: st.DataObject, certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    """Any one byte of a certificate, changed into any other."""
    some = bytearray(certificate.encode())
    place = data.draw(st.integers(0, len(some) - 1))
    some[place] ^= data.draw(st.integers(1, 255))
    refused(some.decode("latin-1"), keys, now)


@given(data=st.data())
def test_no_cut_or_longer_text_is_read(
    data: st.DataObject, certificate: str, keys: dict[str, PublicKey], now: float
) -> None:
    place = data.draw(st.integers(0, len(certificate)))
    refused(certificate[:place] + data.draw(st.text(min_size=1, max_size=3)) + certificate[place:], keys, now)
    refused(certificate[: min(place, len(certificate) - 1)], keys, now)


@given(text=st.text(max_size=200) | st.from_regex(r"[A-Za-z0-9_-]{0,40}\.[A-Za-z0-9_-]{0,40}\.[A-Za-z0-9_-]{0,86}"))
def test_no_text_crashes_the_reader(text: str, keys: dict[str, PublicKey], now: float) -> None:
    refused(text, keys, now)


def test_no_algorithm_at_all(certificate: str, key: SigningKey, keys: dict[str, PublicKey], now: float) -> None:
    """RFC 8725, 2.1: 'none', in any spelling, with and without a signature."""
    for name in ("none", "None", "NONE"):
        head = to_base64url(json.dumps({**header(key), "alg": name}).encode())
        _, content, signature = certificate.split(".")
        for end in ("", signature):
            assert refused(f"{head}.{content}.{end}", keys, now) is Flaw.WRONG_ALGORITHM


def test_hmac_with_the_public_key(certificate: str, key: SigningKey, keys: dict[str, PublicKey], now: float) -> None:
    """RFC 8725, 2.1: the public key is known to all, so as an HMAC secret it signs for anyone."""
    public = key.private.public_key()
    for secret in (public.public_bytes_raw(), json.dumps(jwk_of(public)).encode()):
        text = f"{to_base64url(json.dumps({**header(key), 'alg': 'HS256'}).encode())}.{certificate.split('.')[1]}"
        end = to_base64url(hmac.new(secret, text.encode(), sha256).digest())
        assert refused(f"{text}.{end}", keys, now) is Flaw.WRONG_ALGORITHM


@pytest.mark.parametrize("name", ["ES256", "RS256", "Ed448", "ed25519", "", None, 1, ["Ed25519"], {"Ed25519": 1}])
def test_other_algorithms(
    name: object, certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    text = forge({**header(key), "alg": name}, content_of(certificate))
    assert refused(text, keys, now) is Flaw.WRONG_ALGORITHM


@pytest.mark.parametrize("name", ["jwk", "jku", "x5u", "x5c", "x5t", "x5t#S256"])
def test_a_key_that_the_text_brings_along(
    name: str, certificate: str, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    """RFC 8725, 3.10: a forger's own key, offered in the header."""
    forger = make()
    offered = {"jwk": jwk_of(forger.private.public_key())}.get(name, "https://keys.example/jwks.json")
    text = forge({**header(forger), name: offered}, content_of(certificate), forger)
    assert refused(text, keys, now) is Flaw.OWN_KEY


def test_an_extension_that_must_be_understood(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    """RFC 7515, 4.1.11: who does not know it must refuse; RFC 7797's unencoded payload is one."""
    extensions: list[dict[str, Any]] = [{"crit": ["b64"], "b64": False}, {"crit": []}]
    for more in extensions:
        text = forge({**header(key), **more}, content_of(certificate))
        assert refused(text, keys, now) is Flaw.CRITICAL_HEADER


def test_a_key_nobody_knows(claims: Claims, keys: dict[str, PublicKey], now: float) -> None:
    assert refused(sign(claims, make()), keys, now) is Flaw.UNKNOWN_KEY


def test_a_key_under_anothers_name(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    text = forge(header(key), content_of(certificate), make())
    assert refused(text, keys, now) is Flaw.WRONG_SIGNATURE


@pytest.mark.parametrize("kid", [None, 1, ["x"], {}, "", "../../etc/passwd"])
def test_a_name_that_is_no_key(
    kid: object, certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    text = forge({**header(key), "kid": kid}, content_of(certificate))
    assert refused(text, keys, now) is Flaw.UNKNOWN_KEY


def test_a_compromised_key(certificate: str, key: SigningKey, now: float) -> None:
    keys = {key.id: PublicKey(key.id, key.private.public_key(), compromised=True)}
    assert refused(certificate, keys, now) is Flaw.COMPROMISED_KEY


@pytest.mark.parametrize("kind", ["JWT", "revoked-starts+jwt", "at+jwt", "", None])
def test_something_else_that_the_key_signed(
    kind: object, certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    """RFC 8725, 3.11 and 2.8: what was signed for another use is no certificate."""
    assert refused(forge({**header(key), "typ": kind}, content_of(certificate)), keys, now) is Flaw.WRONG_TYPE


def test_a_header_with_more_or_less(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    less = header(key)
    del less["kid"]
    for odd in (less, {**header(key), "cty": "JWT"}, {**header(key), "b64": False}):
        assert refused(forge(odd, content_of(certificate)), keys, now) is Flaw.MALFORMED


def test_a_key_that_stands_twice_in_the_header(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    """RFC 7515, 5.2, step 4: names in the header must be unique, as readers differ in which one they take."""
    twice = b'{"alg":"none",' + json.dumps(header(key)).encode()[1:]
    assert refused(forge(twice, content_of(certificate)), keys, now) is Flaw.MALFORMED


def test_a_key_that_stands_twice_in_the_content(
    certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    twice = b'{"sub":"unit-08",' + json.dumps(content_of(certificate)).encode()[1:]
    assert refused(forge(header(key), twice), keys, now) is Flaw.MALFORMED


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e400", "1790086400.5", "9" * 16, "9" * 5000])
def test_numbers_that_are_read_differently(
    number: str, certificate: str, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    content = content_of(certificate)
    text = json.dumps(content).replace(str(content["exp"]), number)
    assert refused(forge(header(key), text.encode()), keys, now) is Flaw.MALFORMED


@pytest.mark.parametrize("content", [b"[]", b"1", b"", b"{", b"\xff", b"\xef\xbb\xbf{}", b"[" * 9000])
def test_content_that_is_no_object(
    content: bytes, key: SigningKey, keys: dict[str, PublicKey], forge: Forge, now: float
) -> None:
    assert refused(forge(header(key), content), keys, now) is Flaw.MALFORMED


def test_a_text_that_is_too_large(certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    assert refused(certificate + "A" * jws.MOST_BYTES, keys, now) is Flaw.TOO_LARGE


def test_base64url_in_another_form(certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    """RFC 7515, 2: no padding, no line ends; and RFC 4648, 3.5: no bits to spare."""
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    head, content, signature = certificate.split(".")
    spare = alphabet[alphabet.index(signature[-1]) + 1]  # the same bytes to a lenient reader: four bits are spare
    assert base64.urlsafe_b64decode(signature[:-1] + spare + "==") == base64.urlsafe_b64decode(signature + "==")
    standard = base64.b64encode(b"\xfb\xff" * 32).decode().rstrip("=")
    for text in (
        f"{head}.{content}.{signature}==",
        f"{head}.{content}.{signature[:-1]}{spare}",
        f"{head}.{content}.{signature}\n",
        f"{head}.{content}.{standard}",
        f"{head}.{content}.{signature}.{signature}",
    ):
        assert refused(text, keys, now) is Flaw.MALFORMED


def test_a_signature_of_another_length(certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    for end in ("", to_base64url(bytes(63)), to_base64url(bytes(64)), to_base64url(bytes(65))):
        assert refused(f"{certificate.rpartition('.')[0]}.{end}", keys, now) is Flaw.WRONG_SIGNATURE


def test_the_same_signature_in_another_number(certificate: str, keys: dict[str, PublicKey], now: float) -> None:
    """RFC 8032, 5.1.7: S must be below the order of the group, or one signature could be written in several ways."""
    text, _, end = certificate.rpartition(".")
    some = from_base64url(end)
    larger = int.from_bytes(some[32:], "little") + ORDER
    forged = some[:32] + larger.to_bytes(32, "little")
    assert refused(f"{text}.{to_base64url(forged)}", keys, now) is Flaw.WRONG_SIGNATURE
