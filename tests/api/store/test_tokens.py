"""Tokens and organisations in the store."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import update

from api.store import events, organisations, tokens
from api.store.database import Store
from api.store.organisations import AlreadyThere, BadName
from api.store.tables import tokens as table
from api.store.tokens import NameTaken, NoSuchToken, Token
from audit.nouns.clearance import Effect, Terms
from audit.nouns.risk import Level

NOW = 1_790_000_000.0


@pytest.fixture
def two(store: Store) -> Store:
    """A store with two organisations."""
    for name in ("ridgeline", "lowfield"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name.title(), "me", NOW)
    return store


def token(id: str, name: str, **changes: object) -> Token:
    return replace(Token("ridgeline", id, name, "reader", (), NOW, "me"), **changes)  # type: ignore[arg-type]


def test_a_token_is_found_by_its_hash_with_the_time_on_the_record(two: Store) -> None:
    one = token("1", "tablet", units=("unit-01", "unit-02"), expires=NOW + 10)
    with two.writing("ridgeline", "me", NOW + 5) as work:
        tokens.add(work, one, "aa")
    with two.connection() as connection:
        assert tokens.of_hash(connection, "aa") == (one, NOW + 5)
        assert tokens.of_hash(connection, "ab") is None
        assert tokens.any_live(connection, NOW + 9)
        assert not tokens.any_live(connection, NOW + 10)


def test_making_and_revoking_are_on_the_record(two: Store) -> None:
    with two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("1", "tablet"), "the-hash")
    with two.writing("ridgeline", "ana", NOW + 1) as work:
        assert tokens.revoke(work, "1").revoked == NOW + 1
    with two.writing("ridgeline", "ana", NOW + 2) as work:
        assert tokens.revoke(work, "1").revoked == NOW + 1, "what is revoked stays as it is"
    with two.reading("ridgeline") as work:
        found = list(events.read(work))
        assert not list(events.faults_in(found, events.head(work)))
    assert [(one.what, one.who, one.subject) for one in found[1:]] == [
        ("token.made", "me", "token/1"),
        ("token.revoked", "ana", "token/1"),
    ]
    assert found[1].content["hash"] == "the-hash", "so that a swapped one is found"
    with two.connection() as connection:
        assert not tokens.any_live(connection, NOW + 1)


def test_an_organisation_never_sees_another_s_tokens(two: Store) -> None:
    with two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("1", "tablet"), "aa")
    with two.writing("lowfield", "me", NOW) as work:
        assert tokens.every(work) == ()
        with pytest.raises(NoSuchToken):
            tokens.one(work, "1")
        with pytest.raises(NoSuchToken):
            tokens.revoke(work, "1")
    with two.reading("ridgeline") as work:
        assert tokens.one(work, "1").revoked is None


def test_a_name_is_never_given_twice(two: Store) -> None:
    with two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("1", "Tablet"), "aa")
        tokens.revoke(work, "1")
    with pytest.raises(NameTaken), two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("2", "TABLET"), "bb")
    with two.writing("lowfield", "me", NOW) as work:
        tokens.add(work, token("2", "Tablet", organisation="lowfield"), "bb")


def test_a_hash_that_repeats_is_a_broken_generator(two: Store) -> None:
    with two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("1", "one"), "aa")
    with pytest.raises(RuntimeError, match="repeat"), two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("2", "two"), "aa")


@pytest.mark.parametrize("units", ["{}", "7", '"unit-01"', "[7]", "[", ""])
def test_units_that_can_t_be_read_open_nothing(two: Store, units: str) -> None:
    with two.writing("ridgeline", "me", NOW) as work:
        tokens.add(work, token("1", "one"), "aa")
        work.connection.execute(update(table).values(units=units))
    with two.connection() as connection, pytest.raises(ValueError, match=r"units|JSON|Expecting|delimiter"):
        tokens.of_hash(connection, "aa")


def test_an_organisation_begins_with_the_usual_terms(two: Store) -> None:
    with two.reading("ridgeline") as work:
        found = organisations.read(work)
        assert (found.name, found.terms, found.effects, found.rulebook) == ("Ridgeline", Terms(), {}, "")
        (first,) = events.read(work)
        assert (first.what, first.subject, first.number) == ("organisation.made", "organisation/ridgeline", 1)
    with two.connection() as connection:
        assert organisations.ids(connection) == ("lowfield", "ridgeline")
        assert organisations.is_any(connection)
        assert not organisations.is_there(connection, "Ridgeline")


def test_an_organisation_is_made_once(two: Store) -> None:
    with pytest.raises(AlreadyThere), two.connection(writes=True) as connection:
        organisations.make(connection, "ridgeline", "Again", "me", NOW)


@pytest.mark.parametrize("id", ["", "A", "a b", "-a", "a-", "a/b", "é", "a" * 61, "a\n", "../a"])
def test_ids_that_could_not_stand_in_an_address(store: Store, id: str) -> None:
    with pytest.raises(BadName), store.connection(writes=True) as connection:
        organisations.make(connection, id, "Name", "me", NOW)


@pytest.mark.parametrize("name", ["", " ", "a\n", "x" * 121])
def test_names_that_people_could_not_read(store: Store, name: str) -> None:
    with pytest.raises(BadName), store.connection(writes=True) as connection:
        organisations.make(connection, "a", name, "me", NOW)


def test_terms_are_changed_and_the_record_says_so(two: Store) -> None:
    terms, effects = Terms(Level.SERIOUS, 20.0, 3.5, 12.0), {"a-rule": Effect.SHOWN, "other": Effect.HOLDS}
    with two.writing("ridgeline", "ana", NOW) as work:
        before = organisations.read(work)
        after = organisations.set_terms(work, terms, effects)
        assert organisations.set_terms(work, terms, effects) == after
    assert (after.terms, after.effects) == (terms, {"a-rule": Effect.SHOWN}), "what holds need not be said"
    with two.reading("ridgeline") as work:
        assert organisations.read(work) == after
        changed = list(events.read(work))[1:]
    assert [(one.what, one.before, one.after) for one in changed] == [
        ("organisation.changed", before.edition, after.edition)
    ]
    with two.reading("lowfield") as work:
        assert organisations.read(work).terms == Terms()
