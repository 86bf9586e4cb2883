"""Audits many setups by one rulebook: check sheets and compiled readings are made once and kept.

``judge`` answers one line of JSON by the compiled reading; what it cannot take as it stands goes through the plain way,
so both give the same verdicts and the same errors. ``report`` explains one setup in full, with every fact's trace.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from itertools import islice
from typing import NamedTuple

import msgspec
from msgspec.structs import astuple

from audit.builds import decide
from audit.compiling import Hit, Kept, Reading, compile_sheet
from audit.intake.setups import find_crop, read_setup
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
from audit.measures import Unreadable
from audit.nouns.finding import Clearance, Counts, Finding, Report
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Form, Quantity, Role, Value
from audit.nouns.risk import Level
from audit.nouns.rule import Standing, Verdict
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Unit
from audit.nouns.vocabulary import on_card
from audit.run import audit_on_sheet, findings_for
from audit.sheet import Sheet, make_sheet

_NOT_QUICK = (NotQuick, Unreadable, msgspec.MsgspecError, UnicodeDecodeError, RecursionError)
_MOST_UNITS = 8192
_BATCH = 16


class Judged(NamedTuple):
    """The short answer to one setup: what is broken or unknown, ranked, and whether it holds a start.

    Attributes:
        hits: in order of rank.
        not_asked: works out how many questions were not asked.
        findings: works the hits out in full: what was found, what is wanted, what is missing.
    """

    unit: str
    card: str
    crop: str
    header_kind: str
    clearance: Clearance
    hits: list[Hit]
    not_asked: Callable[[], int]
    findings: Callable[[], tuple[Finding, ...]]
    sheet: Sheet

    def counts(self) -> Counts:
        """Number of questions by verdict."""
        unknown = sum(hit[0][3] for hit in self.hits)
        not_asked = self.not_asked()
        return Counts(
            kept=len(self.sheet.questions) - not_asked - len(self.hits),
            broken=len(self.hits) - unknown,
            unknown=unknown,
            not_asked=not_asked,
        )


class Auditor:
    """Audits setups by one rulebook.

    Args:
        rulebook: what they are judged by.
        hold_at: lowest risk level that holds a harvest start.
    """

    def __init__(self, rulebook: Rulebook, hold_at: Level = Level.HIGH) -> None:
        self.rulebook = rulebook
        self.hold_at = hold_at
        self.tables = Tables()
        self.kept = Kept()
        self._sheets: dict[tuple[str, str], Sheet] = {}
        self._lines: dict[str, _CardLines] = {}

    def sheet(self, card: str, crop: str) -> Sheet:
        """The check sheet of a card for a crop."""
        found = self._sheets.get((card, crop))
        if found is None:
            found = make_sheet(self.rulebook, self.rulebook.machines[card], self.rulebook.crops[crop])
            self._sheets[card, crop] = found
        return found

    def report(self, text: bytes, shown: str) -> Report:
        """The full report of one setup written as JSON. Raises BadInput."""
        setup = read_setup(text, shown, self.rulebook)
        return audit_on_sheet(self.sheet(setup.unit.card, setup.crop), setup, self.hold_at)

    def judge(self, line: bytes, shown: str) -> Judged:
        """The short answer to one setup written as JSON. Raises BadInput."""
        try:
            return self._read(line, refuse_repeats=True).judge()
        except _NOT_QUICK:
            return self._plainly(line, shown)

    def judge_all(
        self, lines: Iterable[bytes], shown: str, refuse_repeats: bool = True
    ) -> Iterator[Judged | BadInput]:
        """Answers in the order of the lines; a bad line gives its BadInput and stops nothing.

        Blank lines are passed over. Lines are first read, then judged, a few at a time: both steps run over tables
        that fill the processor's cache, and taking turns at every line would empty it.

        Args:
            refuse_repeats: refuse a line that has a key twice. No program writes one; where only programs wrote the
                lines, a sixth of the time is saved by not looking (the last of equal keys then counts).
        """
        numbered = ((number, line) for number, line in enumerate(lines, 1) if not line.isspace())
        while batch := list(islice(numbered, _BATCH)):
            read = [self._try_to_read(line, refuse_repeats) for _, line in batch]
            for (number, line), one in zip(batch, read, strict=True):
                try:
                    yield one.judge() if one is not None else self._plainly(line, f"{shown}:{number}")
                except _NOT_QUICK:
                    yield self._or_refused(line, f"{shown}:{number}")
                except BadInput as error:
                    yield error

    def _read(self, line: bytes, refuse_repeats: bool) -> _Read:
        card = card_of(line)
        return (self._lines.get(card) or self._lines_of(card)).read(line, refuse_repeats)

    def _try_to_read(self, line: bytes, refuse_repeats: bool) -> _Read | None:
        try:
            return self._read(line, refuse_repeats)
        except _NOT_QUICK:
            return None

    def _or_refused(self, line: bytes, shown: str) -> Judged | BadInput:
        try:
            return self._plainly(line, shown)
        except BadInput as error:
            return error

    def _lines_of(self, card: str) -> _CardLines:
        if card not in self.rulebook.machines:
            raise NotQuick
        self._lines[card] = _CardLines(self, card)
        return self._lines[card]

    def _plainly(self, line: bytes, shown: str) -> Judged:
        setup = read_setup(line, shown, self.rulebook)
        sheet = self.sheet(setup.unit.card, setup.crop)
        report = audit_on_sheet(sheet, setup, self.hold_at)
        hits: list[Hit] = [
            (
                (int(f.risk.level), f.risk.index, -f.risk.downtime, int(f.verdict is Verdict.UNKNOWN)),
                -f.risk.share, f.rule, f.on,
            )
            for f in report.findings
        ]  # fmt: skip
        return Judged(
            setup.unit.id, setup.unit.card, setup.crop, setup.header_kind, report.clearance, hits,
            lambda: report.counts.not_asked, lambda: report.findings, sheet,
        )  # fmt: skip


class _CardLines:
    """Judges lines of one machine card: one compiled reading for each crop."""

    def __init__(self, auditor: Auditor, card: str) -> None:
        self.auditor = auditor
        self.card = auditor.rulebook.machines[card]
        self.names = on_card(self.card, auditor.rulebook.vocabulary)
        self.decoder = CardDecoder(self.names, auditor.tables)
        self.moments = Table(Quantity("taken.at", Role.EVENT, Form.TIME, "when it was taken"))
        self.build_names = [f"build.{build.name}" for build in self.card.builds]
        self.builds: dict[object, tuple[Value, ...]] = {}
        self.runs: dict[str, _Run] = {}

    def read(self, line: bytes, refuse_repeats: bool) -> _Read:
        """The values of a line as written; raises one of ``_NOT_QUICK`` for a line to be read in the plain way."""
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
        return _Read(unit.id, header.kind or "", self.runs.get(job.crop) or self.prepare(job.crop), written)

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
        crop = find_crop(written, self.auditor.rulebook)
        if not crop:
            raise NotQuick
        run = self.runs.get(crop)
        if run is None:
            sheet = self.auditor.sheet(self.card.id, crop)
            reading = compile_sheet(sheet, {"job.crop": crop}, self.inputs(), self.auditor.kept)
            run = self.runs[crop] = _Run(reading, self.auditor.hold_at)
        return run

    def inputs(self) -> dict[str, Table | None]:
        """Every quantity that a decoded line gives, in the order in which ``judge`` hands them over."""
        tables = self.auditor.tables
        found: dict[str, Table | None] = {name: tables.of(self.names[name]) for name in ENVELOPE_NAMES}
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


class _Read(NamedTuple):
    """A line that was read: its values as written, still to be judged."""

    unit: str
    header_kind: str
    run: _Run
    written: tuple[object, ...]

    def judge(self) -> Judged:
        """Raises one of ``_NOT_QUICK`` for a value that is bad or written in an unusual way."""
        run = self.run
        hits = run.reading.judge(self.written)
        sheet = run.reading.sheet
        return Judged(
            self.unit, sheet.card.id, sheet.crop.id, self.header_kind, run.clearance(hits), hits,
            partial(run.reading.not_asked, self.written), partial(run.findings, hits, self.written), sheet,
        )  # fmt: skip
