"""The compiled reading of the rules for one check sheet.

A fleet has a few machine cards and crops and many setups, so what does not depend on the setup is folded once: limits,
card constants, questions that are never asked. Of what is left, a question that looks at one word or yes/no alone is
answered by the look-up that reads it: a table from the value as written to the canonical value, worked out by the plain
reading when a value is first seen. Numbers, whose values are too many to keep, and what takes several inputs (limits,
slip, wear, losses) become one straight-line function over local variables. It is generated from the rules' structure
and the formulas' own source, never from text in a file: of what a file says only numbers and words enter, as literals
that ``repr`` writes.

The plain reading in ``facts`` and ``checking`` says what is right; a property test holds this one to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import getitem, itemgetter
from threading import Lock
from typing import Any

from audit.answers import Answers, Bare, Group, Kept, Numbers, Unasked, Written, hit, names_of
from audit.condition_text import FUNCTIONS, NO, YES, ConditionWriter, Text, both, either, opposite
from audit.conditions import quantities
from audit.fact_text import FactWriter
from audit.folding import Folded
from audit.judged import Hit
from audit.nouns.quantity import Form, Value
from audit.nouns.rule import Verdict
from audit.sheet import Question, Sheet
from audit.stepped import ByWords, Stepped, stepped_of

_GROUPED = 16
"""Inputs of few values that are looked up together."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The compiled reading of a sheet.

    Attributes:
        constants: values that do not depend on the setup, those worked out from the cards included.
        inputs: the quantities that a setup may give, each with its table.
        check: takes the values of the inputs as written, in their order; returns the hits, and how many inputs are not
            given. Raises what the inputs' tables raise for a bad value.
        unasked: takes the same; returns how many questions are not asked. Raises the same.
        source: the generated text of ``check``, to be looked at.
        folded: says what depends on what.
    """

    sheet: Sheet
    constants: Mapping[str, Value]
    inputs: Mapping[str, Written | None]
    check: Callable[[tuple[object, ...]], tuple[list[Hit], int]]
    unasked: Callable[[tuple[object, ...]], int]
    source: str
    folded: Folded

    def behind(self, names: Iterable[str]) -> list[str]:
        """The inputs that some quantities depend on, in their order."""
        found = self.folded.behind_of(names)
        return [name for name in self.inputs if name in found]


def compile_sheet(
    sheet: Sheet, known: Mapping[str, Value], inputs: Mapping[str, Written | None], kept: Kept
) -> Reading:
    """The compiled reading of a sheet.

    Args:
        sheet: of the card and crop.
        known: values that hold for every setup it will see, such as the crop.
        inputs: the quantities that a setup may give, in the order in which ``check`` takes their values as written,
            each with its table; None where it is written as it is meant.
        kept: tables and memos that other readings use too.
    """
    return _Compiler(sheet, known, inputs, kept).reading()


class _Compiler(Folded):
    def __init__(
        self, sheet: Sheet, known: Mapping[str, Value], inputs: Mapping[str, Written | None], kept: Kept
    ) -> None:
        super().__init__(sheet, known, inputs)
        self.kept = kept
        self.variables = {
            name: f"{'n' if self.is_number(name) else 'v'}{place}" for place, name in enumerate((*inputs, *self.left))
        }
        self.writer = ConditionWriter(sheet.names, self.constants, self.variables)
        self.writing = Lock()  # functions of this reading are written one at a time: they share one space of names
        self.space: dict[str, object] = dict(FUNCTIONS)
        self.numbers = [name for name, table in inputs.items() if isinstance(table, Bare)]
        self.facts = FactWriter(self, self.variables, set(self.numbers), kept, self.put)
        self.alone: dict[str, list[Question]] = {name: [] for name in inputs if name not in set(self.numbers)}
        self.questions: list[Question] = []
        self.conditional: list[Question] = []
        self.skipped = 0
        for question in sheet.questions:
            self.place(question)
        self.needed = {name for question in self.questions for name in self.behind(question)}

    def place(self, question: Question) -> None:
        """Sorts a question: never asked, always kept, answered by one input's table, or left to the function."""
        given, hold = self.written(question)
        if given.false == YES:
            self.skipped += 1
            return
        if given.false != NO:
            self.conditional.append(question)
        if hold.true == YES:
            return
        behind = [name for name in self.behind(question) if name in self.inputs]
        if len(behind) == 1 and behind[0] in self.alone:
            self.alone[behind[0]].append(question)
        else:
            self.questions.append(question)

    def reading(self) -> Reading:
        order = list(self.inputs)
        words = {name for name in self.alone if not self.is_number(name) and not self.sheet.names[name].sided}
        facts = [name for name in self.left if name in self.needed]
        stepped = stepped_of(self, words, facts, self.questions)
        there = {name for part in stepped for name in part.facts}
        answered = {id(question) for part in stepped for question in part.questions}
        lines = [
            "def check(written):",
            "h = []",
            "k = 0",
            *self.look_ups(order),
            *(line for part in stepped for line in self.stepped_lines(part)),
            *self.taking(self.numbers, order),
            *(line for name in self.numbers for line in self.number_lines(name)),
            *(self.facts.line(name) for name in facts if name not in there),
            *(self.question_line(question) for question in self.questions if id(question) not in answered),
            "return h, k",
        ]
        source = "\n    ".join(lines)
        check = self.run(source, "check")
        return Reading(self.sheet, self.constants, self.inputs, check, self.unasked(order), source, self)

    def stepped_lines(self, part: Stepped) -> list[str]:
        """Lines that look up the facts which words decide, and the hits of the questions about them."""
        given = ", ".join(self.variables[name] for name in part.words)
        shown = "".join(f"{self.variables[name]}, " for name in part.shown)
        lines = [
            f"def part({given}):",
            "h = []",
            *map(self.facts.line, part.facts),
            *(self.question_line(question) for question in part.questions),
            f"return {shown}h,",
        ]
        table = self.put(ByWords(self.run("\n    ".join(lines), "part")))
        return [f"[{shown}e] = {table}[{given},]", "if e: h += e"]

    def unasked(self, order: Sequence[str]) -> Callable[[tuple[object, ...]], int]:
        """The function that counts what is not asked: conditions on numbers in place, all others by look-up."""
        numbers = set(self.numbers)
        by_number: list[Question] = []
        by_word: list[tuple[Question, list[str]]] = []
        for question in self.conditional:
            assert question.given is not None
            names = dict.fromkeys(quantities(question.given))
            if all(name in numbers or name in self.constants for name in names):
                by_number.append(question)
            else:
                behind = self.behind(replace(question, hold=question.given))
                by_word.append((question, [name for name in order if name in behind]))
        taken = [name for name in self.numbers if any(name in quantities(q.given) for q in by_number if q.given)]
        places = sorted({order.index(name) for _, names in by_word for name in names})
        terms = [str(self.skipped)]
        if places:
            count = Unasked(by_word, [order[place] for place in places], self.inputs, self.sheet, self.constants)
            terms.append(f"{self.put(count)}[{self.put(itemgetter(*places))}(written)]")
        terms += [f"({self.writer.write(question.given).false})" for question in by_number if question.given]
        lines = [
            "def unasked(written):",
            "k = 0",
            *self.taking(taken, order),
            *(line for name in taken for line in self.number_lines(name)),
            f"return {' + '.join(terms)}",
        ]
        made: Callable[[tuple[object, ...]], int] = self.run("\n    ".join(lines), "unasked")
        return made

    def look_ups(self, order: Sequence[str]) -> list[str]:
        """Lines that read what is looked up: several inputs of few values at once, any other by itself."""
        few: list[str] = []
        many: list[str] = []
        plain: list[str] = []
        right: list[str] = []
        for name in self.alone:
            quantity = self.sheet.names.get(name)
            if not (self.alone[name] or self.inputs[name] is not None or name in self.needed):
                right.append(name)  # nothing is asked of it, and the decoder has seen that it is right
            elif self.inputs[name] is None or quantity is None or quantity.form not in (Form.NUMBER, Form.TIME):
                few.append(name)
            else:
                (many if self.alone[name] else plain).append(name)
        groups = [[name] for name in many] + [few[first : first + _GROUPED] for first in range(0, len(few), _GROUPED)]
        return [
            *([f"k += {self.picked(right, order)}.count(None)"] if right else []),
            *self.plain_lines(plain, order),
            *(line for names in groups for line in self.group_lines(names, order)),
        ]

    def plain_lines(self, names: list[str], order: Sequence[str]) -> list[str]:
        """Lines that look up inputs about which nothing is asked alone; those that nothing needs must be right too."""
        if not names:
            return []
        lines: list[str] = []
        asked = [name for name in names if name in self.needed or self.sheet.names[name].form is not Form.TIME]
        times: dict[int, list[str]] = {}
        for name in names:
            if name not in asked:
                times.setdefault(id(self.inputs[name]), []).append(name)
        for alike in times.values():  # texts, most of which are not given
            lines += [
                f"p = [*filter(None, {self.picked(alike, order)})]",
                f"k += {len(alike)} - len(p)",
                f"for e in p: {self.put(self.inputs[alike[0]])}[e]",
            ]
        if asked:
            asked.sort(key=lambda name: name in self.needed)
            taken = [name for name in asked if name in self.needed]
            given = ", ".join(["*_", *(self.variables[name] for name in taken)])
            tables = self.put([self.comparing(name) for name in asked])
            lines += [
                f"p = {self.picked(asked, order)}",
                "k += p.count(None)",
                f"[{given}] = map({self.put(getitem)}, {tables}, p)",
                *self.sides(taken),
            ]
        return lines

    def group_lines(self, names: list[str], order: Sequence[str]) -> list[str]:
        """Lines that look some inputs up: the values that others need, and the hits."""
        parts = [self.answers(name) for name in names]
        wanted = [place for place, name in enumerate(names) if name in self.needed]
        alike = tuple(map(id, parts)), tuple(wanted)
        table = self.kept.groups.setdefault(alike, Group(parts, wanted))
        taken = [names[place] for place in wanted]
        given = ", ".join([*(self.variables[name] for name in taken), "p", "e"])
        return [
            f"[{given}] = {self.put(table)}[{self.picked(names, order)}]",
            "k += p",
            "if e: h += e",
            *self.sides(taken),
        ]

    def picked(self, names: Sequence[str], order: Sequence[str]) -> str:
        """Some of the values as written, as a tuple."""
        places = [order.index(name) for name in names]
        return f"{self.put(itemgetter(*places))}(written)" if len(places) > 1 else f"(written[{places[0]}],)"

    def answers(self, name: str) -> Answers:
        """The table of an input; readings whose questions about it are the same share one."""
        questions = self.alone[name]
        alike: list[object] = [name, id(self.inputs[name])]
        for question in questions:
            if len(self.behind(question)) > 1:  # through facts of this card
                alike.append(id(self))
            limits = tuple(self.constants.get(other) for other in names_of(question))
            alike.append((question.rule.id, question.on, question.given, question.hold, limits))
        found = self.kept.answers.get(tuple(alike))
        if found is None:
            found = Answers(name, self.inputs[name], questions, self.sheet, self.constants, self.is_number(name))
            self.kept.answers[tuple(alike)] = found
        return found

    def taking(self, names: list[str], order: Sequence[str]) -> list[str]:
        """Lines that put some of the values into their variables."""
        given = ", ".join(self.variables[name] for name in names)
        return [f"[{given}] = {self.picked(names, order)}", *self.sides(names)] if names else []

    def sides(self, names: Iterable[str]) -> list[str]:
        """Lines that take the values of sided quantities apart."""
        variables = [self.variables[name] for name in names if (found := self.sheet.names.get(name)) and found.sided]
        return [f"{variable}l, {variable}r = {variable}" for variable in variables]

    def run(self, source: str, name: str) -> Any:
        """The function that a generated text defines; the text is ours, files only enter as literals."""
        exec(compile(source, f"<{self.sheet.card.id} {self.sheet.crop.id}>", "exec"), self.space)
        return self.space[name]

    def put(self, value: object) -> str:
        """Keeps an object for the generated functions; returns its name there."""
        name = f"c{len(self.space)}"
        self.space[name] = value
        return name

    def number_lines(self, name: str) -> list[str]:
        """Makes a number canonical, a bare one by its unit, any other by its table; counts one that is not given."""
        table, variable = self.inputs[name], self.variables[name]
        assert isinstance(table, Bare)
        read = f"k += {variable} is None; {variable} = {self.put(self.comparing(name))}[{variable}]"
        if table.factor == 1.0 and table.offset == 0.0:
            return [f"if type({variable}) is not float: {read}"]
        offset = f" + {table.offset!r}" if table.offset else ""
        canonical = f"{variable} = {variable} * {table.factor!r}{offset}"
        return [f"if type({variable}) is float: {canonical}", f"else: {read}"]

    def comparing(self, name: str) -> Written:
        """The table of an input whose values are compared."""
        table = self.inputs[name]
        assert table is not None
        if not self.is_number(name):
            return table
        return self.kept.numbers.setdefault(id(table), Numbers(table))

    def question_line(self, question: Question) -> str:
        """Makes the hit of a question that is asked and not kept."""
        given, hold = self.written(question)
        behind = self.behind(question)
        text = f"{given.true} {given.false} {hold.true} {hold.false} {hold.share}"
        used = [variable for variable in self.locals_of(behind) if re.search(rf"\b{variable}\b", text)]
        maker = self.put(None)
        self.space[maker] = _Maker(self, question, used, maker)
        return f"if {opposite(either([given.false, hold.true]))}: h.append({maker}({', '.join(used)}))"

    def locals_of(self, names: Iterable[str]) -> list[str]:
        """The local variables of some quantities."""
        found = []
        for name in names:
            quantity = self.sheet.names.get(name)
            sides = ("l", "r") if quantity is not None and quantity.sided else ("",)
            found += [self.variables[name] + side for side in sides]
        return found

    def written(self, question: Question) -> tuple[Text, Text]:
        given = Text(YES, NO) if question.given is None else self.writer.write(question.given)
        return given, self.writer.write(question.hold)

    def maker(self, question: Question, variables: Sequence[str]) -> Callable[..., Hit]:
        """A function that makes the hit of a question that is not kept, from the variables it looks at."""
        given, hold = self.written(question)
        wrong = both([given.true, hold.false])
        lines = [f"def maker({', '.join(variables)}):  # {question.rule.id}"]
        if wrong != NO:
            lines += [
                f"if {wrong}:",
                f"    s = {hold.share}",
                f"    return ({self.rank(question)}, -s, {question.rule.id!r}, {question.on!r})",
            ]
        made: Callable[..., Hit] = self.run(
            "\n    ".join([*lines, f"return {self.put(hit(question, Verdict.UNKNOWN, 0.0))}"]), "maker"
        )
        return made

    def rank(self, question: Question) -> str:
        """Rank of a broken rule: a constant, or a look-up by the margin where the probability rises with it."""

        text = self.put(hit(question, Verdict.BROKEN, 0.0)[0])
        for rise in question.rule.harm.rises:
            text = f"({self.put(hit(question, Verdict.BROKEN, rise.past)[0])} if s >= {rise.past!r} else {text})"
        return text


class _Maker:
    """Makes the hits of one question; its function is written when the question first fails: most never do.

    The function then stands in its place.
    """

    def __init__(self, compiler: _Compiler, question: Question, variables: Sequence[str], name: str) -> None:
        self.compiler, self.question, self.variables, self.name = compiler, question, variables, name

    def __call__(self, *values: Value) -> Hit:
        with self.compiler.writing:
            made = self.compiler.maker(self.question, self.variables)
            self.compiler.space[self.name] = made
        return made(*values)
