"""setup-audit token and organisation."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from typing import Any

import pytest

from api.commands import organisation as organisation_command
from api.commands import token as token_command
from api.identity.door import Identity
from api.identity.rights import Right, Role
from api.status import BAD_INPUT, CLEARED
from api.store import events
from api.store.database import Store

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(address: str, clock: Any, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command on a store of its own: status, what was printed, what was said beside."""

    def run_one(group: str, name: str, *words: str) -> tuple[int, str, str]:
        module: Any = {"token": token_command, "organisation": organisation_command}[group]
        parser = argparse.ArgumentParser()
        module.add(parser, name)
        arguments = parser.parse_args([*words, "--store", address])
        status = module.run(arguments, name, clock)
        out, error = capsys.readouterr()
        return status, out, error

    return run_one


@pytest.fixture
def ridgeline(run: Run) -> Run:
    assert run("organisation", "make", "ridgeline", "--name", "Ridgeline Growers")[0] == CLEARED
    return run


def test_from_nothing_to_an_owner(run: Run, address: str, clock: Any) -> None:
    assert run("token", "make", "--name", "ana", "--role", "owner")[2].startswith("There is no organisation yet")
    status, out, _ = run("organisation", "make", "ridgeline", "--name", "Ridgeline Growers")
    assert (status, "--role owner" in out) == (CLEARED, True)
    status, secret, said = run("token", "make", "--name", "ana", "--role", "owner", "--forever")
    assert (status, "printed this once" in said) == (CLEARED, True)
    store = Store(address)
    caller = Identity(store, None, clock).caller([f"Bearer {secret.strip()}"], "")
    assert (caller.who, caller.may(Right.ADMINISTER)) == ("token:ana", True)
    store.close()


def test_tokens_are_listed_and_revoked(ridgeline: Run, clock: Any) -> None:
    assert ridgeline("token", "list")[1] == "There is no token yet.\n"
    ridgeline("token", "make", "--name", "ana", "--role", "owner", "--forever")
    ridgeline(
        "token",
        "make",
        "--name",
        "tablet",
        "--role",
        "mechanic",
        "--unit",
        "unit-07",
        "--unit",
        "unit-01",
        "--days",
        "1",
    )
    _, out, _ = ridgeline("token", "list")
    assert "tablet: unit-01, unit-07, until " in out
    assert "ana: all units, for ever" in out
    listed = json.loads(ridgeline("token", "list", "--json")[1])
    assert {one["name"]: one["expires"] for one in listed} == {"ana": None, "tablet": clock() + 86400}
    ids = {one["name"]: one["id"] for one in listed}
    clock.at += 86400
    assert "expired  mechanic" in ridgeline("token", "list")[1]
    assert ridgeline("token", "revoke", ids["tablet"])[0] == CLEARED
    status, _, said = ridgeline("token", "revoke", ids["ana"])
    assert (status, "last owner" in said) == (BAD_INPUT, True)
    assert ridgeline("token", "revoke", ids["ana"], "--force")[0] == CLEARED
    assert "revoked  owner" in ridgeline("token", "list")[1]
    assert ridgeline("token", "revoke", "none")[0] == BAD_INPUT


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--name", "x", "--role", "owner", "--unit", "unit-07"), "every unit"),
        (("--name", " ", "--role", "reader"), "its name"),
        (("--name", "x", "--role", "reader", "--organisation", "lowfield"), "no organisation 'lowfield'"),
    ],
)
def test_tokens_that_can_t_be_made(ridgeline: Run, words: tuple[str, ...], said: str) -> None:
    status, out, error = ridgeline("token", "make", *words)
    assert (status, out) == (BAD_INPUT, "")
    assert said in error


def test_a_name_is_given_once(ridgeline: Run) -> None:
    assert ridgeline("token", "make", "--name", "x", "--role", "reader")[0] == CLEARED
    assert "choose another name" in ridgeline("token", "make", "--name", "X", "--role", "reader")[2]


@pytest.mark.parametrize("days", ["0", "-1", "nan", "inf", "99999", "x"])
def test_days_that_are_none(ridgeline: Run, days: str) -> None:
    with pytest.raises(SystemExit):
        ridgeline("token", "make", "--name", "x", "--role", "reader", "--days", days)


def test_of_several_organisations_one_is_named(ridgeline: Run) -> None:
    assert ridgeline("organisation", "make", "lowfield", "--name", "Lowfield")[0] == CLEARED
    assert "lowfield, ridgeline" in ridgeline("token", "list")[2]
    assert ridgeline("token", "list", "--organisation", "lowfield")[0] == CLEARED
    out = ridgeline("organisation", "show")[1]
    assert out.index("lowfield: Lowfield") < out.index("ridgeline: Ridgeline Growers")


def test_an_organisation_is_made_once_and_well_named(ridgeline: Run) -> None:
    assert "already" in ridgeline("organisation", "make", "ridgeline", "--name", "Again")[2]
    assert "small letters" in ridgeline("organisation", "make", "Low Field", "--name", "x")[2]


def test_terms_are_set_and_shown(ridgeline: Run, address: str) -> None:
    assert ridgeline("organisation", "show")[1].startswith("ridgeline: Ridgeline Growers\n  a start is held at High")
    words = ("--hold-at", "serious", "--most-days", "7", "--effect", "chaffer-too-open=shown")
    status, out, _ = ridgeline("organisation", "set", *words)
    assert status == CLEARED
    assert "Serious and above" in out
    assert "chaffer-too-open: shown only" in out
    plain = json.loads(ridgeline("organisation", "show", "ridgeline", "--json")[1])[0]
    assert plain["terms"] == {"hold_at": "serious", "most_hours": 50.0, "most_days": 7.0, "valid_for": 24.0}
    assert plain["effects"] == {"chaffer-too-open": "shown"}
    ridgeline("organisation", "set", "--effect", "chaffer-too-open=holds")
    assert json.loads(ridgeline("organisation", "show", "--json")[1])[0]["effects"] == {}
    store = Store(address)
    with store.reading("ridgeline") as work:
        assert [one.who for one in events.read(work, what="organisation.changed")] == ["command line"] * 2
    store.close()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--most-days", "0"), "most-days must lie above 0"),
        (("--most-hours", "nan", "--valid-for", "1e9"), "valid-for must lie above 0 and be at most 168 h"),
        (("--effect", "chaffer-too-opn=shown"), "Did you mean 'chaffer-too-open'"),
        (("--site", "no-such-folder"), "no-such-folder"),
    ],
)
def test_terms_that_can_t_be_set(ridgeline: Run, words: tuple[str, ...], said: str) -> None:
    status, out, error = ridgeline("organisation", "set", *words)
    assert (status, out) == (BAD_INPUT, "")
    assert said in error
    assert "High and above" in ridgeline("organisation", "show")[1]


@pytest.mark.parametrize("effect", ["chaffer-too-open", "=shown", "chaffer-too-open=never"])
def test_effects_that_say_nothing(ridgeline: Run, effect: str) -> None:
    with pytest.raises(SystemExit):
        ridgeline("organisation", "set", "--effect", effect)


def test_an_address_that_is_no_store(capsys: pytest.CaptureFixture[str]) -> None:
    parser = argparse.ArgumentParser()
    token_command.add(parser, "list")
    assert token_command.run(parser.parse_args(["--store", "nowhere"]), "list") == BAD_INPUT
    assert "no database address" in capsys.readouterr().err


def test_roles_at_the_command_line_are_all_roles() -> None:
    assert tuple(role.value for role in Role) == token_command.ROLES
