"""The compiled reading of the rules: one straight-line function for a check sheet with its known constants.

A fleet has a few machine cards, crops, headers and builds and many setups, so everything that does not depend on the
setup is folded once: limits, card constants, questions that are not asked. What is left becomes one Python function over
local variables. It is generated from the rule's structure, never from text in a file: of what a file says only numbers
and words enter, as literals that ``repr`` writes.

The plain reading in ``facts`` and ``checking`` says what is right; a property test holds this one to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.condition_text import FUNCTIONS, NO, YES, ConditionWriter, Text, both, opposite
from audit.conditions import quantities
from audit.nouns.fact import Argument, Computation, Constant, Ref
from audit.nouns.quantity import Sided, Value
from audit.nouns.risk import Harm
from audit.nouns.rule import Verdict
from audit.physics.formula import OutOfRange
from audit.ranking import rank_key, risk_of
from audit.sheet import Question, Sheet

MOST_REMEMBERED = 8192
"""Entries a memo keeps before it starts again: bounds memory whatever the input."""

Hit = tuple[tuple[int, int, float, bool], float, str, str, int]
"""A broken or unknown question: rank of its risk, minus the margin's share, rule, component, question number."""

Check = Callable[..., tuple[list[int], int, tuple[Value, ...]]]


class Memo(dict[object, Value]):
    """Results of one formula by the arguments that vary; unknown and out of range give None."""

    def __init__(self, computation: Computation, fixed: Mapping[int, Value]) -> None:
        super().__init__()
        self.computation = computation
        self.fixed = fixed
        self.free = [place for place in range(len(computation.args)) if place not in fixed]

    def __missing__(self, key: object) -> Value:
        given = key if isinstance(key, tuple) else (key,)
        arguments: list[Value] = [self.fixed.get(place) for place in range(len(self.computation.args))]
        for place, value in zip(self.free, given, strict=True):
            argument = self.computation.args[place]
            factor = argument.factor if isinstance(argument, Ref) else 1.0
            arguments[place] = value * factor if factor != 1.0 and isinstance(value, float) else value
        result: Value = None
        if not (self.computation.needs_all and None in arguments):
            try:
                result = self.computation.function(*arguments)
            except OutOfRange:
                result = None
        if len(self) >= MOST_REMEMBERED:
            self.clear()
        self[key] = result
        return result


@dataclass(frozen=True, slots=True)
class Input:
    """A quantity that a setup may give.

    Attributes:
        name: of the quantity.
        written: attribute of one of the judge's arguments that holds the value as written, such as ``readings.f12``.
        table: from the value as written to its canonical form; raises for a bad value. None where it is canonical.
    """

    name: str
    written: str
    table: Mapping[object, Value | Sided] | None


@dataclass(frozen=True, slots=True)
class Reading:
    """The compiled function with what surrounds it.

    Attributes:
        constants: values that do not depend on the setup, those worked out from the cards and the job included.
        check: takes a setup's parts as ``compile_sheet`` was told; returns the numbers of the questions that are not
            kept, how many were not asked, and the values of ``names`` (empty if all are kept).
        names: what the returned values are; a sided quantity stands twice, left then right.
        makers: by question number, the function that makes its hit from the returned values.
        source: the generated text of ``check``, to be looked at.
    """

    sheet: Sheet
    constants: Mapping[str, Value]
    check: Check
    names: tuple[str, ...]
    makers: Mapping[int, Callable[[tuple[Value, ...]], Hit]]
    source: str

    def judge(self, *parts: object) -> tuple[list[Hit], int, tuple[Value, ...]]:
        """Hits in order of rank, how many questions were not asked, and the values (empty without hits)."""
        failed, not_asked, values = self.check(*parts)
        makers = self.makers
        return sorted([makers[number](values) for number in failed]), not_asked, values

    def values(self, returned: tuple[Value, ...]) -> dict[str, Value | Sided]:
        """Everything known about a setup, from what ``check`` returned."""
        found: dict[str, Value | Sided] = dict(self.constants)
        for name, value in zip(self.names, returned, strict=True):
            quantity = self.sheet.names.get(name)
            if quantity is not None and quantity.sided:
                before = found.get(name)
                found[name] = (before[0], value) if isinstance(before, tuple) else (value, value)
            else:
                found[name] = value
        return found


class _Hits(dict[int, Callable[[tuple[Value, ...]], Hit]]):
    """Makers of hits, each written when its question first fails: most never do, and the check stays short."""

    def __init__(self, compiler: _Compiler, variables: Sequence[str]) -> None:
        super().__init__()
        self.compiler, self.variables = compiler, variables
        self.questions = {question.no: question for question in compiler.questions}

    def __missing__(self, number: int) -> Callable[[tuple[Value, ...]], Hit]:
        self[number] = self.compiler.hit(self.questions[number], self.variables)
        return self[number]


def compile_sheet(
    sheet: Sheet, known: Mapping[str, Value], inputs: Sequence[Input], arguments: str, memos: dict[object, Memo]
) -> Reading:
    """The compiled reading of a sheet.

    Args:
        sheet: of the card and crop.
        known: values that hold for every setup it will see: crop, header kind, condition, builds. None: not known.
        inputs: where the other values of a setup are written.
        arguments: the judge's arguments, as text.
        memos: results of formulas that other readings keep; computations that are alike share one.
    """
    return _Compiler(sheet, known, inputs, memos).reading(arguments)


class _Compiler:
    def __init__(
        self, sheet: Sheet, known: Mapping[str, Value], inputs: Sequence[Input], memos: dict[object, Memo]
    ) -> None:
        self.sheet, self.memos = sheet, memos
        self.constants: dict[str, Value] = {**sheet.constants, **known}
        self.space: dict[str, object] = dict(FUNCTIONS)
        self.kept: dict[object, str] = {}
        self.inputs = [given for given in inputs if given.name not in known]
        self.variables = {given.name: f"v{place}" for place, given in enumerate(self.inputs)}
        self.writer = ConditionWriter(sheet.names, self.constants, self.variables)
        self.left = self.fold()
        for name in self.left:
            self.variables[name] = f"v{len(self.variables)}"
        self.questions = [
            question
            for question in sheet.questions
            if question.given is None or self.writer.write(question.given).false != YES
        ]
        self.needed = self.all_needed()

    def reading(self, arguments: str) -> Reading:
        skipped = len(self.sheet.questions) - len(self.questions)
        names, returned = self.returned()
        lines = [
            f"def check({arguments}):",
            "f = []",
            f"n = {skipped}",
            *self.input_lines(),
            *self.fact_lines(),
            *(line for question in self.questions for line in self.question_lines(question)),
            "if not f: return f, n, ()",
            f"return f, n, ({', '.join(returned)}{',' if returned else ''})",
        ]
        source = "\n    ".join(lines)
        check: Check = self.run(source, "check")
        return Reading(self.sheet, self.constants, check, names, _Hits(self, returned), source)

    def run(self, source: str, name: str) -> Any:
        """The function that a generated text defines; the text is ours, files only enter as kept objects."""
        exec(compile(source, f"<{self.sheet.card.id} {self.sheet.crop.id}>", "exec"), self.space)
        return self.space[name]

    def input_lines(self) -> list[str]:
        """Reads what a question needs; what none needs is still looked up, so that a bad value is never passed over."""
        lines: list[str] = []
        for given in self.inputs:
            variable = self.variables[given.name]
            if given.table is None:
                lines += [f"{variable} = {given.written}"] if given.name in self.needed else []
                continue
            table = self.put(given.table)
            if given.name not in self.needed:
                lines.append(f"if {given.written} is not None: {table}[{given.written}]")
            elif self.sheet.names[given.name].sided:
                lines.append(f"{variable}l, {variable}r = {table}[{given.written}]")
            else:
                lines.append(f"{variable} = {table}[{given.written}]")
        return lines

    def returned(self) -> tuple[tuple[str, ...], list[str]]:
        names: list[str] = []
        texts: list[str] = []
        for name, variable in self.variables.items():
            if name not in self.needed:
                continue
            quantity = self.sheet.names.get(name)
            sides = ("l", "r") if quantity is not None and quantity.sided else ("",)
            names += [name] * len(sides)
            texts += [variable + side for side in sides]
        return tuple(names), texts

    # facts

    def all_needed(self) -> set[str]:
        """Every quantity that some question looks at, directly or through a computation."""
        found: set[str] = set()

        def visit(name: str) -> None:
            if name in found:
                return
            found.add(name)
            computation = self.sheet.by_name.get(name)
            for argument in computation.args if computation and name not in self.constants else ():
                if isinstance(argument, Ref):
                    visit(argument.name)

        for question in self.questions:
            for part in (question.given, question.hold):
                for name in () if part is None else quantities(part):
                    visit(name)
        return found

    def fold(self) -> dict[str, tuple[Computation, dict[int, Value]]]:
        """Computes what is constant; returns what is left with its constant arguments by place."""
        left: dict[str, tuple[Computation, dict[int, Value]]] = {}
        for computation in self.sheet.computations:
            fixed = {
                place: value
                for place, argument in enumerate(computation.args)
                if (value := self.constant(argument)) is not _VARIES
            }
            if len(fixed) == len(computation.args):
                values = Memo(computation, fixed)
                self.constants[computation.name] = values.__missing__(())
            elif computation.needs_all and None in fixed.values():
                self.constants[computation.name] = None
            else:
                left[computation.name] = (computation, fixed)
        return left

    def constant(self, argument: Argument) -> Value:
        if isinstance(argument, Constant):
            return argument.value
        value = self.constants.get(argument.name, _VARIES)
        return value * argument.factor if argument.factor != 1.0 and isinstance(value, float) else value

    def fact_lines(self) -> list[str]:
        lines: list[str] = []
        for name, (computation, fixed) in self.left.items():
            if name not in self.needed:
                continue
            free = [a for place, a in enumerate(computation.args) if place not in fixed]
            key = ", ".join(self.argument_text(argument) for argument in free)
            memo = self.put(self.memo(computation, fixed))
            lines.append(f"{self.variables[name]} = {memo}[{key}]")
        return lines

    def memo(self, computation: Computation, fixed: dict[int, Value]) -> Memo:
        """The memo of a computation; those with the same formula and the same constants share one."""
        factors = tuple(argument.factor if isinstance(argument, Ref) else 1.0 for argument in computation.args)
        key = (computation.function, tuple(fixed.items()), factors, computation.needs_all)
        found = self.memos.get(key)
        if found is None:
            found = self.memos[key] = Memo(computation, fixed)
        return found

    def argument_text(self, argument: Argument) -> str:
        assert isinstance(argument, Ref)
        if argument.name not in self.variables:  # an input that no setup of this machine can give
            return "None"
        variable = self.variables[argument.name]
        quantity = self.sheet.names.get(argument.name)
        if quantity is not None and quantity.sided:
            return f"({variable}l if {variable}l == {variable}r else None)"
        return variable

    # questions

    def put(self, value: object) -> str:
        """Keeps an object for the generated function; equal numbers and words are kept once."""
        known = (type(value), value) if isinstance(value, (float, str, bool, tuple, frozenset)) else id(value)
        name = self.kept.get(known)
        if name is None:
            name = self.kept[known] = f"c{len(self.space)}"
            self.space[name] = value
        return name

    def question_lines(self, question: Question) -> list[str]:
        """Counts a question that is not asked, notes one that is not kept."""
        given, hold = self.written(question)
        lines = [f"if {given.false}: n += 1"] if given.false != NO else []
        if hold.true != YES:
            lines.append(f"{'elif' if lines else 'if'} {opposite(hold.true)}: f.append({question.no})")
        return lines

    def written(self, question: Question) -> tuple[Text, Text]:
        given = Text(YES, NO) if question.given is None else self.writer.write(question.given)
        return given, self.writer.write(question.hold)

    def hit(self, question: Question, names: Sequence[str]) -> Callable[[tuple[Value, ...]], Hit]:
        """A function that makes the hit of a question that is not kept, from the values that ``check`` returned."""
        rule, on = question.rule, question.on
        given, hold = self.written(question)
        key = rank_key(risk_of(rule.harm, Verdict.UNKNOWN, 0.0), Verdict.UNKNOWN, rule.id, on)
        unknown = self.put(((int(key[0]), *key[1:4]), 0.0, rule.id, on, question.no))
        wrong = both([given.true, hold.false])
        lines = [f"def hit(values):  # {rule.id}"]
        for place, variable in enumerate(names):
            if re.search(rf"\b{variable}\b", f"{wrong} {hold.share}"):
                lines.append(f"{variable} = values[{place}]")
        if wrong != NO:
            lines.append(f"if {wrong}:")
            lines.append(f"    s = {hold.share}")
            lines.append(f"    return ({self.rank(rule.harm)}, -s, {self.put(rule.id)}, {self.put(on)}, {question.no})")
        lines.append(f"return {unknown}")
        made: Callable[[tuple[Value, ...]], Hit] = self.run("\n    ".join(lines), "hit")
        return made

    def rank(self, harm: Harm) -> str:
        """Rank of a broken rule: a constant, or a look-up by the margin where the probability rises with it."""

        def at(share: float) -> tuple[int, int, float, bool]:
            found = risk_of(harm, Verdict.BROKEN, share)
            return (int(found.level), found.index, -found.downtime, False)

        text = self.put(at(0.0))
        for rise in harm.rises:
            text = f"({self.put(at(rise.past))} if s >= {rise.past!r} else {text})"
        return text


class _Varies:
    """Stands for a value that depends on the setup."""


_VARIES: Value = _Varies()  # type: ignore[assignment]
