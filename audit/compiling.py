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

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from operator import getitem, itemgetter

from audit.answers import Answers, Bare, Group, Kept, Numbers, Unasked, Written, names_of
from audit.condition_text import NO, YES, ConditionWriter
from audit.conditions import quantities
from audit.fact_text import FactWriter
from audit.folding import Folded
from audit.generated import NAME, Space
from audit.judged import Hit
from audit.makers import Makers, texts_of
from audit.nouns.quantity import Form, Value
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
        check: takes the values of the inputs as written, in their order; returns the hits, how many inputs are not
            given and how many questions are not asked. Raises what the inputs' tables raise for a bad value.
        source: the generated text of ``check``, to be looked at.
        folded: says what depends on what.
    """

    sheet: Sheet
    constants: Mapping[str, Value]
    inputs: Mapping[str, Written | None]
    check: Callable[[list[object]], tuple[list[Hit], int, int]]
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
        self.tester = ConditionWriter(sheet.names, self.constants, self.variables, self.edge)
        self.edges: dict[str, tuple[str, str]] = {}  # of windows that words decide, by text: fact and variable
        self.by_words: set[str] = set()
        self.space = Space(f"{sheet.card.id} {sheet.crop.id}")
        self.put, self.run = self.space.put, self.space.run
        self.makers = Makers(self, self.variables, self.writer, self.space)
        self.numbers = [name for name, table in inputs.items() if isinstance(table, Bare)]
        as_written = {name: f"w{place}" for place, name in enumerate(inputs)}
        self.written = as_written | {name: self.variables[name] for name in self.numbers}
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
        given, hold = texts_of(question, self.writer)
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
        words = {name for name in self.alone if not self.is_number(name) and not self.sheet.names[name].sided}
        facts = [name for name in self.left if name in self.needed]
        stepped = stepped_of(self, words, facts, self.questions)
        answered = {id(question) for part in stepped for question in part.questions}
        self.by_words = {name for part in stepped for name in part.facts}
        times = [name for name in self.alone if self.is_plain_time(name)]
        by_time = [q for q in self.questions if (behind := self.behind(q).keys()) and behind <= set(times)]
        asked = [
            self.makers.line(question, self.tester)  # before the parts, which work out the edges that they look at
            for question in self.questions
            if id(question) not in answered and question not in by_time
        ]
        lines = [
            f"[{', '.join(self.written.values())}] = written",
            "h = []",
            "k = 0",
            *self.unasked_by_words([name for name in times if name in self.needed]),
            *self.look_ups(),
            *(line for some in self.parted(times) for line in self.time_lines(some, by_time)),
            *(line for part in stepped for line in self.stepped_lines(part)),
            *(line for name in self.numbers for line in self.number_lines(name)),
            *(self.facts.line(name) for name in facts if name not in self.by_words),
            *asked,
            f"return h, k, {' + '.join(['u', *self.unasked_terms(self.numbers)])}",
        ]
        source = "\n    ".join(["def check(written):", "a, b = type, float", *self.first_places(lines), *lines])
        return Reading(self.sheet, self.constants, self.inputs, self.run(source, "check"), source, self)

    def first_places(self, lines: Sequence[str]) -> list[str]:
        """A line that is never run, by which the variables that are used most get places below 256.

        Code that reaches further ones has a prefix before each of them, which is read and run at every use.
        """
        own = {*self.variables.values(), *self.written.values(), *(variable for _, variable in self.edges.values())}
        uses = Counter(name for line in lines for name in NAME.findall(line) if name in own)
        return [f"if 0: {' = '.join(name for name, _ in uses.most_common())} = None"] if uses else []

    def stepped_lines(self, part: Stepped) -> list[str]:
        """Lines that look up what words decide: facts, edges of windows, and the hits of the questions about them."""
        given = ", ".join(self.variables[name] for name in part.words)
        edges = {variable: text for text, (fact, variable) in self.edges.items() if fact in part.facts}
        shown = "".join(f"{variable}, " for variable in (*(self.variables[name] for name in part.shown), *edges))
        lines = [
            f"def part({given}):",
            "h = []",
            *map(self.facts.line, part.facts),
            *(f"{variable} = {text}" for variable, text in edges.items()),
            *(self.makers.line(question, self.writer) for question in part.questions),
            f"return {shown}h,",
        ]
        table = self.put(ByWords(self.run("\n    ".join(lines), "part")))
        return [f"[{shown}e] = {table}[{given},]", "if e: h += e"]

    def edge(self, fact: str, text: str) -> str:
        """What stands for the edge of a window: where words decide it, a variable that is looked up with them."""
        return self.edges.setdefault(text, (fact, f"e{len(self.edges)}"))[1] if fact in self.by_words else text

    def unasked_by_words(self, times: Sequence[str]) -> list[str]:
        """Lines that begin the count of what is not asked: by look-up, for all but conditions on numbers or times."""
        by_word: list[tuple[Question, list[str]]] = []
        for question in self.conditional:
            assert question.given is not None
            if not self.compares(question, self.numbers) and not self.compares(question, times):
                behind = self.behind(replace(question, hold=question.given))
                by_word.append((question, [name for name in self.inputs if name in behind]))
        names = [name for name in self.inputs if any(name in behind for _, behind in by_word)]
        count = Unasked(by_word, names, self.inputs, self.sheet, self.constants)
        return [f"u = {self.skipped} + {self.put(count)}[{self.picked(names)}]"]

    def unasked_terms(self, names: Sequence[str]) -> list[str]:
        """What is added for the questions whose condition for being asked compares some numbers alone."""
        found = [q.given for q in self.conditional if q.given is not None and self.compares(q, names)]
        return [f"({self.writer.write(given).false})" for given in found]

    def compares(self, question: Question, names: Sequence[str]) -> bool:
        """Whether the condition of a question compares some numbers, with each other or what is constant."""
        assert question.given is not None
        compared = [name for name in quantities(question.given) if name not in self.constants]
        return bool(compared) and all(name in names for name in compared)

    def is_plain_time(self, name: str) -> bool:
        """Whether an input is a time that is looked up without any question about it alone."""
        quantity = self.sheet.names.get(name)
        looked_up = self.inputs[name] is not None and quantity is not None and quantity.form is Form.TIME
        return looked_up and not self.alone[name]

    def look_ups(self) -> list[str]:
        """Lines that read what is looked up, but for times: several of few values at once, others by themselves."""
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
            elif self.alone[name]:
                many.append(name)
            elif quantity.form is Form.NUMBER:
                plain.append(name)
        groups = [[name] for name in many] + [few[first : first + _GROUPED] for first in range(0, len(few), _GROUPED)]
        return [
            *([f"k += {self.picked(right)}.count(None)"] if right else []),
            *self.plain_lines(plain),
            *(line for names in groups for line in self.group_lines(names)),
        ]

    def plain_lines(self, names: list[str]) -> list[str]:
        """Lines that look up inputs about which nothing is asked alone; those that nothing needs must be right too."""
        if not names:
            return []
        names = sorted(names, key=lambda name: name in self.needed)
        taken = [name for name in names if name in self.needed]
        given = ", ".join(["*_", *(self.variables[name] for name in taken)])
        return [
            f"p = {self.picked(names)}",
            "k += p.count(None)",
            f"[{given}] = map({self.put(getitem)}, {self.put([self.comparing(name) for name in names])}, p)",
            *self.sides(taken),
        ]

    def parted(self, times: Sequence[str]) -> list[list[str]]:
        """Times in groups; those that a question compares, or its condition for being asked, are in the same."""
        places = {name: place for place, name in enumerate(times)}
        first = list(range(len(times)))  # of those that belong together, by place
        for compared in (
            *(self.behind(question) for question in self.questions),
            *(quantities(question.given) for question in self.conditional if question.given is not None),
        ):
            together = {first[places[name]] for name in compared if name in places}
            first = [min(together) if place in together else place for place in first]
        found: list[list[str]] = []
        for _, group in groupby(sorted(zip(first, times, strict=True)), itemgetter(0)):
            if not found or len(found[-1]) >= _GROUPED:
                found.append([])
            found[-1] += [name for _, name in group]
        return found

    def time_lines(self, names: list[str], by_time: Sequence[Question]) -> list[str]:
        """Lines that look up times about which nothing is asked alone, and ask what compares them with each other.

        Most setups tell little of what was done: what follows from none of some times is known beforehand.
        """
        questions = [question for question in by_time if not self.behind(question).keys().isdisjoint(names)]
        names = sorted(names, key=lambda name: name not in self.needed)
        taken = [name for name in names if name in self.needed]
        tables = [self.comparing(name) for name in names]
        given = "".join(f"{self.variables[name]}, " for name in taken)
        absent = self.put(tuple(table[None] for table in tables[: len(taken)]))
        asked = [
            *self.sides(taken),
            *(self.makers.line(question, self.writer) for question in questions),
            *(f"u += {term}" for term in self.unasked_terms(taken)),
        ]
        of_none = ["def of_none():", "h, u = [], 0", f"[{given}] = {absent}", *asked, "return h, u"]
        hits, unasked = self.run("\n    ".join(of_none), "of_none")()
        return [
            f"p = {self.picked(names)}",
            f"if p == {self.put((None,) * len(names))}:",
            f"    [{given}] = {absent}",
            *(f"    {line}" for line in self.sides(taken)),
            f"    k += {len(names)}; u += {unasked}; h += {self.put(hits)}",
            "else:",
            f"    [{given}*_] = map({self.put(getitem)}, {self.put(tables)}, p)",
            "    k += p.count(None)",
            *(f"    {line}" for line in asked),
        ]

    def group_lines(self, names: list[str]) -> list[str]:
        """Lines that look some inputs up: the values that others need, and the hits."""
        parts = [self.answers(name) for name in names]
        wanted = [place for place, name in enumerate(names) if name in self.needed]
        alike = tuple(map(id, parts)), tuple(wanted)
        table = self.kept.groups.setdefault(alike, Group(parts, wanted))
        taken = [names[place] for place in wanted]
        given = ", ".join([*(self.variables[name] for name in taken), "p", "e"])
        return [
            f"[{given}] = {self.put(table)}[{self.picked(names)}]",
            "k += p",
            "if e: h += e",
            *self.sides(taken),
        ]

    def picked(self, names: Sequence[str]) -> str:
        """Some of the values as written, as a tuple."""
        return f"({''.join(f'{self.written[name]}, ' for name in names)})"

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

    def sides(self, names: Iterable[str]) -> list[str]:
        """Lines that take the values of sided quantities apart."""
        variables = [self.variables[name] for name in names if (found := self.sheet.names.get(name)) and found.sided]
        return [f"{variable}l, {variable}r = {variable}" for variable in variables]

    def number_lines(self, name: str) -> list[str]:
        """Makes a number canonical, a bare one by its unit, any other by its table; counts one that is not given."""
        table, variable = self.inputs[name], self.variables[name]
        assert isinstance(table, Bare)
        read = f"k += {variable} is None; {variable} = {self.put(self.comparing(name))}[{variable}]"
        if table.factor == 1.0 and table.offset == 0.0:
            return [f"if a({variable}) is not b: {read}"]  # type and float
        offset = f" + {table.offset!r}" if table.offset else ""
        canonical = f"{variable} = {variable} * {table.factor!r}{offset}"
        return [f"if a({variable}) is b: {canonical}", f"else: {read}"]

    def comparing(self, name: str) -> Written:
        """The table of an input whose values are compared."""
        table = self.inputs[name]
        assert table is not None
        if not self.is_number(name):
            return table
        return self.kept.numbers.setdefault(id(table), Numbers(table))
