"""The quick way from a line of JSON, or a row of columns, to its ranked hits: look-ups, one compiled reading a crop."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from functools import partial
from operator import itemgetter
from threading import RLock
from typing import Any, NamedTuple, TypeVar

import msgspec
from msgspec.structs import astuple

from audit.answers import MOST_REMEMBERED, Kept, add_fact, names_of
from audit.builds import Series, decide
from audit.compiling import Reading, compile_sheet
from audit.intake.columns import ENVELOPE_COLUMNS, Grid, Rows, families_of, own_columns
from audit.intake.setups import find_crop
from audit.intake.structs import (
    ENVELOPE_NAMES,
    NO_HEADER,
    NOT_TAKEN,
    CardDecoder,
    Line,
    NotQuick,
    Table,
    Tables,
    UnitIn,
    card_of,
    check_no_key_twice,
    check_taken,
    commas_in,
    commas_needed,
    envelope_values,
)
from audit.judged import Hit, Judged
from audit.measures import Unreadable
from audit.nouns.answer import Answer, Envelope, Short
from audit.nouns.finding import Clearance, Counts, Finding, Report
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.risk import Level
from audit.nouns.rule import Standing
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Taken, Unit
from audit.nouns.vocabulary import on_card
from audit.run import HOURLY, UNDECIDED, finding_of, hourly, short_of
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

    def read(self, line: Line) -> Read:
        """The values of a line as written. Raises ``errors``."""
        card = card_of(line)
        return (self._lines.get(card) or self._lines_of(card)).read(line)

    def read_if_ready(self, line: Line) -> Read:
        """The same where nothing must be compiled first. Raises ``errors``."""
        lines = self._lines.get(card_of(line))
        if lines is None or not lines.runs:
            raise NotQuick
        return lines.read(line, compiles=False)

    def read_rows(self, grid: Grid) -> list[Read | None]:
        """The values of the rows of a grid as written, in order; None for a row to be read in the plain way."""
        found: list[Read | None] = [None] * grid.count
        for card, places, rows in grid.groups():
            with suppress(NotQuick):
                lines = self._lines.get(card) or self._lines_of(card)
                for place, read in zip(places, lines.read_rows(rows), strict=True):
                    found[place] = read
        return found

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
        self.wider = families_of(card, shared.rulebook.vocabulary)
        self.columns = own_columns(card, shared.rulebook.vocabulary)
        self.series = Series(card)
        self.builds: dict[object, tuple[Value, ...]] = {}
        self.by_class: dict[object, tuple[Value, ...]] = {}
        self.runs: dict[str, _Run] = {}

    def read(self, line: Line, compiles: bool = True) -> Read:
        """The values of a line as written; raises ``Quick.errors`` for a line to be read in the plain way.

        Args:
            compiles: compile the reading of its crop where nobody has yet, which takes a part of a second; else raise.
        """
        decoded, within = self.decoder.decode(line)
        unit, job, taken = decoded.unit, decoded.job, decoded.taken or NOT_TAKEN
        header = job.header or NO_HEADER
        decided = self.decided(unit)
        written = [
            *envelope_values(unit, job, header),
            *astuple(decoded.settings), *astuple(decoded.readings), *astuple(decoded.events), *decided,
        ]  # fmt: skip
        # counted now, as the line is still in the processor's nearest cache
        commas = commas_in(line) - commas_needed(decoded, within) + len(decided) - decided.count(None)
        check_taken(taken.at, taken.state, self.moments)
        blank = unit.id.isspace() or unit.serial.isspace() or unit.owner.isspace() or taken.by.isspace()
        if blank or unit.card != self.card.id:  # whether a blank text is one depends on its key
            raise NotQuick
        envelope = Envelope(unit.owner, unit.serial, unit.build_year, taken.at, taken.by, taken.state)
        run = self.runs.get(job.crop)
        if run is None:
            if not compiles:
                raise NotQuick
            run = self.prepare(job.crop)
        return Read(unit.id, header.kind or "", envelope, run, written, line, commas)

    def read_rows(self, rows: Rows) -> Iterator[Read | None]:
        """The values of rows of columns as written, in order; None for a row to be read in the plain way."""
        run = self.prepare(rows.crop)
        rows.refuse_others(self.columns)
        sections = [
            rows.values(f"{quantity.role.value}s", name, quantity, self.wider.get(name, ()))
            for name in self.decoder.tables
            if (quantity := self.names[name])
        ]
        for unit, values, *rest in zip(rows.units(), zip(*rows.envelope(), strict=True), *sections, strict=True):
            try:
                if unit is None:
                    raise NotQuick
                found, at, by, state = unit
                check_taken(at, state, self.moments)
                kind = values[ENVELOPE_COLUMNS.index("job.header.kind")]
                envelope = Envelope(found.owner, found.serial, found.build_year, at, by, state)
                read = Read(found.id, str(kind or ""), envelope, run, [*values, *rest, *self.decided(found)])
            except self.shared.errors:
                yield None
            else:
                yield read

    def decided(self, unit: UnitIn) -> tuple[Value, ...]:
        """The choice of every build of the card, None where it can't be decided."""
        fitted = tuple(unit.fitted.items()) if unit.fitted else ()
        key = (unit.serial, unit.build_year, fitted)
        found = self.builds.get(key)
        if found is None:
            known = {build.name: {choice for choice, _ in build.choices} for build in self.card.builds}
            if any(choice not in known.get(name, ()) for name, choice in fitted):
                raise NotQuick
            alike = (self.series.class_of(unit.serial), unit.build_year, fitted)
            found = self.by_class.get(alike)
            if found is None:
                decisions = decide(self.card, Unit(unit.id, unit.card, unit.serial, unit.build_year, fitted))
                found = self.by_class[alike] = tuple(decisions[name] for name in self.build_names)
            if len(self.builds) >= _MOST_UNITS:
                self.builds.clear()
                self.by_class.clear()
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
        return found | self.decoder.tables | dict.fromkeys(self.build_names)


class _Run:
    """A compiled reading with what is needed to answer by it."""

    def __init__(self, reading: Reading, hold_at: Level) -> None:
        self.reading, self.hold_at = reading, hold_at
        self.trial = frozenset(q.rule.id for q in reading.sheet.questions if q.rule.standing is Standing.TRIAL)
        self.shorts = ByQuestion(reading, short_of, hold_at)
        self.findings = ByQuestion(reading, finding_of, hold_at)
        self.hourly = ByValue(reading, HOURLY, hourly)
        order = list(reading.inputs)
        self.engine_hours = order.index("unit.engine_hours")
        builds = [order.index(name) for name in order if name.startswith("build.")]
        self.builds = slice(builds[0], builds[-1] + 1) if builds else slice(0, 0)
        self.choices: dict[tuple[object, ...], tuple[tuple[str, str], ...]] = {}

    def clearance(self, hits: list[Hit]) -> Clearance:
        """Held by the first hit, in order of rank, that is not of a trial rule."""
        for hit in hits:
            if hit[0][0] > self.hold_at:
                break
            if hit[2] not in self.trial:
                return Clearance.HELD
        return Clearance.CLEARED

    def counts(self, hits: list[Hit], not_asked: int) -> Counts:
        """Number of questions by verdict."""
        unknown = [found[0][3] for found in hits].count(1)
        return Counts(
            len(self.reading.sheet.questions) - not_asked - len(hits), len(hits) - unknown, unknown, not_asked
        )

    def in_short(self, hits: list[Hit], written: list[object]) -> tuple[Short, ...]:
        """Hits, each with its first decisive comparison."""
        kept = self.shorts
        return tuple([(shorts := kept[rule, on])[shorts.pick(written)] for _, _, rule, on in hits])

    def in_full(self, hits: list[Hit], written: list[object]) -> tuple[Finding, ...]:
        """Hits in full."""
        kept = self.findings
        return tuple([(findings := kept[rule, on])[findings.pick(written)] for _, _, rule, on in hits])

    def fitted(self, written: list[object]) -> tuple[tuple[str, str], ...]:
        """The builds with their choices."""
        choices = tuple(written[self.builds])
        found = self.choices.get(choices)
        if found is None:
            builds = self.reading.sheet.card.builds
            found = tuple((build.name, str(choice or UNDECIDED)) for build, choice in zip(builds, choices, strict=True))
            self.choices[choices] = found  # no more than the builds have choices together
        return found


T = TypeVar("T")


class ByValue(dict[object, T]):
    """What is worked out from some quantities, by the values as written of the inputs behind them.

    The same values give the same object, so that what is made of it can be kept beside it by its identity.

    Args:
        names: of the quantities.
        work_out: from the values of all of them, and of all that they are computed from.
    """

    def __init__(
        self, reading: Reading, names: Sequence[str], work_out: Callable[[dict[str, Value | Sided]], T]
    ) -> None:
        super().__init__()
        self.reading, self.names, self.work_out = reading, names, work_out
        self.behind = reading.behind(names)
        order = list(reading.inputs)
        places = [order.index(name) for name in self.behind]
        self.pick: Callable[[list[object]], object] = itemgetter(*places) if places else lambda _: ()

    def __missing__(self, key: Any) -> T:
        values: dict[str, Value | Sided] = dict(self.reading.constants)
        for name, written in zip(self.behind, key if len(self.behind) != 1 else (key,), strict=True):
            table = self.reading.inputs[name]
            values[name] = written if table is None else table[written]
        for name in self.names:
            add_fact(self.reading.sheet, name, values)
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        found = self[key] = self.work_out(values)
        return found


class ByQuestion(dict[tuple[str, str], ByValue[T]]):
    """What is worked out of a question's hits, by the question's rule and component.

    Args:
        work_out: from the sheet, the question and the values behind it.
    """

    def __init__(self, reading: Reading, work_out: Callable[..., T], hold_at: Level) -> None:
        super().__init__()
        self.reading, self.work_out, self.hold_at = reading, work_out, hold_at
        self.questions = {(question.rule.id, question.on): question for question in reading.sheet.questions}

    def __missing__(self, asked: tuple[str, str]) -> ByValue[T]:
        question = self.questions[asked]
        work_out = partial(self.work_out, self.reading.sheet, question, hold_at=self.hold_at)
        found = self[asked] = ByValue(self.reading, names_of(question), work_out)
        return found


class Read(NamedTuple):
    """A line or row that was read: its values as written, still to be judged.

    Attributes:
        line: still to be held to have no key twice, which is known once it is judged; empty for a row.
        commas: that it has besides those it needs for other things than the values that are given, one each.
    """

    unit: str
    header_kind: str
    envelope: Envelope
    run: _Run
    written: list[object]
    line: Line = b""
    commas: int = 0

    def judged(self) -> tuple[list[Hit], int]:
        """What is broken or unknown, ranked, and how many questions are not asked. Raises as ``judge`` does."""
        hits, lacking, not_asked = self.run.reading.check(self.written)
        if self.line and self.commas != len(self.written) - lacking:
            check_no_key_twice(self.line)
        hits.sort()
        return hits, not_asked

    def answer(self, hits: list[Hit], not_asked: int) -> Answer:
        """The short answer with its findings, from what was judged. Raises as ``judge`` does."""
        run, written = self.run, self.written
        sheet = run.reading.sheet
        table = run.reading.inputs["unit.engine_hours"]
        hours = None if table is None else table[written[run.engine_hours]]
        return Answer(
            self.unit, sheet.card.id, sheet.crop.id, self.header_kind, self.envelope, run.fitted(written),
            hours if isinstance(hours, float) else None, run.clearance(hits), run.counts(hits, not_asked),
            run.in_short(hits, written),
        )  # fmt: skip

    def report(self) -> Report:
        """The whole answer but for the facts with their traces. Raises as ``judge`` does."""
        run, written, sheet = self.run, self.written, self.run.reading.sheet
        hits, not_asked = self.judged()
        return Report(
            unit=self.unit, card=sheet.card.id, crop=sheet.crop.id, header_kind=self.header_kind,
            taken=Taken(self.envelope.at, self.envelope.by, self.envelope.state), clearance=run.clearance(hits),
            counts=run.counts(hits, not_asked), findings=run.in_full(hits, written),
            hourly=run.hourly[run.hourly.pick(written)], facts=(), unasked=sheet.unasked, builds=run.fitted(written),
            digest=sheet.digest,
        )  # fmt: skip

    def judge(self) -> Judged:
        """Raises ``Quick.errors`` for a value that is bad or written in an unusual way."""
        run, sheet = self.run, self.run.reading.sheet
        hits, not_asked = self.judged()
        return Judged(
            self.unit, sheet.card.id, sheet.crop.id, self.header_kind, run.clearance(hits),
            run.counts(hits, not_asked), hits, partial(run.in_full, hits, self.written), sheet,
        )  # fmt: skip
