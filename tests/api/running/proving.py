"""What a record must be after many people wrote to it at once, or after its servers were killed."""

from __future__ import annotations

import json
from collections import Counter

from sqlalchemy import select

from api.store import events
from api.store.database import Store, Work
from api.store.events import canonical
from api.store.tables import setups
from api.store.verifying import faults
from audit.intake.setups import read_setup
from audit.nouns.finding import Finding
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.run import audit_setup
from tests.api.running.crowd import Promises
from tests.api.running.serial_order import Open, Walk
from tests.api.running.servers import HOME


class Proof:
    """Proves a record as often as it is asked to; what the plain reading finds in a setup is remembered.

    Args:
        address: of the store.
    """

    def __init__(self, address: str, rulebook: Rulebook) -> None:
        self.address, self.rulebook = address, rulebook
        self._texts: dict[str, bytes] = {}
        self._kept: dict[tuple[bytes, str], list[Open]] = {}

    def wrong(self, promises: Promises) -> tuple[list[str], Counter[str]]:
        """All that is wrong with the record, and how often each kind of event is on it."""
        store = Store(self.address)
        try:
            with store.reading(HOME) as work:
                found = list(events.read(work))
                self._texts = texts_of(work)
                said = [fault.text for fault in faults(work)]
        finally:
            store.close()
        walk = Walk(self.open_findings, self.hours_of)
        said += [*walk.faults(found), *promises.broken(found)]
        return said, Counter(one.what for one in found)

    def hours_of(self, digest: str) -> float | None:
        """Engine hours that a setup says."""
        hours: float | None = json.loads(self._texts[digest])["unit"].get("engine_hours")
        return hours

    def open_findings(self, digest: str, hold_at: str) -> list[Open]:
        """What holds a start by the plain reading of the rules; when a setup was taken is no matter to it."""
        plain = json.loads(self._texts[digest])
        plain.pop("taken", None)
        key = canonical(plain), hold_at
        if key not in self._kept:
            report = audit_setup(self.rulebook, read_setup(key[0], "", self.rulebook), Level[hold_at.upper()])
            self._kept[key] = [self.as_open(one) for one in report.findings if one.holds_start]
        return self._kept[key]

    def as_open(self, one: Finding) -> Open:
        """A finding as the walk knows it: only what is known to be broken and hurts nobody can be accepted."""
        people = one.risk.people or self.rulebook.rules[one.rule].harm.people
        found = frozenset((c.quantity, c.side, c.found) for c in one.comparisons)
        return Open(one.rule, one.on, found, one.verdict is Verdict.BROKEN and not people, people)


def texts_of(work: Work) -> dict[str, bytes]:
    """Setups on record by digest."""
    wanted = select(setups.c.digest, setups.c.text).where(setups.c.organisation == work.organisation)
    return {row.digest: row.text for row in work.connection.execute(wanted)}
