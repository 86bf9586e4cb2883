"""Answers as lines of JSON: of units, of findings, of what was set aside. Keys stand in the order of the fields."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from api.wire import problem_json, shown
from audit.nouns.answer import Answer, Short
from audit.nouns.finding import Clearance
from audit.nouns.problem import Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

MOST_TEXT = 10_000
"""Most characters that are kept of a text that was set aside."""

_MOST_KEPT = 16_384
_LEVELS = ("", *(level.name.lower() for level in sorted(Level)))

encode = msgspec.json.Encoder().encode
encode_lines = msgspec.json.Encoder().encode_lines


class WorkLine(msgspec.Struct):
    """The work that puts a unit right: of the ways in which undecided builds may turn out, the longest."""

    minutes: float = 0.0
    people: int = 0
    parts: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    steps: int = 0
    proven: bool = True
    conflict: bool = False


class UnitLine(msgspec.Struct, gc=False):
    """A unit's answer in one line."""

    row: int
    source: str
    unit: str
    farm: str
    serial: str
    build_year: int | None
    card: str
    builds: msgspec.Raw
    crop: str
    header_kind: str
    taken: str
    by: str
    state: str
    engine_hours: float | None
    clearance: str
    kept: int
    broken: int
    unknown: int
    not_asked: int
    holding: int
    worst: str
    work: WorkLine | None


class Whose(msgspec.Struct):
    """With what a finding's line begins."""

    row: int
    unit: str
    farm: str
    card: str
    crop: str


class FindingLine(msgspec.Struct):
    """The rest of it: the same for all units with the same value."""

    rule: str
    on: str
    station: str
    verdict: str
    level: str
    index: int
    holds: bool
    downtime_h: float
    share: float
    people: bool
    quantity: str
    side: str
    found: str
    wanted: str


class AsideLine(msgspec.Struct):
    """What was refused, with every reason."""

    source: str
    problems: list[dict[str, object]]
    text: str


class Lines:
    """Writes answers; what many findings have in common is written once and kept.

    Args:
        rulebook: its cards say how a value is shown.
    """

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self._kept: dict[int, tuple[Short, bytes, str]] = {}
        self._builds: dict[tuple[tuple[str, str], ...], msgspec.Raw] = {}  # no more than the cards' choices together

    def unit(self, row: int, source: str, answer: Answer, work: WorkLine | None) -> UnitLine:
        """The line of a unit, to be encoded with others."""
        envelope, counts, findings = answer.envelope, answer.counts, answer.findings
        builds = self._builds.get(answer.builds)
        if builds is None:
            builds = self._builds[answer.builds] = msgspec.Raw(encode(dict(answer.builds)))
        return UnitLine(
            row, source, answer.unit, envelope.owner, envelope.serial, envelope.build_year, answer.card, builds,
            answer.crop, answer.header_kind, envelope.at, envelope.by, envelope.state, answer.engine_hours,
            "held" if answer.clearance is Clearance.HELD else "cleared", counts.kept, counts.broken, counts.unknown,
            counts.not_asked, [found.holds for found in findings].count(True),
            _LEVELS[findings[0].level] if findings else "", work,
        )  # fmt: skip

    def findings(self, row: int, answer: Answer, into: list[bytes], keys: list[str]) -> None:
        """Adds the lines of a unit's findings, ranked, in parts to be joined, and of each what it counts as."""
        if not answer.findings:
            return
        begins = encode(Whose(row, answer.unit, answer.envelope.owner, answer.card, answer.crop))[:-1]
        for found in answer.findings:
            kept = self._kept.get(id(found)) or self._finding(answer.card, found)
            into += (begins, kept[1])
            keys.append(kept[2])

    def _finding(self, card: str, found: Short) -> tuple[Short, bytes, str]:
        names = on_card(self.rulebook.machines[card], self.rulebook.vocabulary)
        level = found.level.name.lower()
        line = FindingLine(
            found.rule, found.on, found.station, found.verdict.value, level, found.hazard,
            found.holds, found.downtime, found.share, found.people, found.quantity, found.side,
            shown(found.found, names[found.quantity]) if found.quantity else "", found.wanted,
        )  # fmt: skip
        if len(self._kept) >= _MOST_KEPT:
            self._kept.clear()
        # by identity: the auditor gives the same object for the same finding, and this keeps it
        kept = self._kept[id(found)] = found, b"," + encode(line)[1:] + b"\n", f"{level} {found.verdict.value}"
        return kept


def aside(source: str, problems: Sequence[Problem], text: str) -> bytes:
    """The line of what was refused."""
    return encode(AsideLine(source, [problem_json(problem) for problem in problems], text[:MOST_TEXT])) + b"\n"
