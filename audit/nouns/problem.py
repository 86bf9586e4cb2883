"""Bad input, said so that its writer can mend it: where it is, what is wrong, what to do."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where something stands: a file with line and column (from 1, 0 unknown), or a path inside a setup.

    ``source`` is a file's path, or the name of an input; ``path`` the keys that lead to the value, joined by '/'.
    """

    source: str = ""
    line: int = 0
    column: int = 0
    path: str = ""

    def __str__(self) -> str:
        spot = self.source
        if self.line and spot:
            spot += f":{self.line}" + (f":{self.column}" if self.column else "")
        elif self.line:
            spot = f"line {self.line}" + (f", column {self.column}" if self.column else "")
        if self.path:
            spot = f"{spot}: {self.path}" if spot else self.path
        return spot or "input"


NOWHERE = Place()


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong with an input and what to do about it."""

    place: Place
    message: str
    advice: str = ""

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" + (f" {self.advice}" if self.advice else "")


class BadInput(ValueError):
    """An input that was refused, with every problem found in it, in order of place."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = sorted(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))
