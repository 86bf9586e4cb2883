"""Lines that ask a question in the compiled reading, and the functions that make the hits of what is not kept."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from threading import Lock

from audit.answers import hit
from audit.condition_text import NO, YES, ConditionWriter, Text, both, either, opposite
from audit.folding import Folded
from audit.generated import Space
from audit.judged import Hit
from audit.nouns.quantity import Value
from audit.nouns.rule import Verdict
from audit.sheet import Question


class Makers:
    """Makes the hits of one sheet's questions.

    Args:
        folded: the sheet.
        variables: local variable of each input and fact.
        writer: writes conditions over the variables.
        space: of the functions.
    """

    def __init__(self, folded: Folded, variables: Mapping[str, str], writer: ConditionWriter, space: Space) -> None:
        self.folded, self.variables, self.writer, self.space = folded, variables, writer, space
        self.writing = Lock()  # functions are written one at a time: they share one space of names

    def line(self, question: Question, tester: ConditionWriter) -> str:
        """A line that appends the hit of a question that is asked and not kept; ``tester`` writes what is tested."""
        given, hold = texts_of(question, self.writer)
        text = f"{given.true} {given.false} {hold.true} {hold.false} {hold.share}"
        variables = self.locals_of(self.folded.behind(question))
        used = [variable for variable in variables if re.search(rf"\b{variable}\b", text)]
        maker = _Maker(self, question, used)
        given, hold = texts_of(question, tester)
        return f"if {opposite(either([given.false, hold.true]))}: h.append({maker.name}({', '.join(used)}))"

    def locals_of(self, names: Iterable[str]) -> list[str]:
        """The local variables of some quantities."""
        found = []
        for name in names:
            quantity = self.folded.sheet.names.get(name)
            sides = ("l", "r") if quantity is not None and quantity.sided else ("",)
            found += [self.variables[name] + side for side in sides]
        return found

    def make(self, question: Question, variables: Sequence[str]) -> Callable[..., Hit]:
        """A function that makes the hit of a question that is not kept, from the variables it looks at."""
        given, hold = texts_of(question, self.writer)
        wrong = both([given.true, hold.false])
        lines = [f"def maker({', '.join(variables)}):  # {question.rule.id}"]
        if wrong != NO:
            lines += [
                f"if {wrong}:",
                f"    s = {hold.share}",
                f"    return ({self.rank(question)}, -s, {question.rule.id!r}, {question.on!r})",
            ]
        lines.append(f"return {self.space.put(hit(question, Verdict.UNKNOWN, 0.0))}")
        made: Callable[..., Hit] = self.space.run("\n    ".join(lines), "maker")
        return made

    def rank(self, question: Question) -> str:
        """Rank of a broken rule: a constant, or a look-up by the margin where the probability rises with it."""
        text = self.space.put(hit(question, Verdict.BROKEN, 0.0)[0])
        for rise in question.rule.harm.rises:
            higher = self.space.put(hit(question, Verdict.BROKEN, rise.past)[0])
            text = f"({higher} if s >= {rise.past!r} else {text})"
        return text


class _Maker:
    """Makes the hits of one question; its function is written when the question first fails: most never do.

    The function then stands in its place.
    """

    def __init__(self, makers: Makers, question: Question, variables: Sequence[str]) -> None:
        self.makers, self.question, self.variables = makers, question, variables
        self.name = makers.space.put(self, changes=True)

    def __call__(self, *values: Value) -> Hit:
        with self.makers.writing:
            made = self.makers.make(self.question, self.variables)
            self.makers.space.change(self.name, made)
        return made(*values)


def texts_of(question: Question, writer: ConditionWriter) -> tuple[Text, Text]:
    """A question's condition for being asked and what must hold, as expressions."""
    given = Text(YES, NO) if question.given is None else writer.write(question.given)
    return given, writer.write(question.hold)
