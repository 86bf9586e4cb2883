"""The functions that the compiled reading generates, and the names and objects that they use."""

from __future__ import annotations

import re
from typing import Any

from audit.condition_text import FUNCTIONS

NAME = re.compile(r"\b[A-Za-z_]\w*")


class Space:
    """Functions that are made from generated text. The text is ours: files only enter it as literals.

    Args:
        title: in their tracebacks.
    """

    def __init__(self, title: str) -> None:
        self.title = title
        self.objects: dict[str, object] = dict(FUNCTIONS)
        self.changing: set[str] = set()

    def put(self, value: object, changes: bool = False) -> str:
        """Keeps an object; returns its name in the text. One that changes may be replaced later by ``change``."""
        name = f"c{len(self.objects)}"
        self.objects[name] = value
        if changes:
            self.changing.add(name)
        return name

    def change(self, name: str, value: object) -> None:
        """Puts another object in the place of one that changes."""
        self.objects[name] = value

    def run(self, source: str, name: str) -> Any:
        """The function of that name which a text defines.

        What it uses is bound to it, which is quicker than to look it up at every call; but for what changes.
        """
        names = dict.fromkeys(NAME.findall(source))
        bound = [name for name in names if name in self.objects and name not in self.changing]
        body = source.replace("\n", "\n    ")
        text = f"def bind({', '.join(bound)}):\n    {body}\n    return {name}"
        exec(compile(text, f"<{self.title}>", "exec"), self.objects)
        bind: Any = self.objects.pop("bind")
        return bind(*(self.objects[name] for name in bound))
