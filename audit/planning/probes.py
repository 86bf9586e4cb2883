"""Questions as fast yes-or-no tests of a few inputs, so that many changes to one setup can be tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, cast

from audit.answers import names_of
from audit.condition_text import FUNCTIONS, NO, YES, ConditionWriter, Text, both, either, opposite
from audit.conditions import quantities
from audit.facts import work_out
from audit.nouns.fact import Computation, Constant, Ref
from audit.nouns.quantity import Quantity, Sided, Value
from audit.nouns.rule import All, Compare, Condition, Not
from audit.sheet import Question, Sheet

_MOST_REMEMBERED = 4096


class Probe(dict[Any, bool]):
    """Whether a question holds, or is not asked, by the values of its inputs; answers are remembered.

    Attributes:
        inputs: settings, readings, events, job and builds that the question depends on, through facts too.
        needed: inputs without which the question, once asked, can't hold.
        optional: inputs that only enter formulas that do without them.
        deciding: inputs that decide whether it is asked.
        key: what is looked up is the one input's value, or the tuple of all.
    """

    def __init__(
        self, question: Question, inputs: tuple[str, ...], holds: Callable[..., bool], asked: Callable[..., bool],
        broken: Callable[..., bool], needed: frozenset[str], deciding: tuple[str, ...], optional: frozenset[str],
    ) -> None:  # fmt: skip
        super().__init__()
        self.needed, self.deciding, self.optional = needed, deciding, optional
        self.question, self.inputs = question, inputs
        self.holds, self.asked, self.broken = holds, asked, broken

    def __missing__(self, values: Any) -> bool:
        found = self.holds(*values) if len(self.inputs) != 1 else self.holds(values)
        if len(self) >= _MOST_REMEMBERED:
            self.clear()
        self[values] = found
        return found

    def key(self, values: Mapping[str, Value | Sided]) -> Any:
        """The key of a setup's values."""
        if len(self.inputs) == 1:
            return values[self.inputs[0]]
        return tuple([values[name] for name in self.inputs])

    def suits(self, values: Mapping[str, Value | Sided]) -> bool:
        """Whether the question holds, or is not asked, by a setup's values."""
        return self[self.key(values)]

    def is_broken(self, values: Mapping[str, Value | Sided]) -> bool:
        """Whether the question is broken, not only unknown."""
        return self.broken(*[values[name] for name in self.inputs])

    def is_asked(self, values: Mapping[str, Value | Sided]) -> bool:
        """Whether the question is asked of these values, or may be."""
        return self.asked(*[values[name] for name in self.inputs])


class Probes:
    """Makes the probes of a sheet's questions."""

    def __init__(self, sheet: Sheet, fixed: Mapping[str, Value]) -> None:
        self.sheet = sheet
        self.constants: dict[str, Value] = {**sheet.constants, **fixed}
        for computation in sheet.computations:
            if all(self.settled(argument) for argument in computation.args):
                arguments = [self.constant(argument) for argument in computation.args]
                self.constants[computation.name] = work_out(computation, arguments)[0]

    def settled(self, argument: Constant | Ref) -> bool:
        return isinstance(argument, Constant) or argument.name in self.constants

    def constant(self, argument: Constant | Ref) -> Value:
        if isinstance(argument, Constant):
            return argument.value
        value = self.constants[argument.name]
        return value * argument.factor if argument.factor != 1.0 and isinstance(value, float) else value

    def behind(self, names: list[str]) -> tuple[list[str], list[Computation]]:
        """Inputs behind some quantities, and the computations that lead to them, in order of need."""
        inputs: dict[str, None] = {}
        needed: dict[str, Computation] = {}

        def visit(name: str) -> None:
            if name in self.constants or name in needed or name in inputs:
                return
            computation = self.sheet.by_name.get(name)
            if computation is None:
                inputs[name] = None
                return
            for argument in computation.args:
                if isinstance(argument, Ref):
                    visit(argument.name)
            needed[name] = computation

        for name in names:
            visit(name)
        return list(inputs), list(needed.values())

    def probe(self, question: Question) -> Probe:
        """The probe of a question."""
        inputs, computations = self.behind(names_of(question))
        variables = {name: f"v{place}" for place, name in enumerate((*inputs, *(c.name for c in computations)))}
        writer = ConditionWriter(self.sheet.names, self.constants, variables)
        given = Text(YES, NO) if question.given is None else writer.write(question.given)
        hold = writer.write(question.hold)
        space: dict[str, object] = dict(FUNCTIONS)
        parameters = ", ".join(variables[name] for name in inputs)
        work = [f" {line}" for line in self.lines(inputs, computations, variables, space)]
        answers = {
            "holds": either([given.false, hold.true]),
            "asked": opposite(given.false),
            "broken": both([given.true, hold.false]),
        }
        text: list[str] = []
        for name, answer in answers.items():
            text += [f"def {name}({parameters}):", *work, f" return {answer}"]
        # the text is made from the rule's structure; of what a file says only numbers and words enter, as literals
        exec(compile("\n".join(text), f"<{question.rule.id} {question.on}>", "exec"), space)
        holds, asked, broken = (cast(Callable[..., bool], space[name]) for name in answers)
        deciding = () if question.given is None else tuple(self.behind(quantities(question.given))[0])
        needed = frozenset(self.needed(question.hold))
        optional = frozenset(inputs) - {name for other in names_of(question) for name in self.needed_for(other)}
        return Probe(question, tuple(inputs), holds, asked, broken, needed, deciding, optional)

    def needed(self, condition: Condition) -> Iterator[str]:
        """Inputs without which a condition can't hold."""
        if isinstance(condition, All):
            for part in condition.parts:
                yield from self.needed(part)
        elif isinstance(condition, Not) and isinstance(condition.part, Compare):
            yield from self.needed(condition.part)
        elif isinstance(condition, Compare):
            for name in quantities(condition):
                yield from self.needed_for(name)

    def needed_for(self, name: str) -> Iterator[str]:
        """Inputs without which a quantity is unknown."""
        if name in self.constants:
            return
        computation = self.sheet.by_name.get(name)
        if computation is None:
            yield name
        elif computation.needs_all:
            for argument in computation.args:
                if isinstance(argument, Ref):
                    yield from self.needed_for(argument.name)

    def values_of(self, names: list[str]) -> tuple[tuple[str, ...], Callable[..., tuple[Value, ...]]]:
        """A function from inputs to the values of some quantities, the left one of a sided quantity."""
        inputs, computations = self.behind(names)
        variables = {name: f"v{place}" for place, name in enumerate((*inputs, *(c.name for c in computations)))}
        space: dict[str, object] = {}
        shown = []
        for name in names:
            if name in self.constants:
                space[f"k{len(space)}"] = self.constants[name]
                shown.append(f"k{len(space) - 1}")
            else:
                shown.append(variables[name] + ("l" if self.is_sided(name) else ""))
        text = [f"def values({', '.join(variables[name] for name in inputs)}):"]
        text += [f" {line}" for line in self.lines(inputs, computations, variables, space)]
        text.append(f" return ({', '.join(shown)},)")
        exec(compile("\n".join(text), f"<values of {names[0]}>", "exec"), space)
        function: Any = space["values"]
        return tuple(inputs), function

    def lines(
        self, inputs: list[str], computations: list[Computation], variables: Mapping[str, str], space: dict[str, object]
    ) -> list[str]:
        found = []
        for name in inputs:
            if self.is_sided(name):
                variable = variables[name]
                found.append(f"{variable}l, {variable}r = {variable} or (None, None)")
        for computation in computations:
            free = [a.name for a in computation.args if isinstance(a, Ref) and a.name not in self.constants]
            name = f"f{len(space)}"
            space[name] = self.function(computation)
            found.append(f"{variables[computation.name]} = {name}({', '.join(variables[other] for other in free)})")
        return found

    def is_sided(self, name: str) -> bool:
        quantity: Quantity | None = self.sheet.names.get(name)
        return quantity is not None and quantity.sided

    def function(self, computation: Computation) -> Callable[..., Value]:
        """A computation as a function of those arguments that vary; a sided one counts if both sides agree."""
        arguments: list[Value] = [None] * len(computation.args)
        free: list[tuple[int, float]] = []
        for place, argument in enumerate(computation.args):
            if isinstance(argument, Ref) and argument.name not in self.constants:
                free.append((place, argument.factor))
            else:
                arguments[place] = self.constant(argument)

        def worked(*given: Value | Sided) -> Value:
            filled = list(arguments)
            for (place, factor), value in zip(free, given, strict=True):
                if isinstance(value, tuple):
                    value = value[0] if value[0] == value[1] else None
                filled[place] = value * factor if factor != 1.0 and isinstance(value, float) else value
            return work_out(computation, filled)[0]

        return worked
