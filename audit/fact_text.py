"""Writes computed facts as lines of Python over local variables, for the compiled reading."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set

from audit.answers import Kept, Memo
from audit.condition_text import is_number
from audit.folding import Folded
from audit.inlining import inline
from audit.nouns.fact import Argument, Computation, Ref
from audit.nouns.quantity import NAN, Form, Value


class FactWriter:
    """Writes the facts that are left of a sheet.

    Args:
        folded: the sheet.
        variables: local variable of each input and fact.
        numbers: inputs whose variable holds a number before any fact is worked out.
        kept: memos that other readings use too.
        put: keeps an object for the generated function and returns its name there.
    """

    def __init__(
        self, folded: Folded, variables: Mapping[str, str], numbers: Set[str], kept: Kept, put: Callable[[object], str]
    ) -> None:
        self.folded, self.variables, self.numbers, self.kept, self.put = folded, variables, numbers, kept, put

    def line(self, name: str) -> str:
        """Works out one computation: in place, or by the memo of its formula."""
        computation, fixed = self.folded.left[name]
        variable = self.variables[name]
        texts = [self.argument_text(argument, fixed.get(place)) for place, argument in enumerate(computation.args)]
        if computation.needs_all and all(text is not None for text in texts):
            written = inline(computation.function, [text for text in texts if text is not None], self.put)
            if written is not None:
                return f"{variable} = {written}"
        free = [argument for place, argument in enumerate(computation.args) if place not in fixed]
        key = ", ".join(self.key_text(argument) for argument in free if isinstance(argument, Ref))
        return f"{variable} = {self.put(self.memo(computation, fixed))}[{key}]"

    def argument_text(self, argument: Argument, fixed: Value) -> str | None:
        """An argument as a literal or a variable that holds a number, where it is one."""
        if isinstance(fixed, float):
            return repr(fixed)
        if not isinstance(argument, Ref) or argument.factor != 1.0 or argument.name not in self.variables:
            return None
        quantity = self.folded.sheet.names.get(argument.name)
        number = argument.name in self.folded.left or argument.name in self.numbers
        return self.variables[argument.name] if number and (quantity is None or quantity.form is Form.NUMBER) else None

    def memo(self, computation: Computation, fixed: dict[int, Value]) -> Memo:
        """The memo of a computation; those with the same formula and the same constants share one."""
        factors = tuple(argument.factor if isinstance(argument, Ref) else 1.0 for argument in computation.args)
        unknown = NAN if self.folded.is_number(computation.name) else None
        key = (computation.function, tuple(fixed.items()), factors, computation.needs_all, unknown)
        found = self.kept.memos.get(key)
        if found is None:
            found = self.kept.memos[key] = Memo(computation, fixed, unknown)
        return found

    def key_text(self, argument: Ref) -> str:
        variable = self.variables[argument.name]
        quantity = self.folded.sheet.names.get(argument.name)
        if quantity is not None and quantity.sided:
            return f"({variable}l if {variable}l == {variable}r else {'NAN' if is_number(variable) else None})"
        return variable
