"""What the compiled reading looks up: values as written, answers to questions about one, results of formulas."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol, runtime_checkable

from audit.checking import Surroundings, evaluate, judge
from audit.conditions import quantities
from audit.facts import argument_value, work_out
from audit.judged import Hit
from audit.nouns.fact import Computation, Ref
from audit.nouns.quantity import NAN, Sided, Value
from audit.nouns.rule import Verdict
from audit.ranking import rank_key, risk_of
from audit.sheet import Question, Sheet

MOST_REMEMBERED = 2048
"""Entries a table or memo keeps before it starts again: bounds memory whatever the input."""
MOST_GROUPED = 256
"""The same for a table of several inputs, whose entries are larger."""

Written = Mapping[object, Value | Sided]
"""From a value as written to its canonical form; raises for a bad value."""


@runtime_checkable
class Bare(Protocol):
    """The same for a number that may also stand bare, as a float: canonical = float × factor + offset."""

    factor: float
    offset: float

    def __getitem__(self, written: object, /) -> Value | Sided: ...


def compared(value: Value | Sided) -> Value | Sided:
    """A number, or two sides of one, as the compiled reading compares it: ``NAN`` where it is not known."""
    if isinstance(value, tuple):
        left, right = value
        return NAN if left is None else left, NAN if right is None else right
    return NAN if value is None else value


class Numbers(dict[object, Value | Sided]):
    """The numbers of a table as they are compared."""

    def __init__(self, table: Written) -> None:
        super().__init__()
        self.table = table

    def __missing__(self, written: object) -> Value | Sided:
        value = compared(self.table[written])
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        self[written] = value
        return value


class Memo(dict[object, Value]):
    """Results of one computation by the arguments that vary; ``NAN`` is a number that is not known.

    Args:
        unknown: stands for a result that is not known.
    """

    def __init__(self, computation: Computation, fixed: Mapping[int, Value], unknown: Value) -> None:
        super().__init__()
        self.computation = computation
        self.fixed = fixed
        self.unknown = unknown
        self.free = [place for place in range(len(computation.args)) if place not in fixed]

    def __missing__(self, key: object) -> Value:
        given = key if isinstance(key, tuple) else (key,)
        arguments: list[Value] = [self.fixed.get(place) for place in range(len(self.computation.args))]
        for place, value in zip(self.free, given, strict=True):
            argument = self.computation.args[place]
            factor = argument.factor if isinstance(argument, Ref) else 1.0
            known = None if value is NAN else value
            arguments[place] = known * factor if factor != 1.0 and isinstance(known, float) else known
        result, _ = work_out(self.computation, arguments)
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        found = self[key] = self.unknown if result is None else result
        return found


class Answers(dict[object, tuple[Value | Sided, tuple[Hit, ...]]]):
    """Reads one input and answers the questions that look at nothing else: its value, and their hits.

    Args:
        number: it is one, or a time as one, and others compare it.
    """

    def __init__(
        self, name: str, written: Written | None, questions: Sequence[Question], sheet: Sheet,
        constants: Mapping[str, Value], number: bool,
    ) -> None:  # fmt: skip
        super().__init__()
        self.name, self.written, self.questions, self.number = name, written, questions, number
        self.sheet, self.constants = sheet, constants

    def __missing__(self, key: Any) -> tuple[Value | Sided, tuple[Hit, ...]]:
        value = key if self.written is None else self.written[key]
        hits = tuple(
            hit(question, verdict, share)
            for question, verdict, share in self.verdicts(value)
            if verdict in (Verdict.BROKEN, Verdict.UNKNOWN)
        )
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        found = self[key] = compared(value) if self.number else value, hits
        return found

    def verdicts(self, value: Value | Sided) -> Iterator[tuple[Question, Verdict, float]]:
        """The plain reading of its questions."""
        values: dict[str, Value | Sided] = {**self.constants, self.name: value}
        for question in self.questions:
            add_facts(self.sheet, question, values)
            verdict, outcome = judge(question.given, question.hold, Surroundings(values, self.sheet.names, {}))
            yield question, verdict, outcome.share


class Group(dict[tuple[object, ...], tuple[object, ...]]):
    """Reads several inputs in one look-up: most setups of a fleet say the same of most of them.

    Args:
        parts: of each input.
        wanted: places of those whose values are looked at together with others.

    By the values as written of all of them it has the values that are wanted, how many are not given, and the hits.
    """

    def __init__(self, parts: Sequence[Answers], wanted: Sequence[int]) -> None:
        super().__init__()
        self.parts, self.wanted = parts, wanted

    def __missing__(self, key: tuple[object, ...]) -> tuple[object, ...]:
        found = [part[written] for part, written in zip(self.parts, key, strict=True)]
        if len(self) >= MOST_GROUPED:
            self.clear()
        hits = [one for _, some in found for one in some]
        entry = self[key] = *(found[place][0] for place in self.wanted), key.count(None), hits
        return entry


class Unasked(dict[tuple[object, ...], int]):
    """How many of some questions are not asked, by the values as written of the inputs that decide it.

    Args:
        questions: each with the inputs behind its condition for being asked.
        inputs: of all of them together, in the order in which a key gives their values.
        tables: from an input's value as written to its canonical value.
    """

    def __init__(
        self, questions: Sequence[tuple[Question, Sequence[str]]], inputs: Sequence[str],
        tables: Mapping[str, Written | None], sheet: Sheet, constants: Mapping[str, Value],
    ) -> None:  # fmt: skip
        super().__init__()
        self.questions, self.inputs, self.tables = questions, inputs, tables
        self.sheet, self.constants = sheet, constants
        self.answers: dict[object, bool] = {}

    def __missing__(self, key: Any) -> int:
        written = dict(zip(self.inputs, key, strict=True))
        count = sum(
            self.unasked(question, [(name, written[name]) for name in names]) for question, names in self.questions
        )
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        self[key] = count
        return count

    def unasked(self, question: Question, written: list[tuple[str, Any]]) -> bool:
        """Whether one question is not asked."""
        key = question.no, tuple(value for _, value in written)
        found = self.answers.get(key)
        if found is None:
            assert question.given is not None
            values: dict[str, Value | Sided] = dict(self.constants)
            for name, value in written:
                table = self.tables[name]
                values[name] = value if table is None else table[value]
            for name in quantities(question.given):
                add_fact(self.sheet, name, values)
            truth = evaluate(question.given, Surroundings(values, self.sheet.names, {})).truth
            if len(self.answers) >= MOST_REMEMBERED:
                self.answers.clear()
            found = self.answers[key] = truth is False
        return found


def hit(question: Question, verdict: Verdict, share: float) -> Hit:
    """The hit of a question that is not kept."""
    rule, on = question.rule, question.on
    level, index, downtime, unknown, minus_share, *_ = rank_key(
        risk_of(rule.harm, verdict, share), verdict, rule.id, on
    )
    return (int(level), index, downtime, unknown), minus_share, rule.id, on


def add_facts(sheet: Sheet, question: Question, values: dict[str, Value | Sided]) -> None:
    """Adds to ``values`` the facts that a question needs and that are not there yet."""
    for name in names_of(question):
        add_fact(sheet, name, values)


def add_fact(sheet: Sheet, name: str, values: dict[str, Value | Sided]) -> None:
    """Adds a fact and all that it is computed from, where they are not there yet."""
    computation = sheet.by_name.get(name)
    if name in values or computation is None:
        return
    for argument in computation.args:
        if isinstance(argument, Ref):
            add_fact(sheet, argument.name, values)
    values[name] = work_out(computation, [argument_value(argument, values) for argument in computation.args])[0]


def names_of(question: Question) -> list[str]:
    """Names of the quantities that a question compares, its condition for being asked included."""
    return [name for part in (question.given, question.hold) if part is not None for name in quantities(part)]


class Kept:
    """Tables and memos of several readings: those that are alike are shared, which keeps the working set small."""

    def __init__(self) -> None:
        self.memos: dict[object, Memo] = {}
        self.answers: dict[object, Answers] = {}
        self.groups: dict[object, Group] = {}
        self.numbers: dict[int, Numbers] = {}
