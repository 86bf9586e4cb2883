"""Taking back what people answered to an import's questions, where nothing later stands on it."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from api.service.import_answers import BadAnswer
from api.service.recording import prepare, record
from api.store import type_cards
from api.store.type_cards import TypeCard
from audit.nouns.finding import Clearance
from audit.nouns.risk import Level
from tests.api.exchange.samples import machine, snapshot_json
from tests.api.legal import CARD, NOW
from tests.api.service.conftest import Place
from tests.api.service.office import LATER, Office

OTHER = "axial-hybrid"


def lines(office: Office) -> list[tuple[str, str]]:
    found: list[TypeCard] = office.work(type_cards.every)
    return [(one.type, one.card) for one in found]


def test_the_card_of_a_type_goes_with_the_answer_that_said_it(place: Place) -> None:
    office = Office(place)
    report = office.send(snapshot_json([machine()]))
    office.answer({"card": CARD})
    assert lines(office) == [("type a", CARD)]
    undone = office.undo(report.row.id)
    assert undone.left == ()
    assert f"Sample Works Type A is no longer taken for card {CARD}" in undone.done
    assert lines(office) == []
    again = office.send(snapshot_json([machine()]))
    assert [line.fate for line in again.lines] == ["waits"], "it is asked again"


def test_a_line_that_an_answer_took_the_place_of_holds_again(office: Office) -> None:
    """One line is for every serial, another for some: which holds, a person says."""
    office.use_card(OTHER, "U07-000400", "U07-000500")
    report = office.send(snapshot_json([machine()]))
    assert [line.fate for line in report.lines] == ["waits"]
    with pytest.raises(BadAnswer, match="overlap"):
        office.answer({"card": CARD})
    office.answer({"card": OTHER})
    assert lines(office) == [("type a", OTHER), ("type a", OTHER)]
    undone = office.undo(report.row.id)
    assert f"Sample Works Type A is no longer taken for card {OTHER}; it is taken for {CARD} again" in undone.done
    assert sorted(lines(office)) == [("type a", OTHER), ("type a", CARD)]


def test_a_card_by_which_another_import_added_units_stays(place: Place) -> None:
    office = Office(place)
    report = office.send(snapshot_json([machine()]))
    office.answer({"card": CARD})
    office.send(snapshot_json([machine("Unit 08", "U07-000483", "XXXMDA1AC00000483")]))
    undone = office.undo(report.row.id)
    assert undone.left == (
        f"Sample Works Type A is still taken for card {CARD}: other imports added units of that card since (Unit-08)",
    )
    assert lines(office) == [("type a", CARD)]
    assert office.unit("Unit-07").retired is not None
    assert office.unit("Unit-08").retired is None


def replaced(office: Office) -> str:
    """A unit whose meter is a new one, as somebody answered; the import that asked."""
    office.send(snapshot_json([machine()]))
    report = office.send(snapshot_json([machine(hours=12.0, at=LATER)]))
    office.answer({"replaced": True})
    assert office.unit("Unit-07").engine_hours == 12.0
    found: str = report.row.id
    return found


def test_a_meter_counts_as_the_old_one_again(office: Office) -> None:
    undone = office.undo(replaced(office))
    assert undone.left == ()
    row = office.unit("Unit-07")
    assert (row.engine_hours, row.changed_after) == (1482.35, 0)
    assert [line.fate for line in office.send(snapshot_json([machine(hours=12.0, at=LATER)])).lines] == ["waits"]


def test_setups_by_the_old_meter_are_of_account_again(office: Office, record_legal: Callable[..., str]) -> None:
    unit = record_legal()
    claim = {"id": unit, "serial": "", "pin": "XXXMDA1AC00000470"}
    office.send(snapshot_json([machine(**claim, hours=None)]))
    office.answer({"unit": unit})
    office.now = NOW + 600
    asked = office.send(snapshot_json([machine(**claim, hours=12.0, at="2026-09-21T14:20:00Z")]))
    office.answer({"replaced": True})

    def clearance() -> Clearance:
        with office.place.store.reading("home", office.now) as work:
            return office.place.gate.see(work, office.unit_in(work, unit), office.job).decision.clearance

    assert clearance() is Clearance.HELD
    assert office.undo(asked.row.id).left == ()
    assert clearance() is Clearance.CLEARED


def test_a_new_meter_stays_once_a_setup_stands_on_it(office: Office, legal: str) -> None:
    id = replaced(office)
    setup = {**json.loads(legal), "unit": {"engine_hours": 14.0}}
    with office.place.store.writing("home", "me", NOW) as work:
        auditor = office.place.in_force.auditor(work, Level.HIGH)
        row = office.unit_in(work, "Unit-07")
        record(work, prepare(row, auditor, json.dumps(setup).encode()), auditor.rulebook.digest)
    undone = office.undo(id)
    assert any("its meter was replaced stays: setups were recorded" in text for text in undone.left)
    assert office.unit("Unit-07").engine_hours == 14.0


def test_a_new_meter_stays_under_newer_hours(office: Office) -> None:
    id = replaced(office)
    office.now = NOW + 86_400
    office.send(snapshot_json([machine(hours=20.0, at="2026-09-22T14:00:00Z")]))
    undone = office.undo(id)
    assert any("newer engine hours are on record (20)" in text for text in undone.left)
    assert office.unit("Unit-07").engine_hours == 20.0
