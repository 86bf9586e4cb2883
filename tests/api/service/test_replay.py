"""A replay tells exactly who changes, by which rule."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest

from api.service.accepting import accept
from api.service.in_force import NoSuchRulebook, Shipped
from api.service.recording import prepare, record, retire_unit
from api.service.replay import MOST_SAID, Change, State, fleet, holding, replay
from api.service.rulebooks import Candidate, activate, add, read_candidate, set_effect
from api.store import organisations, setups, units
from api.store import rulebooks as rows
from audit.auditor import Auditor
from audit.clearing import decide, found_in
from audit.nouns.clearance import Acceptance, Effect, Job, Judgement, Stand, Terms
from audit.nouns.finding import Finding
from audit.nouns.risk import Level
from tests.api.legal import NOW
from tests.api.service.conftest import Place

RULE = "packs/feeder/slat-loose.yaml"
Record = Callable[..., list[str]]


@pytest.fixture(scope="session")
def loose(shipped: Shipped) -> str:
    return shipped.layers[0].files[RULE].decode()


def put(place: Place, files: Mapping[str, str]) -> str:
    """Puts a candidate on record; returns its digest."""
    some: Candidate = read_candidate(place.in_force.shipped, files)
    with place.store.writing("home", "author", NOW) as work:
        add(work, place.in_force, some, "a note")
    return some.digest


def reports(place: Place, auditor: Auditor) -> dict[str, tuple[Finding, ...]]:
    """Findings of every unit by the full reading."""
    with place.store.reading("home") as work:
        return {setup.unit: auditor.report(setup.text, "").findings for setup in setups.of_all_units(work)}


def stricter(loose: str) -> str:
    """The rule turned round: only a loose slat keeps it."""
    turned = loose.replace("{not: {feeder.slats: {is: loose}}}", "{feeder.slats: {is: loose}}")
    return turned.replace("at: {feeder.slats: sound}, gives: kept", "at: {feeder.slats: sound}, gives: broken").replace(
        "at: {feeder.slats: loose}, gives: broken", "at: {feeder.slats: loose}, gives: kept"
    )


def test_it_tells_exactly_who_changes(place: Place, record_demo: Record, loose: str) -> None:
    """Held to the full reading of both rulebooks, unit by unit."""
    ids = record_demo(12)
    digest = put(place, {RULE: stricter(loose)})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest)
        now = reports(place, place.in_force.auditor(work, Level.HIGH))
        then = reports(place, place.in_force.version(work, digest).auditor(Level.HIGH))
    held = [
        {unit: {(f.rule, f.on) for f in findings if f.holds_start} for unit, findings in some.items()}
        for some in (now, then)
    ]
    assert found.setups == len(ids)
    assert {one.unit for one in found.changes} == {unit for unit in ids if held[0][unit] != held[1][unit]} != set()
    for one in found.changes:
        before, after = held[0][one.unit], held[1][one.unit]
        assert (set(one.held_by), set(one.freed_of)) == (after - before, before - after)
        assert (one.before is State.HELD, one.after is State.HELD) == (bool(before), bool(after))
    assert set(found.rules) == {"slat-loose"}
    for side, findings in zip(found.rules["slat-loose"], (now, then), strict=True):
        assert side is not None
        verdicts = [f.verdict.value for some in findings.values() for f in some if f.rule == "slat-loose"]
        assert (side.broken, side.unknown) == (verdicts.count("broken"), verdicts.count("unknown"))
    assert sum(found.states.values()) == len(ids)
    assert found.not_read == ()


def test_newly_held_and_newly_cleared(place: Place, record_legal: Callable[[str], str], loose: str) -> None:
    for unit in ("unit-70", "unit-71"):
        record_legal(unit)
    digest = put(place, {RULE: stricter(loose)})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest)
        setup = setups.newest(work, "unit-70")
    assert setup is not None
    assert found.changes[0] == Change("unit-70", setup.id, State.CLEARED, State.HELD, (("slat-loose", ""),), ())
    assert found.states == {(State.CLEARED, State.HELD): 2}
    with place.store.writing("home", "author", NOW) as work:
        activate(work, place.in_force, place.gate, digest)
        back = replay(work, place.in_force, "shipped")
    assert [(one.before, one.after, one.freed_of) for one in back.changes] == [
        (State.HELD, State.CLEARED, (("slat-loose", ""),))
    ] * 2
    assert (back.before, back.after) == (digest, place.in_force.shipped.rulebook.digest)


def test_a_rule_on_trial_holds_nobody_but_is_counted(
    place: Place, record_legal: Callable[[str], str], loose: str
) -> None:
    record_legal("unit-70")
    trial = "standing: trial\n" + stricter(loose)
    digest = put(place, {"packs/feeder/slat-not-loose.yaml": trial})
    with place.store.writing("home", "author", NOW) as work:
        found = replay(work, place.in_force, digest)
        activate(work, place.in_force, place.gate, digest)
        counted = fleet(work, place.in_force)
    assert found.changes == ()
    now, then = found.rules["slat-not-loose"]
    assert now is None
    assert then is not None
    assert (then.broken, then.unknown, then.holds) == (1, 0, 0)
    assert counted.rules["slat-not-loose"] == then
    assert (counted.setups, counted.not_read) == (1, 0)


def test_what_the_organisation_lets_pass_holds_nobody(
    place: Place, record_legal: Callable[[str], str], loose: str
) -> None:
    record_legal("unit-70")
    digest = put(place, {RULE: stricter(loose)})
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.WARNED)
        assert replay(work, place.in_force, digest).changes == ()
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.HOLDS)
        assert len(replay(work, place.in_force, digest).changes) == 1


def test_a_rule_that_becomes_one_of_danger_to_people_holds_in_spite_of_it(
    place: Place, record_legal: Callable[[str], str], loose: str
) -> None:
    record_legal("unit-70")
    with place.store.writing("home", "owner", NOW) as work:
        set_effect(work, place.in_force, place.gate, "slat-loose", Effect.WARNED)
    digest = put(place, {RULE: stricter(loose).replace("downtime: 24 h", "downtime: 24 h, people: true")})
    with place.store.reading("home", NOW) as work:
        assert [one.held_by for one in replay(work, place.in_force, digest).changes] == [(("slat-loose", ""),)]


def test_the_level_that_holds_is_the_organisation_s(
    place: Place, record_legal: Callable[[str], str], loose: str
) -> None:
    record_legal("unit-70")
    mild = stricter(loose).replace(
        "severity: critical, probability: probable", "severity: marginal, probability: remote"
    )
    digest = put(place, {RULE: mild})
    with place.store.writing("home", "owner", NOW) as work:
        assert replay(work, place.in_force, digest).changes == ()
        organisations.set_terms(work, Terms(hold_at=Level.MEDIUM), {})
        assert [one.unit for one in replay(work, place.in_force, digest).changes] == ["unit-70"]


def test_an_accepted_finding_holds_by_neither(place: Place, record_legal: Callable[[str], str], loose: str) -> None:
    record_legal("unit-70")
    digest = put(place, {RULE: stricter(loose)})
    with place.store.writing("home", "author", NOW) as work:
        activate(work, place.in_force, place.gate, digest)
        unit, setup = units.find(work, "unit-70"), setups.newest(work, "unit-70")
        assert unit is not None
        assert setup is not None
        accept(work, place.gate, unit, setup.id, "slat-loose", "", "Ann", "the dealer comes on Monday", NOW + 86400)
    other = put(place, {RULE: stricter(loose).replace("title: ", "title: Our own; ", 1)})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, other)
    assert found.states == {(State.CLEARED, State.CLEARED): 1}
    assert found.changes == ()


def test_a_setup_that_can_no_longer_be_read_is_named_with_the_reason(
    place: Place, record_demo: Record, shipped: Shipped
) -> None:
    record_demo(6)
    name = "machines/axial-single.yaml"
    card = shipped.layers[0].files[name].decode()
    line = next(
        line for line in card.splitlines() if line.strip().startswith("feeder.wear_strips:") or "feeder.slats" in line
    )
    digest = put(place, {name: card.replace(line + "\n", "")})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest)
        cards = {setup.unit: setup.card for setup in setups.of_all_units(work)}
    assert {one.unit for one in found.not_read} == {unit for unit, card in cards.items() if card == "axial-single"}
    for one in found.not_read:
        assert "feeder." in one.problems[0]
        assert len(one.problems) <= MOST_SAID
        assert one.before in (State.HELD, State.CLEARED)
    assert {after for (_, after), count in found.states.items() if count} >= {State.UNREADABLE}


def test_lists_are_bounded_and_counts_are_not(place: Place, record_legal: Callable[[str], str], loose: str) -> None:
    for number in range(4):
        record_legal(f"unit-7{number}")
    digest = put(place, {RULE: stricter(loose)})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest, most=1)
    assert ([one.unit for one in found.changes], found.more_changes) == (["unit-70"], 3)
    assert found.states == {(State.CLEARED, State.HELD): 4}


def test_only_the_newest_setup_of_units_in_the_fleet_counts(
    place: Place, record_legal: Callable[[str], str], legal: str, loose: str
) -> None:
    for unit in ("unit-70", "unit-71"):
        record_legal(unit)
    older = json.loads(legal)
    older["readings"]["feeder.slats"] = "loose"
    older["taken"] = {"at": "2026-09-01T00:00:00Z", "state": "as-found", "by": "x"}
    with place.store.writing("home", "me", NOW) as work:
        kept, gone = units.find(work, "unit-70"), units.find(work, "unit-71")
        assert kept is not None
        assert gone is not None
        auditor = place.in_force.auditor(work, Level.HIGH)
        record(work, prepare(kept, auditor, json.dumps(older).encode()), auditor.rulebook.digest)
        retire_unit(work, gone)
    digest = put(place, {RULE: stricter(loose)})
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest)
    assert (found.setups, [one.unit for one in found.changes]) == (1, ["unit-70"])


def test_another_organisation_replays_nothing_of_it(
    place: Place, record_demo: Record, record_legal: Callable[[str], str], loose: str
) -> None:
    record_legal("unit-70")
    record_demo(2, organisation="other")
    digest = put(place, {RULE: stricter(loose)})
    place.in_force.prepare("home", digest)
    with place.store.reading("other", NOW) as work:
        with pytest.raises(NoSuchRulebook):
            replay(work, place.in_force, digest)
        assert fleet(work, place.in_force).setups == 2
    with place.store.reading("home", NOW) as work:
        assert fleet(work, place.in_force).setups == 1


def test_replaying_writes_nothing(place: Place, record_legal: Callable[[str], str], loose: str) -> None:
    record_legal("unit-70")
    digest = put(place, {RULE: stricter(loose)})
    with place.store.reading("home", NOW) as work:
        before = rows.chosen(work), list(rows.page(work, None, 9))
        replay(work, place.in_force, digest)
    with place.store.reading("home", NOW) as work:
        assert before == (rows.chosen(work), list(rows.page(work, None, 9)))


def test_damaged_text_of_one_setup_stops_nothing(
    place: Place, record_legal: Callable[[str], str], loose: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for unit in ("unit-70", "unit-71"):
        record_legal(unit)
    digest = put(place, {RULE: stricter(loose)})
    original = setups.of_all_units

    def damaged(work: object) -> object:
        return (
            replace(one, text=b"") if one.unit == "unit-70" else one
            for one in original(work)  # type: ignore[arg-type]
        )

    monkeypatch.setattr(setups, "of_all_units", damaged)
    with place.store.reading("home", NOW) as work:
        found = replay(work, place.in_force, digest)
    assert [(one.unit, one.before) for one in found.not_read] == [("unit-70", State.UNREADABLE)]
    assert [one.unit for one in found.changes] == ["unit-71"]


@pytest.mark.parametrize("level", [Level.HIGH, Level.SERIOUS, Level.MEDIUM])
def test_what_holds_is_what_the_gate_says(
    auditor: Auditor, demo_lines: dict[str, tuple[bytes, ...]], level: Level
) -> None:
    """Setup by setup, with rules let pass and findings accepted, against the gate's own decision."""
    judging, rules = auditor.holding_at(level), auditor.rulebook.rules
    effects = {id: (Effect.SHOWN, Effect.WARNED)[n % 2] for n, id in enumerate(rules) if n % 5 == 0}
    held = accepted = 0
    for line in demo_lines["corn"]:
        judged = judging.judge(line, "")
        findings, job = judged.findings(), Job(judged.crop, judged.header_kind)
        given = [
            Acceptance(
                f"a{n}", f.rule, f.on, job if n % 4 else Job("oats", ""), found_in(f) if n % 3 else (), "Ann",
                "the dealer comes on Monday", NOW, NOW + 60,
            )
            for n, f in enumerate(findings)
            if n % 2
        ]  # fmt: skip
        decision = decide(
            job, Stand("s", "d", job, NOW, 1.0), Judgement("digest", findings), rules, "digest", given, effects,
            Terms(hold_at=level), NOW, 1.0,
        )  # fmt: skip
        wanted = {(one.finding.rule, one.finding.on) for one in decision.reasons if one.finding is not None}
        assert holding(judged, rules, effects, level, given, NOW) == wanted
        held, accepted = held + len(wanted), accepted + len(decision.accepted)
    assert held
    assert accepted
