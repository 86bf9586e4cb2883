"""Keys sealed for storage, the server's secret, and public keys as a JWK Set."""

from __future__ import annotations

import json
import multiprocessing
import os
import stat
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from hypothesis import given
from hypothesis import strategies as st
from joserfc.jwk import KeySet, RSAKey

from api.certificates.keys import NONCE_BYTES, PublicKey, SigningKey, WrongSecret, make, seal, unseal
from api.certificates.keyset import MOST_BYTES, BadKeySet, jwks, read_jwks
from api.certificates.secret import SECRET_BYTES, VARIABLE, NoSecret, read_secret, secret_of
from api.certificates.text import to_base64url

SECRET = bytes(range(32))


def test_two_keys_are_two(key: SigningKey) -> None:
    assert make().id != key.id


def test_an_id_is_never_taken_for_an_option() -> None:
    """One of 64 thumbprints begins with a dash."""
    assert not [one.id for one in (make() for _ in range(500)) if one.id.startswith("-")]


def test_a_sealed_key_opens_with_its_secret(key: SigningKey) -> None:
    opened = unseal(seal(key, SECRET), key.id, SECRET)
    assert opened.id == key.id
    assert opened.private.private_bytes_raw() == key.private.private_bytes_raw()


def test_what_is_sealed_shows_nothing_and_never_looks_the_same(key: SigningKey) -> None:
    first, second = seal(key, SECRET), seal(key, SECRET)
    assert first[:NONCE_BYTES] != second[:NONCE_BYTES]
    raw = key.private.private_bytes_raw()
    for sealed in (first, second):
        assert raw not in sealed
        assert to_base64url(raw).encode() not in sealed


def test_another_secret_does_not_open_it(key: SigningKey) -> None:
    with pytest.raises(WrongSecret, match=key.id):
        unseal(seal(key, SECRET), key.id, bytes(32))


def test_a_sealed_key_put_in_another_ones_place_does_not_open(key: SigningKey) -> None:
    other = make()
    with pytest.raises(WrongSecret):
        unseal(seal(other, SECRET), key.id, SECRET)


def test_another_key_sealed_under_the_id_is_found_out(key: SigningKey) -> None:
    """Even by someone who has the secret: the id must be the thumbprint of what is inside."""
    other = make()
    with pytest.raises(WrongSecret, match="another key"):
        unseal(seal(SigningKey(key.id, other.private), SECRET), key.id, SECRET)


@given(data=st.data())
def test_no_changed_byte_opens(data: st.DataObject, key: SigningKey) -> None:
    some = bytearray(seal(key, SECRET))
    some[data.draw(st.integers(0, len(some) - 1))] ^= data.draw(st.integers(1, 255))
    with pytest.raises(WrongSecret):
        unseal(bytes(some), key.id, SECRET)


@pytest.mark.parametrize("some", [b"", b"short", bytes(28), bytes(300)])
def test_what_was_never_sealed(some: bytes, key: SigningKey) -> None:
    with pytest.raises(WrongSecret):
        unseal(some, key.id, SECRET)


HALF = to_base64url(bytes(32)).encode()


@pytest.mark.parametrize(
    "inside",
    [
        b"",
        b"[]",
        b'{"d":1}',
        b'{"kty":"OKP","crv":"Ed25519","d":"AA","x":"AA"}',
        b'{"kty":"OKP","crv":"X25519","d":"' + HALF + b'","x":"' + HALF + b'"}',
    ],
)
def test_something_else_sealed(inside: bytes, key: SigningKey) -> None:
    sealed = bytes(12) + AESGCM(SECRET).encrypt(bytes(12), inside, b"setup-audit signing key " + key.id.encode())
    with pytest.raises(WrongSecret):
        unseal(sealed, key.id, SECRET)


# the secret


def test_a_secret_is_made_once_for_its_owner_only(tmp_path: Path) -> None:
    secret = secret_of(tmp_path / "record.db", {})
    made = tmp_path / "record.db.secret"
    assert len(secret) == SECRET_BYTES
    assert stat.S_IMODE(made.stat().st_mode) == 0o600
    assert secret_of(tmp_path / "record.db", {}) == secret
    assert [path.name for path in tmp_path.iterdir()] == ["record.db.secret"]
    assert secret_of(tmp_path / "other.db", {}) != secret


def _secret(database: Path, barrier: Any, found: Any) -> None:
    barrier.wait()
    found.put(secret_of(database, {}))


def test_processes_that_start_at_once_have_one_secret(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    barrier, found = context.Barrier(6), context.Queue()
    processes = [context.Process(target=_secret, args=(tmp_path / "record.db", barrier, found)) for _ in range(6)]
    for process in processes:
        process.start()
    secrets = {found.get() for _ in processes}
    for process in processes:
        process.join()
    assert len(secrets) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["record.db.secret"]


def test_the_environment_names_the_secret(tmp_path: Path) -> None:
    named = tmp_path / "named"
    named.write_bytes(SECRET)
    named.chmod(0o400)
    for database in (tmp_path / "record.db", None):
        assert secret_of(database, {VARIABLE: str(named)}) == SECRET
    assert not (tmp_path / "record.db.secret").exists()


def test_a_named_secret_is_never_made(tmp_path: Path) -> None:
    with pytest.raises(NoSecret, match="can't be read"):
        secret_of(tmp_path / "record.db", {VARIABLE: str(tmp_path / "missing")})
    assert list(tmp_path.iterdir()) == []


def test_a_database_server_needs_a_named_secret() -> None:
    with pytest.raises(NoSecret, match=VARIABLE):
        secret_of(None, {})


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o620, 0o602, 0o644, 0o666])
def test_a_secret_that_others_can_read_or_change(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "open"
    path.write_bytes(SECRET)
    path.chmod(mode)
    with pytest.raises(NoSecret, match="chmod 600"):
        read_secret(path)


@pytest.mark.parametrize("length", [0, 31, 33, 1000])
def test_a_secret_of_another_length(tmp_path: Path, length: int) -> None:
    path = tmp_path / "odd"
    path.write_bytes(os.urandom(length))
    path.chmod(0o600)
    with pytest.raises(NoSecret, match="32 bytes"):
        read_secret(path)


def test_a_folder_where_no_secret_can_be_made(tmp_path: Path) -> None:
    with pytest.raises(NoSecret, match="can't be written"):
        secret_of(tmp_path / "missing" / "record.db", {})


# JWK Sets


def document(*keys: dict[str, Any]) -> bytes:
    return json.dumps({"keys": list(keys)}).encode()


@pytest.fixture
def jwk(key: SigningKey) -> dict[str, Any]:
    found: dict[str, Any] = jwks([key.public])["keys"][0]
    return found


def test_what_is_published_is_read_again(key: SigningKey) -> None:
    other = make().public
    assert read_jwks(json.dumps(jwks([key.public, other])).encode()) == {key.id: key.public, other.id: other}


def test_what_is_published_is_public_only(jwk: dict[str, Any], key: SigningKey) -> None:
    assert sorted(jwk) == ["alg", "crv", "kid", "kty", "use", "x"]
    assert (jwk["alg"], jwk["use"], jwk["kid"]) == ("Ed25519", "sig", key.id)


def test_another_implementation_reads_the_set(key: SigningKey) -> None:
    """joserfc."""
    (found,) = KeySet.import_key_set(jwks([key.public])).keys  # type: ignore[arg-type]
    assert (found.kid, found.thumbprint()) == (key.id, key.id)


def test_a_compromised_key_is_not_published(key: SigningKey) -> None:
    assert jwks([PublicKey(key.id, key.private.public_key(), compromised=True)]) == {"keys": []}


def test_keys_of_other_kinds_are_passed_over(jwk: dict[str, Any], key: SigningKey) -> None:
    """RFC 7517, 5: a reader ignores keys that it does not understand."""
    rsa = RSAKey.generate_key(2048, private=False).as_dict()
    agreement = X25519PrivateKey.generate().public_key().public_bytes_raw()
    x25519 = {"kty": "OKP", "crv": "X25519", "x": to_base64url(agreement)}
    other_use = {**jwks([make().public])["keys"][0], "use": "enc"}
    assert list(read_jwks(document(dict(rsa), x25519, other_use, {"kty": "later"}, jwk))) == [key.id]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"d": "AA"}, "private"),
        ({"kid": "another"}, "thumbprint"),
        ({"kid": None}, "thumbprint"),
        ({"x": "AA"}, "32 bytes"),
        ({"x": 5}, "32 bytes"),
        ({"x": to_base64url(bytes(32)) + "="}, "base64url"),
        ({"x": to_base64url(bytes([9]) * 32)}, "thumbprint"),
    ],
)
def test_a_key_that_was_changed(change: dict[str, Any], said: str, jwk: dict[str, Any]) -> None:
    with pytest.raises(BadKeySet, match=said):
        read_jwks(document({**jwk, **change}))


def test_a_private_key_of_any_kind_is_refused(jwk: dict[str, Any]) -> None:
    with pytest.raises(BadKeySet, match="private"):
        read_jwks(document(jwk, {"kty": "oct", "k": "AAAA"}))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "not JSON"),
        (b"[]", "no JSON object|not a JSON object"),
        (b"{}", "list of keys"),
        (b'{"keys": {}}', "list of keys"),
        (b'{"keys": ["x"]}', "list of keys"),
        (b'{"keys": []}', "no key that signs"),
        (b'{"keys": [], "keys": []}', "twice"),
        (b" " * (MOST_BYTES + 1), "longer"),
    ],
)
def test_what_is_no_key_set(text: bytes, said: str) -> None:
    with pytest.raises(BadKeySet, match=said):
        read_jwks(text)


def test_a_key_that_stands_twice(jwk: dict[str, Any]) -> None:
    with pytest.raises(BadKeySet, match="stands twice"):
        read_jwks(document(jwk, {**jwk, "alg": "EdDSA"}))
