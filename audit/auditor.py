"""Audits many setups by one rulebook: check sheets and compiled readings are made once and kept.

``judge`` and ``answer_all`` answer lines of JSON by the compiled reading, ``answer_rows`` rows of columns; what it
cannot take as it stands goes through the plain way, so all give the same verdicts and the same errors. ``report``
explains one setup in full, with every fact's trace; ``findings`` by the compiled reading without them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from threading import Lock
from typing import TYPE_CHECKING, TypeVar

from audit.intake.setups import read_setup
from audit.nouns.answer import Answer
from audit.nouns.finding import Report
from audit.nouns.problem import BadInput
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict
from audit.nouns.rulebook import Rulebook
from audit.run import answer_of, audit_on_sheet
from audit.sheet import Sheet, make_sheet

if TYPE_CHECKING:
    from audit.intake.columns import Grid
    from audit.intake.structs import Line
    from audit.judged import Hit, Judged
    from audit.quick import Quick, Read

_BATCH = 16
T = TypeVar("T")


class Auditor:
    """Audits setups by one rulebook.

    Args:
        rulebook: what they are judged by.
        hold_at: lowest risk level that holds a harvest start.
    """

    def __init__(self, rulebook: Rulebook, hold_at: Level = Level.HIGH) -> None:
        self.rulebook = rulebook
        self.hold_at = hold_at
        self._quick: Quick | None = None
        self._making = Lock()  # or threads that come at once would each compile readings of their own
        self._sheets: dict[tuple[str, str], Sheet] = {}

    def holding_at(self, level: Level) -> Auditor:
        """The same audit with another level that holds; check sheets are shared."""
        other = Auditor(self.rulebook, level)
        other._sheets = self._sheets
        return other

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

    def findings(self, text: bytes, shown: str) -> Report:
        """The report of one setup written as JSON without its facts, many times quicker. Raises BadInput."""
        quick = self.quick()
        try:
            return quick.read(text).report()
        except quick.errors:
            return replace(self.report(text, shown), facts=())

    def findings_at_once(self, text: bytes) -> Report | None:
        """The same in less than a millisecond or two; None where it takes longer, or ``text`` is refused."""
        quick = self.quick()
        try:
            return quick.read_if_ready(text).report()
        except quick.errors:
            return None

    def judge(self, line: bytes, shown: str) -> Judged:
        """The short answer to one setup written as JSON. Raises BadInput."""
        quick = self.quick()
        try:
            return quick.read(line).judge()
        except quick.errors:
            return self._plainly(line, shown)

    def answer_all(self, lines: Sequence[Line], shown: Callable[[int], str]) -> Iterator[Answer | BadInput]:
        """The answer to every line with its findings in short; a bad line gives its BadInput and stops nothing.

        Lines are first read, then judged, a few at a time: both steps run over tables that fill the processor's cache,
        and taking turns at every line would empty it.

        Args:
            lines: none of them blank.
            shown: name of the line at a place, from 0, in messages.
        """
        for first in range(0, len(lines), _BATCH):
            batch = lines[first : first + _BATCH]
            read = [self._try_to_read(line) for line in batch]
            yield from self._answers(read, partial(_text, batch), partial(_later, shown, first))

    def answer_rows(self, grid: Grid, shown: Callable[[int], str]) -> Iterator[Answer | BadInput]:
        """The answer to every row of a grid with its findings in short."""
        rows = self.quick().read_rows(grid)
        for first in range(0, grid.count, _BATCH):
            some = rows[first : first + _BATCH]
            yield from self._answers(some, partial(_later, grid.text, first), partial(_later, shown, first))

    def _answers(
        self, read: Sequence[Read | None], text: Callable[[int], bytes], shown: Callable[[int], str]
    ) -> list[Answer | BadInput]:
        """Judges some first and words their answers then: each runs over tables of its own."""
        judged = [self._judged(one) for one in read]
        return [
            self._worded(one, found) or self._plain_answer(text(place), shown(place))
            for place, (one, found) in enumerate(zip(read, judged, strict=True))
        ]

    def _judged(self, read: Read | None) -> tuple[list[Hit], int] | None:
        """The ranked hits, and how many questions are not asked; None for what must be read in the plain way."""
        try:
            return None if read is None else read.judged()
        except self.quick().errors:
            return None

    def _worded(self, read: Read | None, judged: tuple[list[Hit], int] | None) -> Answer | None:
        try:
            return None if read is None or judged is None else read.answer(*judged)
        except self.quick().errors:
            return None

    def _plain_answer(self, text: bytes, shown: str) -> Answer | BadInput:
        try:
            setup = read_setup(text, shown, self.rulebook)
        except BadInput as error:
            return error
        report = audit_on_sheet(self.sheet(setup.unit.card, setup.crop), setup, self.hold_at)
        return answer_of(setup, report)

    def quick(self) -> Quick:
        """The quick way, made when it is first needed: one setup does not pay for it."""
        if self._quick is None:
            from audit.quick import Quick

            with self._making:
                self._quick = self._quick or Quick(self.rulebook, self.hold_at, self.sheet)
        return self._quick

    def _try_to_read(self, line: Line) -> Read | None:
        quick = self.quick()
        try:
            return quick.read(line)
        except quick.errors:
            return None

    def _plainly(self, line: bytes, shown: str) -> Judged:
        from audit.judged import Judged

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
            setup.unit.id, setup.unit.card, setup.crop, setup.header_kind, report.clearance, report.counts, hits,
            lambda: report.findings, sheet,
        )  # fmt: skip


def _later(of: Callable[[int], T], first: int, place: int) -> T:
    """What stands at a place of a batch."""
    return of(first + place)


def _text(lines: Sequence[Line], place: int) -> bytes:
    """A line as it may be kept."""
    return bytes(lines[place])
