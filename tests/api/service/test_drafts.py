"""Drafts: worked out while others write, written in a few statements, drawn anew where what they stand on changed."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from sqlalchemy import event

from api.exchange.reading.files import opened
from api.service import import_answers, importing
from api.service.draft import MOST_TRIES, Draft, done, drawn
from api.service.importing import Prepared, Report
from api.service.recording import put_unit
from api.store import imports, units
from api.store.database import StoreUnavailable
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.legal import CARD, NOW
from tests.api.service.conftest import Place
from tests.api.service.office import OFFICE, Office, fates


def fleet(count: int, hours: float = 1482.35, at: str = "2026-05-31T17:40:10Z") -> bytes:
    """A snapshot of so many machines."""
    return snapshot_json(
        [machine(f"Unit {n:04}", f"U07-{n:06}", f"XXXMDA1AC{n:08}", hours=hours, at=at) for n in range(count)]
    )


def prepared(count: int) -> Prepared:
    return importing.prepare(opened("fleet.json", fleet(count)))


def add_by_hand(place: Place, id: str) -> None:
    """Another writer at work, on a connection of its own."""
    with place.store.writing("home", "another", NOW) as work:
        put_unit(work, place.in_force.auditor(work, Level.HIGH).rulebook, id, {"card": CARD})


class Statements:
    """Counts what is asked of the database between two calls of ``begin`` and ``end``."""

    def __init__(self, place: Place) -> None:
        self.count = 0
        event.listen(place.store.engine, "before_cursor_execute", self._one)

    def _one(self, *_: Any) -> None:
        self.count += 1


@pytest.mark.parametrize("what", ["import", "hours", "answer", "undo"])
def test_what_is_asked_of_the_database_while_others_wait_does_not_grow(place: Place, what: str) -> None:
    counts = []
    for size in (20, 200):
        # each size in an organisation that knows nothing yet of these machines
        office = Office(place, "home" if size == 20 else "other")
        if what != "answer":
            office.use_card(CARD)
        id = office.send(fleet(size)).row.id if what != "import" else ""
        statements = Statements(place)

        def draw(draft: Draft, rulebook: Rulebook, office: Office = office, size: int = size, id: str = id) -> Any:
            if what == "answer":
                return import_answers.answer(draft, place.gate, rulebook, office.open()[0].id, {"card": CARD})
            if what == "undo":
                return office.undoing(draft, id)
            content = fleet(size, 1500.0, "2026-06-02T00:00:00Z") if what == "hours" else fleet(size)
            return importing.apply(draft, place.gate, rulebook, importing.prepare(opened("fleet.json", content)))

        draft, _ = drawn(place.store, place.in_force, office.caller, NOW, draw)
        with place.store.writing(office.caller.organisation, "office", NOW) as work:
            before = statements.count
            draft.write(work, place.in_force)
            counts.append(statements.count - before)
        office.check()
    assert counts[0] == counts[1] <= 30


def test_another_writer_is_served_while_a_large_import_is_worked_out(office: Office, place: Place) -> None:
    """On SQLite there is one writer, so that this would wait for ever if working out held its lock."""
    turns: list[Report] = []

    def draw(draft: Draft, rulebook: Rulebook) -> Report:
        found = importing.apply(draft, place.gate, rulebook, prepared(50))
        if not turns:
            add_by_hand(place, "by-hand")
        turns.append(found)
        return found

    report = done(place.store, place.in_force, OFFICE, NOW, draw)
    office.check()
    assert len(turns) == 2, "a unit more may be one of these machines, so it was worked out anew"
    assert {line.fate for line in report.lines} == {"new unit"}
    assert office.unit("by-hand") is not None
    assert office.unit("Unit-0049") is not None


def test_a_dry_run_waits_for_nobody(office: Office, place: Place) -> None:
    with place.store.writing("home", "another", NOW):
        _, shown = drawn(
            place.store, place.in_force, OFFICE, NOW,
            lambda draft, rulebook: importing.apply(draft, place.gate, rulebook, prepared(3)),
        )  # fmt: skip
    kept = office.send(fleet(3))
    assert [line.fate for line in shown.lines] == [line.fate for line in kept.lines]
    assert [line.unit for line in shown.lines] == [line.unit for line in kept.lines]


def test_what_happens_to_other_units_does_not_matter(office: Office, place: Place, record_legal: Any) -> None:
    turns = []

    def draw(draft: Draft, rulebook: Rulebook) -> Report:
        turns.append(0)
        found = importing.apply(draft, place.gate, rulebook, prepared(3))
        if len(turns) == 1:
            with place.store.writing("home", "another", NOW) as work:
                row = units.find(work, "unit-70")
                assert row is not None
                place.gate.start(work, row, office.job, 99_999.0, office.key)  # held: no certificate
        return found

    record_legal("unit-70")
    done(place.store, place.in_force, OFFICE, NOW, draw)
    assert len(turns) == 1
    office.check()


def test_what_happens_to_its_own_units_is_seen(office: Office, place: Place) -> None:
    """Hours that rose meanwhile are not written over."""
    office.send(fleet(1, 1000.0))
    turns = []

    def draw(draft: Draft, rulebook: Rulebook) -> Report:
        turns.append(0)
        content = fleet(1, 1100.0, "2026-06-02T00:00:00Z")
        found = importing.apply(draft, place.gate, rulebook, importing.prepare(opened("f.json", content)))
        if len(turns) == 1:
            with place.store.writing("home", "another", NOW) as work:
                row = units.find(work, "Unit-0000")
                assert row is not None
                place.gate.start(work, row, office.job, 1200.0, office.key)
        return found

    done(place.store, place.in_force, OFFICE, NOW, draw)
    assert len(turns) == 2
    assert office.unit("Unit-0000").engine_hours == 1200.0


def test_what_keeps_changing_is_said(office: Office, place: Place) -> None:
    turns = []

    def draw(draft: Draft, rulebook: Rulebook) -> Report:
        turns.append(0)
        found = importing.apply(draft, place.gate, rulebook, prepared(1))
        add_by_hand(place, f"by-hand-{len(turns)}")
        return found

    with pytest.raises(StoreUnavailable, match="nothing was written"):
        done(place.store, place.in_force, OFFICE, NOW, draw)
    assert len(turns) == MOST_TRIES
    assert office.unit("Unit-0000") is None
    office.check()


def test_the_same_file_from_two_sides_at_once(office: Office, place: Place) -> None:
    met, reports = threading.Barrier(2), []

    def send() -> None:
        first = [True]

        def draw(draft: Draft, rulebook: Rulebook) -> Report:
            found = importing.apply(draft, place.gate, rulebook, prepared(20))
            if first.pop() if first else False:
                met.wait(60)  # both have worked it out before either writes
            return found

        reports.append(done(place.store, place.in_force, OFFICE, NOW, draw))

    crew = [threading.Thread(target=send) for _ in range(2)]
    for one in crew:
        one.start()
    for one in crew:
        one.join()
    assert sorted(report.repeated for report in reports) == [False, True]
    office.check()
    assert len(office.work(lambda work: units.of_fleet(work))) == 20
    assert len(office.work(lambda work: imports.page(work, None, 10))) == 1


def test_the_same_machine_twice_in_one_file_is_one(office: Office) -> None:
    twice = snapshot_json(
        [machine(hours=10.0), machine(hours=20.0, at="2026-06-01T00:00:00Z"), machine("Unit 09", "", "")]
    )
    report = office.send(twice)
    assert fates(report) == [("new unit", "Unit-07"), ("updated", "Unit-07"), ("new unit", "Unit-09")]
    assert office.unit("Unit-07").engine_hours == 20.0
