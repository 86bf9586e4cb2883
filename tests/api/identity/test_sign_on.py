"""Settings of a sign-on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from api.identity import sign_on as module
from api.identity.rights import Role
from api.identity.sign_on import ALGORITHMS, VARIABLE, BadSettings, read_settings, sign_on_of

GOOD: dict[str, Any] = {
    "issuer": "https://sign-on.ridgeline.example",
    "audience": "https://audit.ridgeline.example",
    "organisation": "ridgeline",
    "roles_claim": "groups",
    "roles": {"harvest crew": "mechanic"},
}


def test_the_least_that_is_needed() -> None:
    found = read_settings(GOOD, {})
    assert (found.organisation, found.organisation_claim, found.roles_claim) == ("ridgeline", (), ("groups",))
    assert found.roles == {"harvest crew": Role.MECHANIC}
    assert (found.algorithms, found.id_tokens, found.longest) == (ALGORITHMS, False, 86400.0)
    assert not any(name.startswith("HS") or name.lower() == "none" for name in ALGORITHMS)


def test_the_example_of_the_module_is_good(tmp_path: Path) -> None:
    file, secret = tmp_path / "sign-on.toml", tmp_path / "client-secret"
    text = str(module.__doc__).partition("\n\n")[2].rpartition("\n\n")[0]
    file.write_text(text.replace("/etc/setup-audit/client-secret", str(secret)), encoding="utf-8")
    secret.write_text("of the client\n".replace(" ", "-"), encoding="ascii")
    found = sign_on_of({}, file)
    assert found is not None
    assert found == sign_on_of({VARIABLE: str(file)})
    assert (found.client, found.secret, found.scopes) == ("setup-audit", "of-the-client", ("openid", "groups"))


def test_the_example_of_the_readme_is_good(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    (example,) = [one for one in readme.split("```") if one.startswith("toml") and "issuer" in one]
    file, secret = tmp_path / "sign-on.toml", tmp_path / "client"
    file.write_text(example.removeprefix("toml").replace("/etc/setup-audit/client", str(secret)), encoding="utf-8")
    secret.write_text("of-the-client", encoding="ascii")
    found = sign_on_of({}, file)
    assert found is not None
    assert (found.client, found.secret) == ("setup-audit", "of-the-client")


def test_from_the_environment_as_json() -> None:
    assert sign_on_of({VARIABLE: json.dumps(GOOD)}) == read_settings(GOOD, {})
    assert sign_on_of({}) is None
    assert sign_on_of({VARIABLE: " "}) is None


def test_the_secret_of_the_client_is_kept_elsewhere_and_never_shown() -> None:
    plain = {**GOOD, "client_id": "setup-audit", "client_secret": "env:CLIENT_SECRET"}
    found = read_settings(plain, {"CLIENT_SECRET": " kept-well\n"})
    assert found.secret == "kept-well"
    assert "kept-well" not in repr(found)
    assert read_settings({**GOOD, "client_id": "setup-audit"}, {}).secret == "", "a public client has none"
    with pytest.raises(BadSettings) as caught:
        read_settings(plain, {"CLIENT_SECRET": "kept well"})
    assert "well" not in str(caught.value)


def test_an_organisation_by_claim() -> None:
    by_claim = {**GOOD, "organisation_claim": ["realm", "org"], "organisations": {"Ridgeline Growers": "ridgeline"}}
    del by_claim["organisation"]
    found = read_settings(by_claim, {})
    assert found.organisation_claim == ("realm", "org")
    assert found.organisations == {"Ridgeline Growers": "ridgeline"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"issuer": None}, "'issuer' is missing"),
        ({"issuer": 7}, "'issuer' must be a text"),
        ({"issuer": "http://sign-on.ridgeline.example"}, "https"),
        ({"audience": " "}, "'audience'"),
        ({"isuer": "x"}, "Did you mean 'issuer'"),
        ({"organisation": None}, "give either"),
        ({"organisation_claim": "org"}, "give either"),
        ({"organisations": {"a": "b"}}, "give either"),
        ({"organisation_claim": "org", "organisations": {"a": "b"}}, "give either"),
        ({"organisation": None, "organisation_claim": "org"}, "give either"),
        ({"roles": None}, "who has no role"),
        ({"roles": {}}, "who has no role"),
        ({"roles": {"crew": "mechanik"}}, "Did you mean 'mechanic'"),
        ({"roles": {"crew": 7}}, "'roles' must be a table"),
        ({"roles_claim": [""]}, "'roles_claim'"),
        ({"roles_claim": 7}, "'roles_claim'"),
        ({"algorithms": []}, "'algorithms'"),
        ({"algorithms": ["HS256"]}, "'algorithms'"),
        ({"algorithms": ["none"]}, "'algorithms'"),
        ({"algorithms": "RS256"}, "'algorithms'"),
        ({"id_tokens": "yes"}, "'id_tokens'"),
        ({"longest_hours": 0}, "'longest_hours'"),
        ({"longest_hours": float("nan")}, "'longest_hours'"),
        ({"longest_hours": True}, "'longest_hours'"),
        ({"longest_hours": 10_000}, "'longest_hours'"),
        ({"client_id": ""}, "'client_id'"),
        ({"client_id": "a b"}, "'client_id'"),
        ({"client_id": 7}, "'client_id'"),
        ({"client_secret": "env:NAME"}, "only with a 'client_id'"),
        ({"scopes": ["openid"]}, "only with a 'client_id'"),
        ({"client_id": "audit", "client_secret": "hunter2"}, "env:NAME or file:PATH"),
        ({"client_id": "audit", "client_secret": "env:"}, "env:NAME or file:PATH"),
        ({"client_id": "audit", "client_secret": 7}, "env:NAME or file:PATH"),
        ({"client_id": "audit", "client_secret": "env:NAME"}, r"\$NAME, which should hold it, is not set"),
        ({"client_id": "audit", "client_secret": "file:/nowhere/secret"}, "/nowhere/secret, which should hold it"),
        ({"client_id": "audit", "scopes": "openid"}, "'scopes'"),
        ({"client_id": "audit", "scopes": ["open id"]}, "'scopes'"),
        ({"client_id": "audit", "scopes": ["groups"]}, "'scopes' must have 'openid'"),
    ],
)
def test_settings_that_are_refused(change: dict[str, Any], said: str) -> None:
    plain = {key: value for key, value in {**GOOD, **change}.items() if value is not None}
    with pytest.raises(BadSettings, match=said):
        read_settings(plain, {})


def test_every_problem_is_told_at_once() -> None:
    with pytest.raises(BadSettings) as caught:
        read_settings({"nonsense": 1}, {})
    assert len(caught.value.problems) >= 4


@pytest.mark.parametrize("text", ["{", '{"issuer": "a", "issuer": "b"}', '{"longest_hours": NaN}'])
def test_an_environment_that_is_no_json(text: str) -> None:
    with pytest.raises(BadSettings, match=VARIABLE):
        sign_on_of({VARIABLE: text})


@pytest.mark.parametrize("content", [b"issuer = ", b"a = 1\na = 2\n", b"\xff"])
def test_files_that_can_t_be_read(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "sign-on.toml"
    file.write_bytes(content)
    with pytest.raises(BadSettings, match=r"sign-on\.toml"):
        sign_on_of({}, file)
    with pytest.raises(BadSettings):
        sign_on_of({VARIABLE: str(tmp_path / "none.toml")})


def test_settings_that_are_no_table() -> None:
    with pytest.raises(BadSettings):
        read_settings([], {})
