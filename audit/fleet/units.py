"""One line for each audited setup and for each of its findings, and the newest setup of every unit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from audit.nouns.risk import Level
from audit.nouns.rule import Verdict


@dataclass(frozen=True, slots=True)
class Work:
    """The work that puts one unit right, as planned.

    Attributes:
        minutes: of all steps, one after the other.   people: most that one step needs.
        parts, tools: names as procedures and cards have them.
        proven: nothing cheaper exists.   conflict: there is no such work.
    """

    minutes: float
    people: int
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    steps: int
    proven: bool
    conflict: bool


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One setup of one unit as audited.

    Attributes:
        row: its number in the audit; findings name it.
        taken: s since 1970, None for not known.   by: who took it, '' for not known.
        worst: level of the worst finding, None for no finding.
        work: None where no work was planned.
    """

    row: int
    unit: str
    farm: str
    serial: str
    build_year: int | None
    card: str
    crop: str
    header_kind: str
    taken: float | None
    by: str
    held: bool
    kept: int
    broken: int
    unknown: int
    worst: Level | None
    work: Work | None


@dataclass(frozen=True, slots=True)
class FindingLine:
    """One finding on one setup; ``found`` and ``wanted`` are shown text of its first decisive comparison.

    Attributes:
        downtime: expected hours the machine stands if the harm happens, h.
        share: distance past the limit as a share of it.   people: danger to people.
    """

    row: int
    rule: str
    on: str
    station: str
    verdict: Verdict
    level: Level
    index: int
    holds: bool
    downtime: float
    share: float
    people: bool
    quantity: str
    side: str
    found: str
    wanted: str


Fault = tuple[str, str]
"""A question that is broken: rule, and component ('' where the rule is asked once)."""


class Audited(NamedTuple):
    """The newest setup of one unit with its findings in order of rank."""

    line: UnitLine
    findings: tuple[FindingLine, ...]

    @property
    def broken(self) -> tuple[FindingLine, ...]:
        """Findings that are broken."""
        return tuple(one for one in self.findings if one.verdict is Verdict.BROKEN)

    @property
    def unknown(self) -> tuple[FindingLine, ...]:
        """Questions that could not be answered."""
        return tuple(one for one in self.findings if one.verdict is Verdict.UNKNOWN)

    @property
    def hours(self) -> float:
        """Hours at risk: what each broken finding would cost in standing if its harm happened, h."""
        return sum(one.downtime for one in self.broken)

    @property
    def hours_hidden(self) -> float:
        """The same for what nobody knows, at the worst, h."""
        return sum(one.downtime for one in self.unknown)


@dataclass(frozen=True, slots=True)
class Fleet:
    """The newest setup of every unit, by unit id.

    Attributes:
        setups: how many there were; the older ones are not looked at again.
        digest: of the rulebook that judged.
    """

    units: tuple[Audited, ...]
    setups: int
    digest: str


class Newest:
    """Keeps the newest setup of each unit while lines go by; memory grows with units, not with setups.

    A setup without a time is older than any with one; of equals the later row counts.
    """

    def __init__(self) -> None:
        self.setups = 0
        self.lines: dict[str, UnitLine] = {}

    def add(self, line: UnitLine) -> None:
        """Look at one more setup."""
        self.setups += 1
        old = self.lines.get(line.unit)
        if old is None or _age(line) >= _age(old):
            self.lines[line.unit] = line

    def fleet(self, findings: Iterable[FindingLine], digest: str) -> Fleet:
        """The fleet, once every line was added; findings on older setups are passed over."""
        by_row: dict[int, list[FindingLine]] = {line.row: [] for line in self.lines.values()}
        for finding in findings:
            if finding.row in by_row:
                by_row[finding.row].append(finding)
        units = (Audited(line, tuple(by_row[line.row])) for _, line in sorted(self.lines.items()))
        return Fleet(tuple(units), self.setups, digest)


def _age(line: UnitLine) -> tuple[bool, float, int]:
    return line.taken is not None, line.taken or 0.0, line.row


def fleet_of(lines: Sequence[UnitLine], findings: Iterable[FindingLine], digest: str) -> Fleet:
    """The fleet of lines that are all at hand."""
    newest = Newest()
    for line in lines:
        newest.add(line)
    return newest.fleet(findings, digest)
