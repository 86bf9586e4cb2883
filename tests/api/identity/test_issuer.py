"""Keys of an issuer: found, kept, fetched anew, and given up when nobody can tell any more."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from joserfc.jwk import ECKey, OctKey, OKPKey, RSAKey

from api.identity.bearer import Bearer
from api.identity.fetch import NotFetched
from api.identity.issuer import FRESH, KEPT, RETRY, UNKNOWN, Issuer, IssuerDown, NoKey, read_keys
from api.identity.signed import NotGood

ISSUER = "https://sign-on.ridgeline.example"


def issuer_of(local: Any, clock: Any) -> Issuer:
    return Issuer(ISSUER, local.fetch, clock)


def fetches(local: Any) -> int:
    return sum(url.endswith("/keys") for url in local.asked)


def test_keys_are_fetched_once_while_fresh(local: Any, clock: Any) -> None:
    issuer = issuer_of(local, clock)
    for _ in range(5):
        issuer.key_for("rsa-1", "RS256")
    assert fetches(local) == 1
    clock.at += FRESH + 1
    issuer.key_for("rsa-1", "RS256")
    assert fetches(local) == 2


def test_an_issuer_that_is_down_from_the_start(bearer: Bearer, local: Any, clock: Any) -> None:
    local.up = False
    with pytest.raises(IssuerDown):
        bearer.caller(local.token(), clock())
    asked = len(local.asked)
    with pytest.raises(IssuerDown):
        bearer.caller(local.token(), clock())
    assert len(local.asked) == asked, "an issuer that is down is not asked by every request"
    local.up = True
    clock.at += RETRY
    assert bearer.caller(local.token(), clock()).who == "sign-on:ana"


def test_an_issuer_that_is_slow_to_fail_is_not_asked_without_pause(clock: Any) -> None:
    asked = []

    def fetch(url: str) -> object:
        asked.append(url)
        clock.at += RETRY
        raise NotFetched(url)

    issuer = Issuer(ISSUER, fetch, clock)
    for _ in range(3):
        with pytest.raises(IssuerDown):
            issuer.metadata()
    assert len(asked) == 2, "each place of its metadata once"


def test_an_issuer_that_goes_down_is_trusted_for_a_while_only(bearer: Bearer, local: Any, clock: Any) -> None:
    bearer.caller(local.token(), clock())
    local.up = False
    clock.at += KEPT
    assert bearer.caller(local.token(), clock()).who == "sign-on:ana"
    clock.at += 1
    with pytest.raises(IssuerDown):
        bearer.caller(local.token(), clock())


def test_unknown_key_ids_fetch_at_most_once_a_minute(local: Any, clock: Any) -> None:
    issuer = issuer_of(local, clock)
    for number in range(100):
        with pytest.raises(NoKey):
            issuer.key_for(f"unknown-{number}", "RS256")
        clock.at += 1
    assert fetches(local) == 1 + 100 // int(UNKNOWN)


def test_a_new_key_is_found_within_a_minute(bearer: Bearer, local: Any, clock: Any) -> None:
    bearer.caller(local.token(), clock())
    new = RSAKey.generate_key(2048, {"kid": "rsa-2"})
    local.keys.append(new.as_dict(private=False))
    clock.at += UNKNOWN
    assert bearer.caller(local.token(key=new), clock()).who == "sign-on:ana"


def test_a_key_that_was_taken_back_stops_when_keys_are_fetched_anew(bearer: Bearer, local: Any, clock: Any) -> None:
    bearer.caller(local.token(), clock())
    del local.keys[0]
    clock.at += FRESH + 1
    with pytest.raises(NotGood, match="no such key"):
        bearer.caller(local.token(), clock())


def test_a_broken_key_set_does_not_push_out_good_keys(bearer: Bearer, local: Any, clock: Any) -> None:
    bearer.caller(local.token(), clock())
    local.keys[:] = [{"kty": "oct", "k": "c2VjcmV0"}]
    clock.at += FRESH + 1
    assert bearer.caller(local.token(), clock()).who == "sign-on:ana"


def test_duplicates_that_agree_are_one_and_others_are_refused(bearer: Bearer, local: Any, clock: Any, rsa: Any) -> None:
    local.keys.append(rsa.as_dict(private=False))
    assert bearer.caller(local.token(), clock()).who == "sign-on:ana"
    local.keys.append(RSAKey.generate_key(2048, {"kid": "rsa-1"}).as_dict(private=False))
    clock.at += FRESH + 1
    with pytest.raises(NotGood, match="several keys of this id"):
        bearer.caller(local.token(), clock())


def test_keys_of_different_kinds_may_share_an_id(bearer: Bearer, local: Any, clock: Any) -> None:
    """RFC 7517, section 4.5."""
    local.keys.append(ECKey.generate_key("P-256", {"kid": "rsa-1"}).as_dict(private=False))
    assert bearer.caller(local.token(), clock()).who == "sign-on:ana"


@pytest.mark.parametrize(
    "change",
    [{"use": "enc"}, {"use": 7}, {"key_ops": ["encrypt"]}, {"key_ops": "verify"}, {"kid": 7}, {"alg": 7}, {"kty": "ML"},
     {"kty": ["RSA"]}, {"n": "AQAB"}, {"n": 7}, {"n": None}, {"n": "A" * 100_000}, {"n": "!"}, {"e": ""}, {"d": "AQAB"}],
)  # fmt: skip
def test_keys_that_are_passed_over(rsa: Any, ed: Any, change: dict[str, Any]) -> None:
    good = ed.as_dict(private=False)
    found = read_keys({"keys": [{**rsa.as_dict(private=False), **change}, 7, good]})
    assert [one.kid for one in found] == ["ed-1"]


@pytest.mark.parametrize(
    "key",
    [ECKey.generate_key("P-384", {"kid": "x"}), OKPKey.generate_key("X25519", {"kid": "x"}),
     OKPKey.generate_key("Ed448", {"kid": "x"}), OctKey.generate_key(256, {"kid": "x"})],
    ids=["P-384", "X25519", "Ed448", "oct"],
)  # fmt: skip
def test_keys_of_kinds_that_are_not_taken(key: Any) -> None:
    with pytest.raises(NotFetched):
        read_keys({"keys": [key.as_dict(private=key.key_type == "oct")]})


def test_a_point_that_is_not_on_the_curve() -> None:
    """RFC 8725, section 3.4: cryptographic inputs are validated."""
    plain = ECKey.generate_key("P-256", {"kid": "x"}).as_dict(private=False)
    with pytest.raises(NotFetched):
        read_keys({"keys": [{**plain, "y": plain["x"]}]})


@pytest.mark.parametrize("document", [None, [], {}, {"keys": {}}, {"keys": []}, {"keys": [{}] * 101}, "keys"])
def test_a_key_set_that_is_none(document: object) -> None:
    with pytest.raises(NotFetched):
        read_keys(document)


@pytest.mark.parametrize(
    "metadata",
    [[], {}, {"issuer": "https://other.example", "jwks_uri": f"{ISSUER}/keys"}, {"issuer": ISSUER},
     {"issuer": ISSUER, "jwks_uri": 7}, {"issuer": ISSUER, "jwks_uri": "http://sign-on.ridgeline.example/keys"},
     {"issuer": ISSUER, "jwks_uri": "http://127.0.0.1/keys"}, {"issuer": ISSUER, "jwks_uri": "file:///etc/passwd"},
     {"issuer": f"{ISSUER}/", "jwks_uri": f"{ISSUER}/keys"}],
)  # fmt: skip
def test_metadata_that_leads_astray(local: Any, clock: Any, metadata: object) -> None:
    asked = []

    def fetch(url: str) -> object:
        asked.append(url)
        return metadata if ".well-known" in url else {"keys": local.keys}

    with pytest.raises(IssuerDown):
        Issuer(ISSUER, fetch, clock).key_for("rsa-1", "RS256")
    assert all(".well-known" in url for url in asked)


def test_metadata_by_rfc_8414_has_its_place_between_host_and_path(local: Any, clock: Any) -> None:
    """The example of RFC 8414, section 3.1: https://example.com/issuer1."""
    url = "https://example.com/issuer1"
    documents = {
        "https://example.com/.well-known/oauth-authorization-server/issuer1": {
            "issuer": url,
            "jwks_uri": f"{url}/keys",
        },
        f"{url}/keys": {"keys": local.keys},
    }

    def fetch(asked: str) -> object:
        if asked not in documents:
            raise NotFetched(asked)
        return documents[asked]

    assert Issuer(url, fetch, clock).key_for("ed-1", "Ed25519").kid is None


def test_who_has_keys_does_not_wait_for_a_fetch(local: Any, clock: Any) -> None:
    """One request hangs in a fetch; the others go on with the keys that are there."""
    begun, go = threading.Event(), threading.Event()
    slow = False

    def fetch(url: str) -> object:
        if slow:
            begun.set()
            assert go.wait(30)
        return local.fetch(url)

    issuer = Issuer(ISSUER, fetch, clock)
    issuer.key_for("rsa-1", "RS256")
    slow = True
    clock.at += FRESH + 1
    hanging = threading.Thread(target=issuer.key_for, args=("rsa-1", "RS256"))
    hanging.start()
    try:
        assert begun.wait(30)
        assert issuer.key_for("rsa-1", "RS256")
        with pytest.raises(NoKey):
            issuer.key_for("unknown", "RS256")
    finally:
        go.set()
        hanging.join()
    assert fetches(local) == 2
