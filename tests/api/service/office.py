"""An organisation that imports, answers and undoes, for tests; after each the record must be whole."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from api.certificates.keys import make
from api.exchange.reading.files import opened
from api.identity.tokens import at_command_line
from api.service import import_answers, import_undo, importing
from api.service.draft import Draft, done
from api.service.importing import Report
from api.store import identities, import_questions, units
from api.store.database import Work
from api.store.units import UnitRow
from api.store.verifying import faults
from audit.nouns.clearance import Job
from audit.nouns.rulebook import Rulebook
from tests.api.legal import NOW

if TYPE_CHECKING:
    from tests.api.service.conftest import Place

LATER = "2026-09-21T14:13:20Z"
"""NOW."""


OFFICE = at_command_line("home")


class Office:
    """An organisation that imports.

    Attributes:
        job, key: of a harvest start, and what its certificate is signed with.
    """

    def __init__(self, place: Place, organisation: str = "home") -> None:
        self.place, self.now, self.caller = place, NOW, at_command_line(organisation)
        self.job, self.key = Job("corn", "corn-head"), make()

    def work(self, run: Callable[[Work], Any]) -> Any:
        """Something in one transaction, after which the record must be whole."""
        with self.place.store.writing(self.caller.organisation, "office", self.now) as work:
            found = run(work)
        self.check()
        return found

    def check(self) -> None:
        """The record must be whole."""
        with self.place.store.reading(self.caller.organisation, self.now) as work:
            assert [fault.text for fault in faults(work)] == []

    def send(self, content: bytes, name: str = "fleet.json", source: str = "", mapping: bytes = b"") -> Report:
        prepared = importing.prepare(opened(name, content), mapping, source=source)
        found: Report = self.draft(lambda draft, rulebook: importing.apply(draft, self.place.gate, rulebook, prepared))
        return found

    def draft(self, draw: Callable[[Draft, Rulebook], Any]) -> Any:
        """Something drafted and written, after which the record must be whole."""
        found = done(self.place.store, self.place.in_force, self.caller, self.now, draw)
        self.check()
        return found

    def use_card(self, *says: str) -> None:
        self.draft(lambda draft, _: import_answers.use_card(draft, "Sample Works", "Type A", *says))

    def rulebook(self, work: Work) -> Any:
        return self.place.in_force.rulebook(work)

    def open(self) -> list[Any]:
        found: list[Any] = self.work(lambda work: import_questions.page(work, 0, 100))
        return found

    def answer(self, says: dict[str, Any], number: int = 0) -> Any:
        question = self.open()[number]
        return self.draft(
            lambda draft, rulebook: import_answers.answer(draft, self.place.gate, rulebook, question.id, says)
        )

    def unit_in(self, work: Work, id: str) -> UnitRow:
        row = units.find(work, id)
        assert row is not None
        return row

    def unit(self, id: str) -> Any:
        return self.work(lambda work: units.find(work, id))

    def undo(self, id: str) -> Any:
        return self.draft(lambda draft, _: self.undoing(draft, id))

    def undoing(self, draft: Draft, id: str) -> import_undo.Undone:
        return import_undo.undo(draft, self.place.gate, id)

    def known_by(self, unit: str) -> list[tuple[str, str]]:
        found = self.work(lambda work: identities.of_unit(work, unit))
        return [(one.scheme, one.value) for one in found]


def fates(report: Report) -> list[tuple[str, str]]:
    return [(line.fate, line.unit) for line in report.lines]
