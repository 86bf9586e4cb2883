"""Secrets, and who may make and end tokens."""

from __future__ import annotations

import math
import threading
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.identity.caller import Caller, How
from api.identity.rights import Right, Role, rights_of
from api.identity.tokens import (
    BadToken,
    LastOwner,
    NotAllowed,
    at_command_line,
    first_owner,
    hash_of,
    is_secret,
    make,
    new_secret,
    revoke,
)
from api.store import events, organisations, tokens
from api.store.database import Store
from api.store.tokens import NoSuchToken

NOW = 1_790_000_000.0
OWNER = Caller("ridgeline", "token:owner", frozenset({Role.OWNER}), frozenset(), How.TOKEN)


@pytest.fixture
def ridgeline(store: Store) -> Store:
    with store.connection(writes=True) as connection:
        organisations.make(connection, "ridgeline", "Ridgeline Growers", "me", NOW)
    return store


def test_roles_are_a_ladder_with_authors_beside_it() -> None:
    reader, recorder, mechanic, approver, author, owner = (rights_of([role]) for role in Role)
    assert reader < recorder < mechanic < approver < owner
    assert reader < author < owner
    assert owner == frozenset(Right)
    assert Right.ACCEPT not in author
    assert Right.AUTHOR not in approver
    assert rights_of([]) == frozenset()


def test_secrets_differ_and_show_that_they_are_ours() -> None:
    found = {new_secret() for _ in range(1000)}
    assert len(found) == 1000
    assert all(is_secret(one) and len(one) == 53 and one.startswith("csa_") for one in found)
    assert hash_of("csa_x") == sha256(b"csa_x").hexdigest()


@given(place=st.integers(0, 52), other=st.sampled_from("09AZaz_-.\n "))
def test_a_mistyped_secret_is_seen_without_a_look_up(place: int, other: str) -> None:
    secret = new_secret()
    mistyped = secret[:place] + other + secret[place + 1 :]
    assert is_secret(mistyped) is (mistyped == secret)


def test_two_letters_changed_round_are_seen() -> None:
    secret = "csa_" + "ab" + new_secret()[6:]
    assert not is_secret(secret)


def test_a_token_is_made_and_only_its_hash_is_kept(ridgeline: Store) -> None:
    with ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        token, secret = make(work, OWNER, " Ana Müller ", Role.MECHANIC, ["unit-02", "unit-01", "unit-01"], NOW + 60)
        (_, event) = events.read(work)
    assert (token.name, token.role, token.units, token.expires) == (
        "Ana Müller",
        "mechanic",
        ("unit-01", "unit-02"),
        NOW + 60,
    )
    assert event.content == {
        "name": "Ana Müller", "role": "mechanic", "units": ["unit-01", "unit-02"], "expires": NOW + 60,
        "hash": hash_of(secret),
    }  # fmt: skip
    with ridgeline.connection() as connection:
        assert tokens.of_hash(connection, hash_of(secret)) == (token, NOW)
    kept = b"".join(path.read_bytes() for path in ridgeline.file.parent.iterdir()) if ridgeline.file else b""
    assert secret.encode() not in kept


@pytest.mark.parametrize("role", list(Role))
def test_nobody_makes_a_token_with_more_rights_than_their_own(ridgeline: Store, role: Role) -> None:
    for theirs in set(Role) - {Role.OWNER}:
        caller = Caller("ridgeline", "token:x", frozenset({theirs}), frozenset(), How.TOKEN)
        why = "administer" if rights_of([role]) <= caller.rights else "more than you can"
        with pytest.raises(NotAllowed, match=why), ridgeline.writing("ridgeline", caller.who, NOW) as work:
            make(work, caller, "more", role)


def test_nobody_makes_a_token_for_units_that_they_do_not_see(ridgeline: Store) -> None:
    caller = Caller("ridgeline", "token:x", frozenset({Role.OWNER}), frozenset({"unit-01"}), How.TOKEN)
    with ridgeline.writing("ridgeline", caller.who, NOW) as work:
        for units in ([], ["unit-02"], ["unit-01", "unit-02"]):
            with pytest.raises(NotAllowed):
                make(work, caller, "more", Role.READER, units)
        assert make(work, caller, "one", Role.READER, ["unit-01"])[0].units == ("unit-01",)


def test_nobody_makes_a_token_for_another_organisation(ridgeline: Store) -> None:
    other = Caller("lowfield", "token:owner", frozenset({Role.OWNER}), frozenset(), How.TOKEN)
    with pytest.raises(NotAllowed), ridgeline.writing("ridgeline", other.who, NOW) as work:
        make(work, other, "spy", Role.READER)


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "a\x00", "\u202eana", "x" * 81])
def test_names_that_could_mislead_the_record(ridgeline: Store, name: str) -> None:
    with pytest.raises(BadToken), ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        make(work, OWNER, name, Role.READER)


@pytest.mark.parametrize("expires", [NOW, NOW - 1, math.nan, math.inf, -math.inf])
def test_times_at_which_nothing_would_expire(ridgeline: Store, expires: float) -> None:
    with pytest.raises(BadToken), ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        make(work, OWNER, "one", Role.READER, expires=expires)


@pytest.mark.parametrize("role", [Role.OWNER, Role.AUTHOR])
def test_what_holds_for_every_unit_can_t_be_kept_to_some(ridgeline: Store, role: Role) -> None:
    with pytest.raises(BadToken, match="every unit"), ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        make(work, OWNER, "one", role, ["unit-01"])


@pytest.mark.parametrize(
    "units", [[""], ["a\n"], ["a b"], ["-a"], ["x" * 81], [f"unit-{number}" for number in range(201)]]
)
def test_units_that_are_none(ridgeline: Store, units: list[str]) -> None:
    with pytest.raises(BadToken), ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        make(work, OWNER, "one", Role.READER, units)


def test_the_last_owner_s_token_is_revoked_only_on_purpose(ridgeline: Store) -> None:
    with ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        first, _ = make(work, OWNER, "first", Role.OWNER)
        soon, _ = make(work, OWNER, "soon gone", Role.OWNER, expires=NOW + 1)
        reader, _ = make(work, OWNER, "reader", Role.READER)
    with ridgeline.writing("ridgeline", OWNER.who, NOW + 1) as work:
        with pytest.raises(LastOwner, match="another owner"):
            revoke(work, OWNER, first.id)
        assert revoke(work, OWNER, soon.id).revoked, "an expired one is nobody's last"
        assert revoke(work, OWNER, reader.id).revoked
        second, _ = make(work, OWNER, "second", Role.OWNER)
        assert revoke(work, OWNER, first.id).revoked
        with pytest.raises(LastOwner):
            revoke(work, OWNER, second.id)
        assert revoke(work, OWNER, second.id, force=True).revoked
        with pytest.raises(NoSuchToken):
            revoke(work, OWNER, "none")


def test_only_owners_revoke(ridgeline: Store) -> None:
    approver = Caller("ridgeline", "token:x", frozenset({Role.APPROVER, Role.AUTHOR}), frozenset(), How.TOKEN)
    with ridgeline.writing("ridgeline", OWNER.who, NOW) as work:
        token, _ = make(work, OWNER, "reader", Role.READER)
        with pytest.raises(NotAllowed):
            revoke(work, approver, token.id)


def test_the_first_start_makes_an_owner_once(store: Store) -> None:
    secret = first_owner(store, NOW)
    assert secret is not None
    with store.connection() as connection:
        found = tokens.of_hash(connection, hash_of(secret))
    assert found is not None
    assert (found[0].organisation, found[0].role, found[0].created_by) == ("home", "owner", "command line")
    assert first_owner(store, NOW + 1) is None


def test_where_there_is_an_organisation_no_owner_is_made(ridgeline: Store) -> None:
    assert first_owner(ridgeline, NOW) is None


def test_of_several_first_starts_one_makes_the_owner(address: str) -> None:
    stores = [Store(address) for _ in range(4)]
    secrets: list[str | None] = []
    threads = [threading.Thread(target=lambda one=one: secrets.append(first_owner(one, NOW))) for one in stores]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one in stores:
        one.close()
    assert sorted(secret is None for secret in secrets) == [False, True, True, True]


def test_the_command_line_may_do_everything() -> None:
    caller = at_command_line("home")
    assert caller.rights == frozenset(Right)
    assert caller.sees("unit-01")
