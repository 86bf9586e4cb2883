"""Rulebooks are added whole, put in force wholly or not at all, and signed where that is asked."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import update

from api.certificates.keys import jwk_of, make
from api.service.gate import Gate
from api.service.in_force import SHIPPED, InForce, NoSuchRulebook, Shipped, Unreadable, read_shipped
from api.service.rulebooks import (
    MOST_FILES,
    MOST_OF_A_FILE,
    BadKey,
    BadNote,
    Candidate,
    NoSuchRule,
    NotLowered,
    NotSigned,
    activate,
    add,
    note_upgrades,
    prepare,
    read_candidate,
    set_effect,
    set_key,
    sign,
)
from api.store import events, organisations
from api.store import rulebooks as rows
from api.store.tables import rulebooks as table
from audit.intake.rulebook import digest_of
from audit.nouns.clearance import Effect
from audit.nouns.problem import BadInput, Problem
from audit.nouns.risk import Level
from tests.api.legal import NOW
from tests.api.service.conftest import Place, start

RULE = "packs/feeder/slat-loose.yaml"
OURS = "packs/feeder/slat-loose-here.yaml"


@pytest.fixture(scope="session")
def loose(shipped: Shipped) -> str:
    """The text of a shipped rule."""
    return shipped.layers[0].files[RULE].decode()


@pytest.fixture(scope="session")
def candidate(shipped: Shipped) -> Callable[[Mapping[str, str]], Candidate]:
    """Reads a candidate; the same files once only, as reading takes a while."""
    kept: dict[str, Candidate] = {}

    def read(files: Mapping[str, str]) -> Candidate:
        key = json.dumps(files)
        if key not in kept:
            kept[key] = read_candidate(shipped, files)
        return kept[key]

    return read


@pytest.fixture(scope="session")
def first(candidate: Callable[[Mapping[str, str]], Candidate], loose: str) -> Candidate:
    """The shipped rulebook and one rule more."""
    return candidate({OURS: loose})


@pytest.fixture(scope="session")
def second(candidate: Callable[[Mapping[str, str]], Candidate], loose: str) -> Candidate:
    """Without that rule, but with a shipped one changed."""
    return candidate({RULE: loose.replace("title: ", "title: Our own; ", 1)})


@pytest.fixture(scope="session")
def third(candidate: Callable[[Mapping[str, str]], Candidate], loose: str) -> Candidate:
    """The id of the first one's rule, for another rule."""
    return candidate({OURS: loose.replace("title: ", "title: Another; ", 1)})


def put(place: Place, some: Candidate, organisation: str = "home", signature: str = "", active: bool = True) -> None:
    with place.store.writing(organisation, "author", NOW) as work:
        add(work, place.in_force, some, "a note", signature)
        if active:
            activate(work, place.in_force, place.gate, some.digest)


def in_force(place: Place, organisation: str = "home") -> str:
    with place.store.reading(organisation) as work:
        return place.in_force.digest(work)


def said(place: Place, what: str, organisation: str = "home") -> list[events.Event]:
    with place.store.reading(organisation) as work:
        return list(events.read(work, what=what))


# ---------------------------------------------------------------------------------------------------------- candidates


def test_a_candidate_is_the_shipped_rulebook_with_the_files_over_it(shipped: Shipped, first: Candidate) -> None:
    assert set(first.rulebook.rules) == {*shipped.rulebook.rules, "slat-loose-here"}
    assert first.rulebook.rules["slat-loose-here"].origin == "site"
    assert digest_of(first.layers) == first.digest != shipped.rulebook.digest


@pytest.mark.parametrize(
    "name",
    ["/etc/x.yaml", "../x.yaml", "packs/../../x.yaml", "packs/./x.yaml", "packs//x.yaml", "x.yml", "x", "", ".yaml",
     "packs/feeder/.hidden.yaml", "a\\b.yaml", "c:/x.yaml", "packs/a b.yaml", "packs/x.yaml\n", "packs/x\0.yaml",
     "a/b/c/d/x.yaml", "packs/ä.yaml", "packs/" + "x" * 200 + ".yaml"],
)  # fmt: skip
def test_a_path_that_is_none_of_a_rulebook_is_refused(shipped: Shipped, name: str) -> None:
    with pytest.raises(BadInput, match="is no name of a rulebook's file"):
        read_candidate(shipped, {name: "a: 1\n"})


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({}, "holds no file"),
        ({f"packs/a/x{n}.yaml": "" for n in range(MOST_FILES + 1)}, "at most 1000"),
        ({"packs/a/x.yaml": "#" * (MOST_OF_A_FILE + 1)}, "larger than 256 KiB"),
        ({f"packs/a/x{n}.yaml": "#" * MOST_OF_A_FILE for n in range(13)}, "larger than 3 MiB altogether"),
        ({"packs/a/x.yaml": "title: \ud800\n"}, "half of a surrogate pair"),
        ({"packs/a/x.yaml": ""}, "is empty"),
        ({"packs/a/x.yaml": "[" * 9999}, "nested deeper"),
        ({"other/x.yaml": "a: 1\n"}, "is not part of a rulebook"),
        ({"retired.yaml": "[slat-loose]\n"}, "is retired"),
    ],
)
def test_what_is_no_rulebook_is_refused(shipped: Shipped, files: dict[str, str], says: str) -> None:
    with pytest.raises(BadInput, match=says):
        read_candidate(shipped, files)


def test_every_problem_is_told_at_once(shipped: Shipped, loose: str) -> None:
    files = {OURS: loose.replace("why:", "wy:"), "crops/straw.yaml": "name: 3\n"}
    with pytest.raises(BadInput) as refused:
        read_candidate(shipped, files)
    assert {problem.place.source for problem in refused.value.problems} == {f"site/{name}" for name in files}


def test_a_rule_whose_case_gives_something_else_is_refused(shipped: Shipped, loose: str) -> None:
    with pytest.raises(BadInput, match=r"case .* gives"):
        read_candidate(shipped, {OURS: loose.replace("gives: kept", "gives: broken", 1) + _more_kept(loose)})


def _more_kept(loose: str) -> str:
    """The kept case again, under another name, as every rule must have one."""
    line = next(line for line in loose.splitlines() if "gives: kept" in line)
    return line.replace("name: ", "name: again ", 1) + "\n"


# ------------------------------------------------------------------------------------------------- adding, activating


def test_adding_activates_nothing(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first, active=False)
    assert in_force(place) == shipped.rulebook.digest
    (event,) = said(place, "rulebook.added")
    assert (event.who, event.after, event.content["note"]) == ("author", first.digest, "a note")


def test_adding_again_changes_nothing(place: Place, first: Candidate) -> None:
    put(place, first, active=False)
    with place.store.writing("home", "author", NOW) as work:
        row, new = add(work, place.in_force, first, "another note")
    assert (row.number, row.note, new) == (1, "a note", False)
    assert len(said(place, "rulebook.added")) == 1


@pytest.mark.parametrize("note", ["", "  \n", "x" * 1001])
def test_a_note_says_something(place: Place, first: Candidate, note: str) -> None:
    with place.store.writing("home", "author", NOW) as work, pytest.raises(BadNote):
        add(work, place.in_force, first, note)


def test_what_is_activated_judges(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first)
    with place.store.reading("home") as work:
        assert place.in_force.auditor(work, Level.HIGH).rulebook.digest == first.digest
        assert place.in_force.planner(work, Level.SERIOUS).rulebook.digest == first.digest
        assert place.in_force.auditor(work, Level.SERIOUS).hold_at is Level.SERIOUS
    (event,) = said(place, "rulebook.activated")
    assert (event.before, event.after, event.who) == (shipped.rulebook.digest, first.digest, "author")
    assert in_force(place, "other") == shipped.rulebook.digest


def test_another_process_judges_by_the_same(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first)
    another = InForce(place.store, shipped)
    with place.store.reading("home") as work:
        assert another.rulebook(work) == first.rulebook


def test_activating_what_is_in_force_changes_nothing(place: Place, first: Candidate) -> None:
    put(place, first)
    put(place, first)
    assert len(said(place, "rulebook.activated")) == 1


def test_back_to_what_comes_with_the_program(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first)
    with place.store.writing("home", "author", NOW) as work:
        row, _ = activate(work, place.in_force, place.gate, SHIPPED)
        assert rows.chosen(work) == ""
    assert row.digest == in_force(place) == shipped.rulebook.digest
    assert [event.after for event in said(place, "rulebook.activated")] == [first.digest, shipped.rulebook.digest]


@pytest.mark.parametrize("digest", ["", "0" * 64, "nonsense"])
def test_what_is_not_there_can_not_be_activated(place: Place, digest: str) -> None:
    with place.store.writing("home", "author", NOW) as work, pytest.raises(NoSuchRulebook):
        activate(work, place.in_force, place.gate, digest)


def test_another_organisation_neither_sees_nor_activates_it(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first)  # and so it is read and kept by this process
    with place.store.writing("other", "author", NOW) as work:
        with pytest.raises(NoSuchRulebook):
            activate(work, place.in_force, place.gate, first.digest)
        with pytest.raises(NoSuchRulebook):
            place.in_force.version(work, first.digest)
    with pytest.raises(NoSuchRulebook):
        InForce(place.store, shipped).prepare("other", first.digest)
    assert in_force(place, "other") == shipped.rulebook.digest


# ------------------------------------------------------------------------------------------------ failing half way


class OutOfOrder(Exception):
    """Something that nobody expects."""


def test_a_failure_half_way_keeps_the_last_good_one(
    place: Place, first: Candidate, second: Candidate, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(place, first)

    def fail(*_: object) -> None:
        raise OutOfOrder

    monkeypatch.setattr(place.gate, "recheck", fail)  # the last thing that activating does
    with pytest.raises(OutOfOrder):
        put(place, second)
    assert in_force(place) == first.digest
    assert [event.after for event in said(place, "rulebook.activated")] == [first.digest]
    with place.store.reading("home") as work:
        assert place.in_force.rulebook(work).digest == first.digest


def test_a_program_that_can_not_read_it_keeps_the_last_good_one(
    place: Place, shipped: Shipped, first: Candidate, second: Candidate, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(place, first)
    put(place, second, active=False)

    def refuse(*_: object) -> None:
        raise BadInput(list(_problems(shipped)))

    monkeypatch.setattr("api.service.in_force.read_layers", refuse)
    with pytest.raises(Unreadable, match="can't read"), place.store.writing("home", "author", NOW) as work:
        activate(work, place.in_force, place.gate, second.digest)
    with place.store.reading("home") as work:
        assert place.in_force.rulebook(work).digest == first.digest


def _problems(shipped: Shipped) -> list[Problem]:
    with pytest.raises(BadInput) as refused:
        read_candidate(shipped, {})
    return list(refused.value.problems)


def tamper(place: Place, digest: str, packed: bytes) -> None:
    with place.store.connection(writes=True) as connection:
        connection.execute(update(table).where(table.c.digest == digest).values(files=packed))


@pytest.mark.parametrize("how", ["another rule", "another name", "cut off", "gone"])
def test_stored_files_that_were_changed_are_never_put_in_force(
    place: Place, shipped: Shipped, first: Candidate, second: Candidate, how: str
) -> None:
    put(place, first)
    put(place, second, active=False)
    site = second.layers[-1]
    (name,) = site.files
    changed = {
        "another rule": rows.pack((*second.layers[:-1], replace(site, files={name: site.files[name] + b"\n"}))),
        "another name": rows.pack((*second.layers[:-1], replace(site, files={"packs/a/b.yaml": site.files[name]}))),
        "cut off": rows.pack(second.layers)[:-10],
        "gone": b"",
    }[how]
    tamper(place, second.digest, changed)
    for process in (place.in_force, InForce(place.store, shipped)):
        with pytest.raises(Unreadable), place.store.writing("home", "author", NOW) as work:
            activate(work, process, Gate(process, "test"), second.digest)
        with pytest.raises(Unreadable):
            process.prepare("home", second.digest)
    assert in_force(place) == first.digest


def test_nothing_is_judged_by_a_rulebook_in_force_that_was_changed(
    place: Place, shipped: Shipped, first: Candidate
) -> None:
    put(place, first)
    tamper(place, first.digest, rows.pack((replace(shipped.layers[0], origin=""),)))
    restarted = InForce(place.store, shipped)
    with place.store.reading("home") as work:
        for judge in (restarted.auditor, restarted.planner):
            with pytest.raises(Unreadable, match="not those that were put on record"):
                judge(work, Level.HIGH)


def test_another_rulebook_helps_out_where_the_one_in_force_was_changed(
    place: Place, shipped: Shipped, first: Candidate, second: Candidate
) -> None:
    put(place, second, active=False)
    put(place, first)
    tamper(place, first.digest, b"")
    restarted = Place(place.store, InForce(place.store, shipped), place.gate)
    restarted = replace(restarted, gate=Gate(restarted.in_force, "test"))
    put(restarted, second)
    with place.store.reading("home") as work:
        assert restarted.in_force.rulebook(work) == second.rulebook


def test_a_tampered_version_that_is_kept_read_is_not_activated_either(
    place: Place, first: Candidate, second: Candidate
) -> None:
    put(place, second)
    put(place, first)
    tamper(place, second.digest, rows.pack(first.layers))
    with pytest.raises(Unreadable), place.store.writing("home", "author", NOW) as work:
        activate(work, place.in_force, place.gate, second.digest)
    assert in_force(place) == first.digest


# --------------------------------------------------------------------------------------------------------------- ids


def test_an_id_that_was_given_up_is_given_to_no_other_rule(
    place: Place, first: Candidate, second: Candidate, third: Candidate
) -> None:
    put(place, first)
    put(place, second)
    with pytest.raises(BadInput, match=r"site/packs/feeder/slat-loose-here.yaml.*stood for another rule.*rulebook 1"):
        put(place, third)
    assert in_force(place) == second.digest


def test_a_rule_comes_back_as_it_was(place: Place, first: Candidate, second: Candidate) -> None:
    for some in (first, second, first):
        put(place, some)
    assert in_force(place) == first.digest


def test_a_rule_that_is_in_force_may_be_changed(place: Place, first: Candidate, third: Candidate) -> None:
    put(place, first)
    put(place, third)
    assert in_force(place) == third.digest


def test_what_was_never_in_force_binds_nobody(
    place: Place, first: Candidate, second: Candidate, third: Candidate
) -> None:
    put(place, first, active=False)
    put(place, second)
    put(place, third)
    assert in_force(place) == third.digest


def test_ids_are_looked_at_again_when_a_version_is_activated(
    place: Place, first: Candidate, second: Candidate, third: Candidate
) -> None:
    put(place, third, active=False)  # nothing speaks against it yet
    put(place, first)
    put(place, second)
    with pytest.raises(BadInput, match="stood for another rule"):
        put(place, third)
    with pytest.raises(BadInput, match="stood for another rule"), place.store.writing("home", "a", NOW) as work:
        activate(work, place.in_force, place.gate, third.digest)


def test_a_retired_id_stays_retired(
    place: Place, candidate: Callable[[Mapping[str, str]], Candidate], loose: str, first: Candidate, second: Candidate
) -> None:
    put(place, candidate({RULE: loose, "retired.yaml": "[slat-loose-here]\n"}))
    with pytest.raises(BadInput, match="was retired, in rulebook 1"):
        put(place, first)
    put(place, second)
    with pytest.raises(BadInput, match="was retired"):
        put(place, first)


def test_a_name_that_a_rule_once_had_is_taken(
    place: Place, candidate: Callable[[Mapping[str, str]], Candidate], loose: str, first: Candidate
) -> None:
    put(place, candidate({"packs/feeder/slat-not-tight.yaml": f"was: [slat-loose-here]\n{loose}"}))
    with pytest.raises(BadInput, match="was retired"):
        put(place, first)


# --------------------------------------------------------------------------------------------------------- signatures


def test_once_a_key_is_set_nothing_unsigned_goes_in_force(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first, active=False)
    key = make()
    with place.store.writing("home", "owner", NOW) as work:
        assert set_key(work, place.in_force, jwk_of(key.private.public_key())) == key.id
        with pytest.raises(NotSigned, match=first.digest):
            activate(work, place.in_force, place.gate, first.digest)
        with pytest.raises(NotSigned, match="not signed by your key"):
            activate(work, place.in_force, place.gate, SHIPPED)
        with pytest.raises(NotSigned):
            activate(work, place.in_force, place.gate, shipped.rulebook.digest)
        with pytest.raises(NotSigned):
            add(work, place.in_force, first, "a note")
    (event,) = said(place, "rulebook-key.set")
    assert (event.who, event.content["after"]) == ("owner", key.id)
    put(place, first, signature=sign(first.digest, key))
    assert in_force(place) == first.digest
    (event,) = said(place, "rulebook.signed")
    assert event.content["signed_by"] == key.id


def test_a_forged_signature_is_refused(place: Place, first: Candidate, second: Candidate) -> None:
    key, other = make(), make()
    with place.store.writing("home", "owner", NOW) as work:
        set_key(work, place.in_force, jwk_of(key.private.public_key()))
    good = sign(first.digest, key)
    forged = [
        sign(first.digest, other), sign(second.digest, key), good[:-1], good[:-2], f"{good}00", f"{good} ", f" {good}", good.upper(),
        "0" * 128, "!",
    ]  # fmt: skip
    for signature in forged:
        with pytest.raises(NotSigned):
            put(place, first, signature=signature, active=False)
    with place.store.reading("home") as work:
        assert rows.find(work, first.digest) is None


def test_a_stored_signature_is_looked_at_again(place: Place, shipped: Shipped, first: Candidate) -> None:
    key = make()
    with place.store.writing("home", "owner", NOW) as work:
        set_key(work, place.in_force, jwk_of(key.private.public_key()))
    put(place, first, signature=sign(first.digest, key), active=False)
    with place.store.writing("home", "owner", NOW) as work:
        set_key(work, place.in_force, jwk_of(make().private.public_key()))
        with pytest.raises(NotSigned):
            activate(work, place.in_force, place.gate, first.digest)
    assert in_force(place) == shipped.rulebook.digest


def test_a_key_pins_the_shipped_rulebook_of_today(place: Place, shipped: Shipped, tmp_path: Path) -> None:
    """The next one that comes with the program would be in force unsigned."""
    with place.store.writing("home", "owner", NOW) as work:
        set_key(work, place.in_force, jwk_of(make().private.public_key()))
    upgraded = InForce(place.store, upgrade(tmp_path))
    assert note_upgrades(upgraded, Gate(upgraded, "test"), NOW) == ["other"]
    with place.store.reading("home") as work:
        assert upgraded.rulebook(work).digest == shipped.rulebook.digest


def test_only_a_public_ed25519_key_is_taken(place: Place) -> None:
    key = make()
    public = jwk_of(key.private.public_key())
    bad: list[dict[str, object]] = [
        {**public, "d": "x"}, {**public, "kty": "oct"}, {**public, "crv": "X25519"}, {**public, "x": public["x"][:-1]},
        {**public, "x": 3}, {},
    ]  # fmt: skip
    with place.store.writing("home", "owner", NOW) as work:
        for jwk in bad:
            with pytest.raises(BadKey):
                set_key(work, place.in_force, jwk)
        assert rows.key(work) is None


def test_the_name_of_a_key_is_its_thumbprint(place: Place) -> None:
    """Key and thumbprint of RFC 8037, appendix A.2 and A.3."""
    jwk = {"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}
    with place.store.writing("home", "owner", NOW) as work:
        assert set_key(work, place.in_force, jwk) == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
        assert set_key(work, place.in_force, {**jwk, "kid": "ours"}) == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
        assert set_key(work, place.in_force, None) == ""
    assert len(said(place, "rulebook-key.set")) == len(said(place, "rulebook-key.removed")) == 1


# ------------------------------------------------------------------------------------------------------------ upgrades


def upgrade(folder: Path) -> Shipped:
    """The shipped rulebook of a later program."""
    folder.mkdir(exist_ok=True)
    (folder / "sources.yaml").write_text("a-later-book: {title: A later book}\n")
    return read_shipped([folder])


def test_an_upgrade_is_put_on_record_at_the_first_write(place: Place, shipped: Shipped, tmp_path: Path) -> None:
    for process in (place.in_force, InForce(place.store, upgrade(tmp_path))):
        with place.store.reading("home") as work:
            process.auditor(work, Level.HIGH)  # reading writes nothing
        for _ in range(2):
            with place.store.writing("home", "me", NOW) as work:
                process.auditor(work, Level.HIGH)
    later = upgrade(tmp_path).rulebook.digest
    found = [(event.who, event.before, event.after) for event in said(place, "rulebook.activated")]
    assert found == [("upgrade", "", shipped.rulebook.digest), ("upgrade", shipped.rulebook.digest, later)]
    with place.store.reading("home") as work:  # what judged before the upgrade can still be looked up
        assert process.version(work, shipped.rulebook.digest).rulebook.rules == shipped.rulebook.rules


def test_what_an_organisation_activated_outlives_an_upgrade(place: Place, first: Candidate, tmp_path: Path) -> None:
    put(place, first)
    later = InForce(place.store, upgrade(tmp_path))
    assert note_upgrades(later, Gate(later, "test"), NOW) == ["other"]
    with place.store.writing("home", "me", NOW) as work:
        assert later.rulebook(work) == first.rulebook
    assert [event.after for event in said(place, "rulebook.activated")] == [first.digest]


# -------------------------------------------------------------------------------------------------------------- caching


def test_rulebooks_are_read_once_and_the_oldest_goes(
    place: Place, shipped: Shipped, first: Candidate, second: Candidate, monkeypatch: pytest.MonkeyPatch
) -> None:
    for some in (first, second):
        put(place, some, active=False)
    small = InForce(place.store, shipped, most=1)
    read: list[str] = []
    original = InForce._read

    def counting(self: InForce, digest: str, layers: object) -> object:
        read.append(digest)
        return original(self, digest, layers)  # type: ignore[arg-type]

    monkeypatch.setattr(InForce, "_read", counting)
    for digest in (first.digest, first.digest, second.digest, second.digest, first.digest, shipped.rulebook.digest):
        small.prepare("home", digest)
        with place.store.reading("home") as work:
            assert small.version(work, digest).rulebook.digest == digest
    assert read == [first.digest, second.digest, first.digest]


def test_many_threads_get_one_and_the_same(place: Place, shipped: Shipped, first: Candidate) -> None:
    put(place, first)
    fresh = InForce(place.store, shipped)
    found: list[object] = []
    together = threading.Barrier(6)

    def look() -> None:
        together.wait()
        with place.store.reading("home") as work:
            found.append(fresh.auditor(work, Level.HIGH))

    threads = [threading.Thread(target=look) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 6
    assert len({id(one) for one in found}) == 1


def test_writers_and_readers_agree_while_rulebooks_change(
    place: Place, shipped: Shipped, first: Candidate, second: Candidate
) -> None:
    """Whoever reads sees one of the rulebooks whole, never a mixture."""
    for some in (first, second):
        put(place, some, active=False)
    known = {shipped.rulebook.digest, first.digest, second.digest}
    wrong: list[object] = []
    done = threading.Event()

    def look() -> None:
        while not done.is_set():
            with place.store.reading("home") as work:
                digest = place.in_force.digest(work)
                if place.in_force.rulebook(work).digest != digest or digest not in known:
                    wrong.append(digest)

    readers = [threading.Thread(target=look) for _ in range(3)]
    for reader in readers:
        reader.start()
    try:
        for some in (first, second) * 3:
            put(place, some)
    finally:
        done.set()
        for reader in readers:
            reader.join()
    assert wrong == []
    assert in_force(place) == second.digest


# -------------------------------------------------------------------------------------------------------------- effects


def test_what_a_broken_rule_does(place: Place) -> None:
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.WARNED)
        assert organisations.read(work).effects == {"slat-loose": Effect.WARNED}
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.HOLDS)
        assert organisations.read(work).effects == {}
    with place.store.reading("other") as work:
        assert organisations.read(work).effects == {}


@pytest.mark.parametrize("effect", [Effect.SHOWN, Effect.WARNED])
def test_danger_to_people_always_holds(place: Place, shipped: Shipped, effect: Effect) -> None:
    people = [rule.id for rule in shipped.rulebook.rules.values() if rule.harm.people]
    assert people
    with place.store.writing("home", "owner", NOW) as work:
        for rule in people:
            with pytest.raises(NotLowered, match="danger to people"):
                set_effect(work, place.in_force, place.gate, rule, effect)
        set_effect(work, place.in_force, place.gate, people[0], Effect.HOLDS)


def test_a_rule_that_is_not_there(place: Place) -> None:
    with (
        place.store.writing("home", "owner", NOW) as work,
        pytest.raises(NoSuchRule, match="Did you mean 'slat-loose'"),
    ):
        set_effect(work, place.in_force, place.gate, "slat-lose", Effect.SHOWN)


def test_what_was_said_of_a_rule_that_is_gone_may_be_taken_back(
    place: Place, first: Candidate, second: Candidate
) -> None:
    put(place, first)
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose-here", Effect.SHOWN)
    put(place, second)
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose-here", Effect.HOLDS)
        assert organisations.read(work).effects == {}


# ------------------------------------------------------------------------------------------------------- certificates


def stricter(loose: str) -> str:
    """The rule turned round: only a loose slat keeps it, so every machine in order breaks it."""
    turned = loose.replace("{not: {feeder.slats: {is: loose}}}", "{feeder.slats: {is: loose}}")
    return turned.replace("at: {feeder.slats: sound}, gives: kept", "at: {feeder.slats: sound}, gives: broken").replace(
        "at: {feeder.slats: loose}, gives: broken", "at: {feeder.slats: loose}, gives: kept"
    )


def test_activating_revokes_what_would_not_be_cleared_now(
    place: Place, record_legal: Callable[[], str], candidate: Callable[[Mapping[str, str]], Candidate], loose: str
) -> None:
    unit = record_legal()
    start(place, unit)
    strict = candidate({RULE: stricter(loose)})
    put(place, strict, active=False)
    prepare(place.in_force, place.gate, "home", strict.digest)
    put(place, strict)
    (event,) = said(place, "start.revoked")
    assert event.content["unit"] == unit
    assert event.content["why"] == "A slat of the feeder conveyor is loose or missing: High."


def test_lowering_and_raising_a_rule_goes_through_the_gate(
    place: Place, record_legal: Callable[[], str], candidate: Callable[[Mapping[str, str]], Candidate], loose: str
) -> None:
    put(place, candidate({RULE: stricter(loose)}))
    unit = record_legal()
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.SHOWN)
    start(place, unit)
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.HOLDS)
    (event,) = said(place, "start.revoked")
    assert event.content["unit"] == unit
