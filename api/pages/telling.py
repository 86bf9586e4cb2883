"""What the JSON doors answer, in a reader's language and units."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import islice
from typing import Any

from fastapi import Request
from starlette.concurrency import run_in_threadpool

from api.drawings.svg import NO_BREAK
from api.pages.languages import NUMERAL, USUAL, Language, languages
from api.pages.phrases import composed
from api.pages.units import UNITS, measured
from api.pages.view import View, view_of
from api.wire import Plain
from audit.nouns.problem import Problem

NAMES = frozenset(
    {"id", "rule", "quantity", "name", "procedure", "card", "pack", "key", "digest", "unit", "file", "crop",
     "header_kind", "clearance", "verdict", "level", "why", "eppo", "certificate", "short", "at", "until", "setup"}
)  # fmt: skip
"""Keys whose texts are names or words for programs, the same in every language, unless a sentence stands there."""
FOR_PROGRAMS = frozenset(
    {"when", "level", "verdict", "clearance", "role", "form", "kind", "state", "standing", "names", "source"}
)
"""Keys under which words stand that templates compare, and names in languages or of publications."""
COMPOSED = frozenset(
    {"wanted", "shown", "text", "hold", "given", "each", "risk", "right", "says", "opens", "why_unknown",
     "reason", "value"}
)  # fmt: skip
"""Keys whose texts the audit puts together from values, names and words of its own."""


@dataclass(frozen=True)
class Teller:
    """Tells texts in one language and system of units."""

    language: Language
    units: str
    _told: dict[tuple[str, bool], str] = field(default_factory=dict, repr=False)

    def plain(self, value: Any, key: str = "") -> Any:
        """Plain values with every text that is not a name told."""
        if key in FOR_PROGRAMS:
            return value
        if isinstance(value, dict):
            return {name: self.plain(one, name) for name, one in value.items()}
        if isinstance(value, list):
            return [self.plain(one, key) for one in value]
        if not isinstance(value, str) or (key in NAMES and " " not in value):
            return value
        return (self._begun(value) if key == "right" else None) or self.text(value, key in COMPOSED)

    def text(self, text: str, loose: bool = False) -> str:
        """One text.

        Args:
            loose: it is composed by the audit, so that also phrases of few words are recognised in it.
        """
        found = self._told.get((text, loose))
        if found is None:
            found = self._tell(text, loose)
            if len(self._told) >= MOST_KEPT:
                self._told.clear()
            self._told[text, loose] = found
        return found

    def series(self, text: str) -> str:
        """Texts one after the other with '; ' between, each told; one of them may hold '; ' itself."""
        parts, found = text.split("; "), []
        while parts:
            for end in range(1, len(parts) + 1):
                first = "; ".join(parts[:end])
                if (said := self.text(first)) != first:
                    break
            else:  # nobody knows what it begins with, as a name
                said, end = parts[0], 1
            found.append(said)
            parts = parts[end:]
        return "; ".join(found)

    def refusal(self, text: str) -> str:
        """Why something was refused: sentences one after the other, before the first maybe where it is.

        A sentence that nobody knows stays as it is, as does a name, and a text of more sentences than a refusal has:
        somebody's own words may stand in it, and must not take up the server's time.
        """
        if (said := self.text(text)) != text or self.language.tag == USUAL:
            return said
        ends = islice(_PLACE_ENDS.finditer(text[:MOST_OF_A_PLACE]), MOST_OF_PLACES)
        begins = (0, *(found.end() for found in ends))
        told = [(*self._sentences(text[at:]), at) for at in begins]
        _, said, at = min(told, key=lambda one: one[0])
        return text if said == text[at:] else self.place(text[:at]) + said

    def place(self, place: str) -> str:
        """Where something stands, with the words for line and column told."""
        for written in ("line", "column"):
            place = re.sub(rf"\b{written} (?=\d)", f"{self.language.say(written)} ", place)
        return place

    def problems(self, problems: Iterable[Problem]) -> list[Problem]:
        """Problems of an input with what is wrong and what to do told; where it is stays."""
        return [replace(one, message=self.refusal(one.message), advice=self.refusal(one.advice)) for one in problems]

    def problem(self, content: Mapping[str, Any]) -> dict[str, Any]:
        """A problem document (RFC 9457) with its title and detail told, and what is wrong with each place."""
        found = dict(content)
        for name in ("title", "detail"):
            found[name] = self.refusal(found[name])
        if "problems" in found:
            told = ("message", "advice")
            found["problems"] = [
                {name: self.refusal(text) if name in told else text for name, text in one.items()}
                for one in found["problems"][:MOST_TOLD]
            ] + found["problems"][MOST_TOLD:]
        return found

    @property
    def as_composed(self) -> bool:
        """Whether everything is told as the audit composes it, so that nothing has to be looked at."""
        return self.language.tag == USUAL and self.units == UNITS[0]

    def drawn(self, text: str) -> str:
        """A text of a drawing; one that stays as it is keeps its blanks at which no line is broken."""
        if self.as_composed:
            return text
        plain = text.replace(NO_BREAK, " ")
        said = self.text(plain)
        return self.measured(text if said == plain else said)

    def measured(self, text: str) -> str:
        """A text with its measures in the reader's units and its numbers with the language's decimal sign."""
        return measured(text, self.units, self.language.decimal)

    def figure(self, text: str) -> str:
        """A number of ours, or a measure, as the reader writes it."""
        return self.language.numeral(text) if NUMERAL.fullmatch(text) else self.measured(text)

    def _tell(self, text: str, loose: bool) -> str:
        said = self.language.say(text)
        if said != text:
            return self.measured(said) if loose else said
        if self.language.tag != USUAL:
            tell = (lambda part: self.text(part, True)) if loose else self.refusal
            found = composed(text, self.language, tell, self.figure, loose)
            if found is not None:
                return found
        return self.measured(text) if loose else text

    def _sentences(self, text: str) -> tuple[int, str]:
        """Sentences told, as few at a time as can be, and how many of them nobody knows.

        One may hold '. ' itself, and the last may lack its full stop.
        """
        parts, found, unknown = text.split(". "), [], 0
        if len(parts) > MOST_SENTENCES:
            return len(parts), text
        while parts:
            for end in range(1, min(len(parts), MOST_OF_A_SENTENCE) + 1):
                first = ". ".join(parts[:end]) + ("." if end < len(parts) else "")
                if (said := self._sentence(first)) != first:
                    break
            else:
                said, end, unknown = parts[0] + ("." if len(parts) > 1 else ""), 1, unknown + 1
            found.append(said)
            parts = parts[end:]
        return unknown, " ".join(found)

    def _sentence(self, text: str) -> str:
        """A sentence told, whose phrase may be known with a full stop or without one."""
        if (said := self.text(text)) != text:
            return said
        other = text[:-1] if text.endswith(".") else f"{text}."
        if (said := self.text(other)) == other:
            return text
        return said.removesuffix(".") if len(other) > len(text) else f"{said}."

    def _begun(self, text: str) -> str | None:
        """What is right, where it begins with the meaning of a quantity, told as that and the rest; else None."""
        if self.language.tag == USUAL:
            return None
        words = text.split(" ")
        for end in range(len(words), 0, -1):
            meaning = " ".join(words[:end])
            said = self.language.say(meaning[:1].upper() + meaning[1:])
            if said.casefold() != meaning.casefold():
                return " ".join(filter(None, (said, self.text(" ".join(words[end:]), True))))
        return None


MOST_KEPT = 20_000
MOST_OF_A_PLACE, MOST_OF_PLACES = 400, 6
"""Characters before a refusal within which it may be said where it is, and how many parts that may have."""
MOST_SENTENCES, MOST_OF_A_SENTENCE = 16, 8
"""Sentences of a refusal, and what seems to be one but belongs to the same."""
MOST_TOLD = 200
"""Problems of one document that are told; whoever has more reads these first."""
_PLACE_ENDS = re.compile(r": ")


@lru_cache(maxsize=32)
def teller(tag: str, units: str) -> Teller:
    """The teller of a language and a system of units."""
    return Teller(languages()[tag], units)


def teller_of(view: View) -> Teller:
    """The teller for a reader."""
    return teller(view.language.tag, view.units)


def words_of(request: Request) -> tuple[str, str, Callable[[str], str]]:
    """Language and units that a request asks for, and what tells a text of a drawing in them."""
    view = view_of(request)
    return view.language.tag, view.units, teller_of(view).drawn


async def problem_for(request: Request, content: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The language that a request asks for, and a problem document (RFC 9457) in it; its type stays, for programs."""
    view = view_of(request)
    if view.language.tag == USUAL:
        return USUAL, content
    # others are answered meanwhile, however much was refused
    return view.language.tag, await run_in_threadpool(teller_of(view).problem, content)


def told(view: View, plain: Plain) -> Plain:
    """Plain values of a report, plan, rule or card as a reader wants them; keys and ids stay as they are."""
    tell = teller_of(view)
    if tell.as_composed:
        return plain
    found: Plain = tell.plain(plain)
    return found
