"""The quick way from a line of JSON to its ranked hits: typed decoding, look-ups, one compiled reading a crop."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from threading import RLock
from typing import NamedTuple

import msgspec
from msgspec.structs import astuple

from audit.answers import Kept
from audit.builds import decide
from audit.compiling import Reading, compile_sheet
from audit.intake.setups import find_crop
from audit.intake.structs import (
    ENVELOPE_NAMES,
    NO_HEADER,
    CardDecoder,
    NotQuick,
    Table,
    Tables,
    UnitIn,
    card_of,
    check_no_key_twice,
    check_taken,
    envelope_values,
)
from audit.judged import Hit, Judged
from audit.measures import Unreadable
from audit.nouns.finding import Clearance, Finding
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Value
from audit.nouns.risk import Level
from audit.nouns.rule import Standing
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Unit
from audit.nouns.vocabulary import on_card
from audit.run import findings_for
from audit.sheet import Sheet

_MOST_UNITS = 8192


class Quick:
    """Reads and judges lines of every card.

    Args:
        rulebook: what they are judged by.
        hold_at: lowest risk level that holds a harvest start.
        sheet: the check sheet of a card for a crop.

    Attributes:
        errors: what it raises for a line that the plain way must read.
    """

    errors = (NotQuick, Unreadable, msgspec.MsgspecError, UnicodeDecodeError, RecursionError, ArithmeticError)

    def __init__(self, rulebook: Rulebook, hold_at: Level, sheet: Callable[[str, str], Sheet]) -> None:
        self.rulebook, self.hold_at, self.sheet = rulebook, hold_at, sheet
        self.tables = Tables()
        self.kept = Kept()
        self.compiling = RLock()  # one thread at a time: compiled questions are kept and shared
        self._lines: dict[str, CardLines] = {}

    def read(self, line: bytes, refuse_repeats: bool) -> Read:
        """The values of a line as written. Raises ``errors``."""
        card = card_of(line)
        return (self._lines.get(card) or self._lines_of(card)).read(line, refuse_repeats)

    def _lines_of(self, card: str) -> CardLines:
        machine = self.rulebook.machines.get(card)
        if machine is None:
            raise NotQuick
        with self.compiling:
            return self._lines.setdefault(card, CardLines(self, machine))


class CardLines:
    """Judges lines of one machine card: one compiled reading for each crop."""

    def __init__(self, shared: Quick, card: MachineCard) -> None:
        self.shared, self.card = shared, card
        self.names = on_card(card, shared.rulebook.vocabulary)
        self.decoder = CardDecoder(self.names, shared.tables)
        self.moments = Table(Quantity("taken.at", Role.EVENT, Form.TIME, "when it was taken"))
        self.build_names = [f"build.{build.name}" for build in self.card.builds]
        self.builds: dict[object, tuple[Value, ...]] = {}
        self.runs: dict[str, _Run] = {}

    def read(self, line: bytes, refuse_repeats: bool) -> Read:
        """The values of a line as written; raises ``Quick.errors`` for a line to be read in the plain way."""
        decoded = self.decoder.decode(line)
        if refuse_repeats:
            check_no_key_twice(line, decoded)
        check_taken(decoded.taken, self.moments)
        unit, job = decoded.unit, decoded.job
        header = job.header or NO_HEADER
        if unit.card != self.card.id or not unit.id.strip():
            raise NotQuick
        written = (
            *envelope_values(unit, job, header),
            *self.decided(unit),
            *astuple(decoded.settings),
            *astuple(decoded.readings),
            *astuple(decoded.events),
        )
        return Read(unit.id, header.kind or "", self.runs.get(job.crop) or self.prepare(job.crop), written)

    def decided(self, unit: UnitIn) -> tuple[Value, ...]:
        """The choice of every build of the card, None where it can't be decided."""
        fitted = tuple(unit.fitted.items()) if unit.fitted else ()
        key = (unit.serial, unit.build_year, fitted)
        found = self.builds.get(key)
        if found is None:
            known = {build.name: {choice for choice, _ in build.choices} for build in self.card.builds}
            if any(choice not in known.get(name, ()) for name, choice in fitted):
                raise NotQuick
            decisions = decide(self.card, Unit(unit.id, unit.card, unit.serial, unit.build_year, fitted))
            found = tuple(decisions[name] for name in self.build_names)
            if len(self.builds) >= _MOST_UNITS:
                self.builds.clear()
            self.builds[key] = found
        return found

    def prepare(self, written: str) -> _Run:
        """Compile the reading for a crop, by any of its names; raises NotQuick for a crop that is none."""
        crop = find_crop(written, self.shared.rulebook)
        if not crop:
            raise NotQuick
        with self.shared.compiling:
            run = self.runs.get(crop)
            if run is None:
                sheet = self.shared.sheet(self.card.id, crop)
                reading = compile_sheet(sheet, {"job.crop": crop}, self.inputs(), self.shared.kept)
                run = self.runs[crop] = _Run(reading, self.shared.hold_at)
            return run

    def inputs(self) -> dict[str, Table | None]:
        """Every quantity that a decoded line gives, in the order in which ``judge`` hands them over."""
        tables = self.shared.tables
        found: dict[str, Table | None] = {name: tables.of(self.names[name], bounded=False) for name in ENVELOPE_NAMES}
        found |= dict.fromkeys(self.build_names)
        return found | self.decoder.tables


class _Run:
    """A compiled reading with what is needed to answer by it."""

    def __init__(self, reading: Reading, hold_at: Level) -> None:
        self.reading, self.hold_at = reading, hold_at
        self.trial = frozenset(q.rule.id for q in reading.sheet.questions if q.rule.standing is Standing.TRIAL)
        self.by_rule = {(question.rule.id, question.on): question for question in reading.sheet.questions}

    def clearance(self, hits: list[Hit]) -> Clearance:
        """Held by the first hit, in order of rank, that is not of a trial rule."""
        for hit in hits:
            if hit[0][0] > self.hold_at:
                break
            if hit[2] not in self.trial:
                return Clearance.HELD
        return Clearance.CLEARED

    def findings(self, hits: list[Hit], written: tuple[object, ...]) -> tuple[Finding, ...]:
        if not hits:
            return ()
        questions = [self.by_rule[hit[2], hit[3]] for hit in hits]
        return findings_for(self.reading.sheet, questions, self.reading.values_for(questions, written), self.hold_at)


class Read(NamedTuple):
    """A line that was read: its values as written, still to be judged."""

    unit: str
    header_kind: str
    run: _Run
    written: tuple[object, ...]

    def judge(self) -> Judged:
        """Raises ``Quick.errors`` for a value that is bad or written in an unusual way."""
        run = self.run
        hits = run.reading.judge(self.written)
        sheet = run.reading.sheet
        return Judged(
            self.unit, sheet.card.id, sheet.crop.id, self.header_kind, run.clearance(hits), hits,
            partial(run.reading.not_asked, self.written), partial(run.findings, hits, self.written), sheet,
        )  # fmt: skip
