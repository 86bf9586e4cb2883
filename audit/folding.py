"""A check sheet with all that does not depend on the setup worked out, and what the rest depends on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from audit.answers import Written, names_of
from audit.facts import argument_value, work_out
from audit.nouns.fact import Computation, Constant, Ref
from audit.nouns.quantity import Form, Value
from audit.sheet import Question, Sheet


class Folded:
    """What is left of a sheet for setups that give some inputs.

    Args:
        sheet: of the card and crop.
        known: values that hold for every setup, such as the crop.
        inputs: the quantities that a setup may give.

    Attributes:
        constants: values that do not depend on the setup, those worked out from the cards included.
        left: the computations that do, by name, with their constant arguments by place.
    """

    def __init__(self, sheet: Sheet, known: Mapping[str, Value], inputs: Mapping[str, Written | None]) -> None:
        self.sheet, self.inputs = sheet, inputs
        self.constants: dict[str, Value] = {**sheet.constants, **known}
        self.left = self.fold()

    def fold(self) -> dict[str, tuple[Computation, dict[int, Value]]]:
        """Works out what is constant; returns what is left with its constant arguments by place."""
        left: dict[str, tuple[Computation, dict[int, Value]]] = {}
        for computation in self.sheet.computations:
            fixed: dict[int, Value] = {}
            for place, argument in enumerate(computation.args):
                if isinstance(argument, Constant) or argument.name in self.constants:
                    fixed[place] = argument_value(argument, self.constants)
                elif argument.name not in self.inputs and argument.name not in left:
                    fixed[place] = None  # no setup of this machine can give it
            if len(fixed) == len(computation.args) or (computation.needs_all and None in fixed.values()):
                arguments = [fixed.get(place) for place in range(len(computation.args))]
                self.constants[computation.name] = work_out(computation, arguments)[0]
            else:
                left[computation.name] = (computation, fixed)
        return left

    def is_number(self, name: str) -> bool:
        """Whether a quantity is a number, or a time as one: where it is not known its variable holds ``NAN``."""
        quantity = self.sheet.names.get(name)
        return quantity is None or quantity.form in (Form.NUMBER, Form.TIME)

    def behind(self, question: Question) -> dict[str, None]:
        """Every quantity that a question depends on and that the setup decides."""
        return self.behind_of(names_of(question))

    def behind_of(self, names: Iterable[str]) -> dict[str, None]:
        """Every quantity that some depend on, themselves included, and that the setup decides."""
        found: dict[str, None] = {}

        def visit(name: str) -> None:
            if name in found or name in self.constants:
                return
            found[name] = None
            for argument in self.left[name][0].args if name in self.left else ():
                if isinstance(argument, Ref):
                    visit(argument.name)

        for name in names:
            visit(name)
        return found
