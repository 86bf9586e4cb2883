"""One question of a check sheet by the plain reading: its inputs, and its verdict on values of them."""

from __future__ import annotations

from collections.abc import Mapping

from audit.checking import Surroundings, judge
from audit.conditions import quantities
from audit.facts import argument_value, work_out
from audit.nouns.fact import Computation, Ref
from audit.nouns.quantity import Sided, Value
from audit.nouns.rule import Verdict
from audit.sheet import Question, Sheet

Filled = Mapping[str, Value | Sided]


class Asked:
    """A question with the computations that lead to it.

    Attributes:
        inputs: settings, readings, events, job and builds that it depends on, through facts too.
    """

    def __init__(self, sheet: Sheet, question: Question) -> None:
        self.sheet, self.question = sheet, question
        self.fixed: dict[str, Value | Sided] = {**sheet.constants, "job.crop": sheet.crop.id}
        inputs: dict[str, None] = {}
        needed: dict[str, Computation] = {}

        def visit(name: str) -> None:
            if name in self.fixed or name in needed or name in inputs:
                return
            computation = sheet.by_name.get(name)
            if computation is None:
                inputs[name] = None
                return
            for argument in computation.args:
                if isinstance(argument, Ref):
                    visit(argument.name)
            needed[name] = computation

        for part in (question.given, question.hold):
            for name in () if part is None else quantities(part):
                visit(name)
        self.inputs = tuple(inputs)
        self.computations = tuple(needed.values())
        self.known: dict[tuple[Value | Sided, ...], Verdict] = {}

    def verdict(self, row: tuple[Value | Sided, ...]) -> Verdict:
        """The verdict on values of the inputs, in their order."""
        found = self.known.get(row)
        if found is None:
            values = {**self.fixed, **dict(zip(self.inputs, row, strict=True))}
            for computation in self.computations:
                arguments = [argument_value(argument, values) for argument in computation.args]
                values[computation.name] = work_out(computation, arguments)[0]
            around = Surroundings(values, self.sheet.names, {})
            found = self.known[row] = judge(self.question.given, self.question.hold, around)[0]
        return found

    def on(self, values: Filled) -> Verdict:
        """The verdict on a setup's values, None or nothing for what is not known."""
        return self.verdict(tuple([values.get(name) for name in self.inputs]))


GOOD = (Verdict.KEPT, Verdict.NOT_ASKED)
