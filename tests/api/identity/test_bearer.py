"""Access tokens of a sign-on, and what is done to forge them.

The attacks are those of RFC 8725 (JSON Web Token Best Current Practices), section 2; the claims are those of RFC 9068,
section 2.2.
"""

from __future__ import annotations

import hmac
import json
import warnings
from base64 import urlsafe_b64encode
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from joserfc.jwk import RSAKey

from api.identity.bearer import Bearer
from api.identity.caller import How
from api.identity.compact import MOST_BYTES
from api.identity.holder import NoRole
from api.identity.rights import Right, Role
from api.identity.signed import LEEWAY, NotGood


def refused(bearer: Bearer, token: str, now: float, why: str) -> None:
    with pytest.raises(NotGood, match=why):
        bearer.caller(token, now)


@pytest.mark.parametrize(
    ("name", "alg"), [("rsa", "RS256"), ("rsa", "PS256"), ("ec", "ES256"), ("ed", "Ed25519"), ("ed", "EdDSA")]
)
def test_a_good_token_tells_who_holds_it(
    bearer: Bearer, local: Any, clock: Any, request: pytest.FixtureRequest, name: str, alg: str
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the older name of an algorithm is what is tested
        token = local.token(key=request.getfixturevalue(name), alg=alg)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        caller = bearer.caller(token, clock())
    assert (caller.organisation, caller.who, caller.how) == ("ridgeline", "sign-on:ana", How.SIGN_ON)
    assert caller.roles == {Role.MECHANIC}
    assert caller.may(Right.START)
    assert not caller.may(Right.ACCEPT)
    assert caller.sees("any unit")


def test_several_roles_add_up_and_words_of_others_add_nothing(bearer: Bearer, local: Any, clock: Any) -> None:
    claims = local.claims(groups=["harvest lead", "choir", "harvest crew", 7, "owner"])
    assert bearer.caller(local.token(claims), clock()).roles == {Role.MECHANIC, Role.APPROVER}


def test_audience_may_be_a_list(bearer: Bearer, local: Any, clock: Any) -> None:
    claims = local.claims(aud=["elsewhere", "https://audit.ridgeline.example"])
    assert bearer.caller(local.token(claims), clock()).who == "sign-on:ana"


def test_claims_may_stand_deeper(bearer: Bearer, local: Any, clock: Any) -> None:
    deep = Bearer(replace(bearer.sign_on, roles_claim=("realm", "roles")), bearer.issuer)
    claims = local.claims(realm={"roles": "harvest lead".replace(" ", "-")})
    with pytest.raises(NoRole):
        deep.caller(local.token(claims), clock())
    claims = local.claims(realm={"roles": ["harvest lead"]})
    assert deep.caller(local.token(claims), clock()).roles == {Role.APPROVER}


@pytest.mark.parametrize("groups", [None, [], "", "owner", ["owner"], {"harvest crew": 1}, [["harvest crew"]], 7])
def test_without_a_role_nothing_opens(bearer: Bearer, local: Any, clock: Any, groups: Any) -> None:
    with pytest.raises(NoRole):
        bearer.caller(local.token(local.claims(groups=groups)), clock())


@pytest.mark.parametrize("org", [None, "", "ridgeline", "Other Growers", ["Ridgeline Growers"], 7])
def test_an_organisation_that_is_not_on_the_list_opens_nothing(
    bearer: Bearer, local: Any, clock: Any, org: Any
) -> None:
    with pytest.raises(NoRole):
        bearer.caller(local.token(local.claims(org=org)), clock())


def test_forged_by_another_key_of_the_same_name(bearer: Bearer, local: Any, clock: Any) -> None:
    other = RSAKey.generate_key(2048, {"kid": "rsa-1"})
    refused(bearer, local.token(key=other), clock(), "signature is wrong")


@pytest.mark.parametrize("part", [0, 1])
def test_forged_by_changing_what_was_signed(bearer: Bearer, local: Any, clock: Any, part: int) -> None:
    parts = local.token().split(".")
    plain = json.loads(local.decode(parts[part]))
    plain["sub" if part else "zip"] = "someone"
    parts[part] = local.encode(json.dumps(plain))
    refused(bearer, ".".join(parts), clock(), "signature is wrong")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], max_examples=200)
@given(place=st.integers(0, 10_000), change=st.integers(1, 255))
def test_any_changed_character_is_refused(
    bearer: Bearer, local: Any, clock: Any, ed: Any, place: int, change: int
) -> None:
    token = local.token(key=ed, alg="Ed25519")
    place %= len(token)
    other = token[:place] + chr(ord(token[place]) ^ change) + token[place + 1 :]
    with pytest.raises(NotGood):
        bearer.caller(other, clock())


@pytest.mark.parametrize("alg", ["none", "None", "NONE", "nOnE", "", None, 7, ["RS256"]])
def test_alg_none(bearer: Bearer, local: Any, clock: Any, alg: Any) -> None:
    header = local.encode(json.dumps({"alg": alg, "typ": "at+jwt", "kid": "rsa-1"}))
    payload = local.encode(json.dumps(local.claims()))
    for signature in ("", "AA", local.token().split(".")[2]):
        with pytest.raises(NotGood, match=r"of a kind that is not taken|not signed"):
            bearer.caller(f"{header}.{payload}.{signature}", clock())


@pytest.mark.parametrize("form", ["pem", "der", "n"])
def test_hs256_with_the_public_key_as_its_secret(bearer: Bearer, local: Any, clock: Any, rsa: Any, form: str) -> None:
    public = {
        "pem": rsa.as_pem(private=False),
        "der": rsa.as_der(private=False),
        "n": rsa.as_dict(private=False)["n"].encode(),
    }[form]
    head = local.encode(json.dumps({"alg": "HS256", "typ": "at+jwt", "kid": "rsa-1"}))
    signed = f"{head}.{local.encode(json.dumps(local.claims()))}"
    signature = urlsafe_b64encode(hmac.digest(public, signed.encode(), "sha256")).rstrip(b"=").decode()
    refused(bearer, f"{signed}.{signature}", clock(), "of a kind that is not taken")


def test_an_algorithm_that_the_settings_leave_out(bearer: Bearer, local: Any, clock: Any, ec: Any) -> None:
    strict = Bearer(replace(bearer.sign_on, algorithms=("RS256",)), bearer.issuer)
    refused(strict, local.token(key=ec, alg="ES256"), clock(), "of a kind that is not taken")


@pytest.mark.parametrize("alg", ["ES256", "Ed25519"])
def test_an_algorithm_of_another_kind_of_key(bearer: Bearer, local: Any, clock: Any, rsa: Any, alg: str) -> None:
    token = local.token().split(".")
    header = local.encode(json.dumps({"alg": alg, "typ": "at+jwt", "kid": rsa.kid}))
    refused(bearer, f"{header}.{token[1]}.{token[2]}", clock(), "no such key")


def test_a_key_that_is_kept_for_another_algorithm(bearer: Bearer, local: Any, clock: Any) -> None:
    local.keys[0]["alg"] = "PS256"
    refused(bearer, local.token(), clock(), "no such key")


def test_signed_by_a_key_that_it_brings_along(bearer: Bearer, local: Any, clock: Any) -> None:
    own = RSAKey.generate_key(2048, {"kid": "mine"})
    refused(bearer, local.token(key=own, jwk=own.as_dict(private=False)), clock(), "brings its own key")
    for name in ("jku", "x5u"):
        refused(bearer, local.token(key=own, **{name: "https://mine.example/keys"}), clock(), "brings its own key")
    assert not any("mine.example" in url for url in local.asked)


def test_a_critical_extension_is_not_passed_over(bearer: Bearer, local: Any, clock: Any) -> None:
    """RFC 7515, section 4.1.11: what is critical and not understood makes the token invalid."""
    parts = local.token().split(".")
    headers: list[dict[str, Any]] = [{"crit": ["exp"], "exp": 1}, {"crit": []}, {"b64": False, "crit": ["b64"]}]
    for header in [*headers, {"b64": True}]:
        first = local.encode(json.dumps({"alg": "RS256", "typ": "at+jwt", "kid": "rsa-1", **header}))
        refused(bearer, f"{first}.{parts[1]}.{parts[2]}", clock(), "not understood")


def test_expired(bearer: Bearer, local: Any, clock: Any) -> None:
    token = local.token(local.claims(exp=clock() + 10))
    bearer.caller(token, clock() + 10 + LEEWAY - 1)
    refused(bearer, token, clock() + 10 + LEEWAY, "has expired")


@pytest.mark.parametrize("claim", ["nbf", "iat"])
def test_not_yet_valid(bearer: Bearer, local: Any, clock: Any, claim: str) -> None:
    bearer.caller(local.token(local.claims(**{claim: clock() + LEEWAY})), clock())
    refused(bearer, local.token(local.claims(**{claim: clock() + LEEWAY + 1})), clock(), "not valid yet")


def test_made_to_live_too_long(bearer: Bearer, local: Any, clock: Any) -> None:
    refused(bearer, local.token(local.claims(exp=clock() + 86401)), clock(), "live longer")


@pytest.mark.parametrize(
    "audience",
    [None, "", "https://other.example", "https://audit.ridgeline.example/", [], [["https://audit.ridgeline.example"]],
     {"https://audit.ridgeline.example": 1}, True],
)  # fmt: skip
def test_wrong_audience(bearer: Bearer, local: Any, clock: Any, audience: Any) -> None:
    refused(bearer, local.token(local.claims(aud=audience)), clock(), "for another service")


@pytest.mark.parametrize(
    "issuer", [None, "", "https://sign-on.ridgeline.example/", "HTTPS://sign-on.ridgeline.example", ["x"], 7]
)
def test_wrong_issuer(bearer: Bearer, local: Any, clock: Any, issuer: Any) -> None:
    refused(bearer, local.token(local.claims(iss=issuer)), clock(), "of another issuer")


@pytest.mark.parametrize("subject", [None, "", 7, ["ana"], "a" * 201, "ana\nowner", "ana\x00", "\u202eana"])
def test_a_subject_that_could_mislead_the_record(bearer: Bearer, local: Any, clock: Any, subject: Any) -> None:
    refused(bearer, local.token(local.claims(sub=subject)), clock(), "whose it is")


@pytest.mark.parametrize("claim", ["exp", "iat", "nbf"])
@pytest.mark.parametrize(
    "text", ["NaN", "Infinity", "-Infinity", "1e999", "true", '"1790000600"', "-1", "1e300", "[]", "{}"]
)
def test_a_time_that_is_no_time(bearer: Bearer, local: Any, clock: Any, rsa: Any, claim: str, text: str) -> None:
    payload = json.dumps(local.claims(**{claim: "HERE"})).replace('"HERE"', text)
    token = local.signed({"alg": "RS256", "typ": "at+jwt", "kid": "rsa-1"}, payload, rsa)
    refused(bearer, token, clock(), "can't be read")


@pytest.mark.parametrize("claim", ["exp", "iat"])
def test_without_its_times(bearer: Bearer, local: Any, clock: Any, claim: str) -> None:
    refused(bearer, local.token(local.claims(**{claim: None})), clock(), f"'{claim}' is missing")


def test_a_time_of_a_million_digits(bearer: Bearer, local: Any, clock: Any, rsa: Any) -> None:
    payload = json.dumps(local.claims(exp="HERE")).replace('"HERE"', "9" * 8000)
    token = local.signed({"alg": "RS256", "typ": "at+jwt", "kid": "rsa-1"}, payload, rsa)
    refused(bearer, token, clock(), "can't be read")


def test_duplicate_claims(bearer: Bearer, local: Any, clock: Any, rsa: Any) -> None:
    payload = json.dumps(local.claims())[:-1] + ', "sub": "owner"}'
    token = local.signed({"alg": "RS256", "typ": "at+jwt", "kid": "rsa-1"}, payload, rsa)
    refused(bearer, token, clock(), "claims can't be read")


def test_duplicate_header(bearer: Bearer, local: Any, clock: Any) -> None:
    parts = local.token().split(".")
    parts[0] = local.encode('{"alg":"none","alg":"RS256","typ":"at+jwt","kid":"rsa-1"}')
    refused(bearer, ".".join(parts), clock(), "header can't be read")


@pytest.mark.parametrize("kind", ["JWT", None, "", "dpop+jwt", "logout+jwt", "secevent+jwt", 7])
def test_a_token_of_another_kind(bearer: Bearer, local: Any, clock: Any, kind: Any) -> None:
    parts = local.token().split(".")
    if kind != 7:
        token = local.token(typ=kind)
    else:
        token = ".".join([local.encode(json.dumps({"alg": "RS256", "kid": "rsa-1", "typ": 7})), *parts[1:]])
    refused(bearer, token, clock(), "not an access token")


@pytest.mark.parametrize("kind", ["JWT", "jwt", None, "application/at+jwt", "AT+JWT"])
def test_id_tokens_where_the_settings_take_them(bearer: Bearer, local: Any, clock: Any, kind: Any) -> None:
    both = Bearer(replace(bearer.sign_on, id_tokens=True), bearer.issuer)
    assert both.caller(local.token(typ=kind), clock()).who == "sign-on:ana"


def test_a_token_that_is_bound_to_a_key(bearer: Bearer, local: Any, clock: Any) -> None:
    """RFC 8705, section 3, and RFC 9449, section 6: who can't check ``cnf`` must not take the token from just anybody."""
    refused(bearer, local.token(local.claims(cnf={"jkt": "x"})), clock(), "bound to a key")


@pytest.mark.parametrize(
    "kid",
    ["unknown", "../../../../etc/passwd", "rsa-1\x00", "rsa-1/../rsa-1", "' OR 1=1 --", "https://mine.example/key",
     "RSA-1", " rsa-1", "k" * 257],
)  # fmt: skip
def test_unknown_key_ids_and_tricks_with_them(bearer: Bearer, local: Any, clock: Any, kid: str) -> None:
    refused(bearer, local.token(kid=kid), clock(), r"no such key|key id can't be read")
    assert set(local.asked) <= {
        "https://sign-on.ridgeline.example/.well-known/openid-configuration",
        "https://sign-on.ridgeline.example/keys",
    }


@pytest.mark.parametrize("kid", [7, ["rsa-1"], {"kid": "rsa-1"}, True])
def test_a_key_id_that_is_no_text(bearer: Bearer, local: Any, clock: Any, kid: Any) -> None:
    parts = local.token().split(".")
    header = local.encode(json.dumps({"alg": "RS256", "typ": "at+jwt", "kid": kid}))
    refused(bearer, f"{header}.{parts[1]}.{parts[2]}", clock(), "key id can't be read")


def test_without_a_key_id_only_one_key_may_suit(bearer: Bearer, local: Any, clock: Any) -> None:
    assert bearer.caller(local.token(kid=None), clock()).who == "sign-on:ana"
    local.keys.append(RSAKey.generate_key(2048, {"kid": "rsa-2"}).as_dict(private=False))
    clock.at += 601
    refused(bearer, local.token(kid=None), clock(), "which of several")


def test_a_huge_token(bearer: Bearer, local: Any, clock: Any) -> None:
    refused(bearer, local.token(local.claims(more="x" * MOST_BYTES)), clock(), "longer than")
    assert local.asked == []


@pytest.mark.parametrize("deep", ["[" * 5000 + "]" * 5000, '{"a":' * 1500 + "1" + "}" * 1500])
def test_a_token_that_is_nested_without_end(bearer: Bearer, local: Any, clock: Any, deep: str) -> None:
    parts = local.token().split(".")
    refused(bearer, f"{parts[0]}.{local.encode(deep)}.{parts[2]}", clock(), r"can't be read|not an object|signature")


@pytest.mark.parametrize("change", ["pad", "plus", "blank", "line", "dots", "few", "trailing bits", "not an object"])
def test_text_that_two_readers_could_take_apart_differently(
    bearer: Bearer, local: Any, clock: Any, ed: Any, change: str
) -> None:
    header, payload, signature = local.token(key=ed, alg="Ed25519").split(".")
    other = {
        "pad": f"{header}=.{payload}.{signature}",
        "plus": f"{header}.{payload}.+{signature[1:]}",
        "blank": f"{header}.{payload} .{signature}",
        "line": f"{header}.{payload}.{signature}\n",
        "dots": f"{header}.{payload}.{signature}.",
        "few": f"{header}.{payload}",
        "trailing bits": f"{header}.{payload}.{signature[:-1]}{chr(ord(signature[-1]) + 1)}",  # 64 bytes end in A, Q, g or w
        "not an object": f"{header}.{local.encode('[1]')}.{signature}",
    }[change]
    with pytest.raises(NotGood, match=r"base64url|bits left over|three parts|not an object"):
        bearer.caller(other, clock())
