"""Every text that pages and the rulebook bring to a reader, for the catalogues of other languages."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.extract import extract_from_dir

from api.pages.event_words import EVENT_WORDS
from api.pages.phrases import LOOSE, OF_REFUSALS, REFUSALS, SURE, WORDS
from audit import drives, parts, physics
from audit.nouns.machine import MachineCard
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card
from audit.physics.formula import formula_of

FOLDER = Path(__file__).parent
_METHODS = [("templates/**.html", "jinja2"), ("**.py", "python")]
_SAID = {"say": None, "several": (1, 2)}


def of_pages() -> list[str | tuple[str, str]]:
    """Texts of templates and code, one that depends on a number with its plural, and the phrases; in order, once."""
    options = {"templates/**.html": {"trimmed": "true", "silent": "false"}}
    found: dict[str | tuple[str, str], None] = {}
    for _, _, text, _, _ in extract_from_dir(FOLDER, _METHODS, options, _SAID, comment_tags=()):
        if text:
            found[tuple(text[:2]) if isinstance(text, tuple) else text] = None  # type: ignore[index]
    return list(found | dict.fromkeys((*SURE, *LOOSE, *WORDS, *REFUSALS, *OF_REFUSALS, *EVENT_WORDS.values())))


def of_rulebook(rulebook: Rulebook) -> list[str]:
    """Texts of rules, procedures, cautions, cards and crops in that order, each once; names and sources stay."""
    parts: Iterable[str] = (
        *_rules(rulebook), *_procedures(rulebook), *rulebook.cautions.values(), *rulebook.vocabulary.looks.values(),
        *(text for card in rulebook.machines.values() for text in _card(card, rulebook)),
        *_crops(rulebook), *_formulas(),
    )  # fmt: skip
    return [text for text in dict.fromkeys(parts) if any(char.isalpha() for char in text)]


def _formulas() -> Iterator[str]:
    """Names of the formulas that facts are computed by."""
    folders = [(folder.__path__, folder.__name__) for folder in (physics, drives, parts)]
    names = [one.name for path, name in folders for one in pkgutil.iter_modules(path, f"{name}.")]
    for name in (*names, "audit.field", "audit.train"):
        for one in vars(importlib.import_module(name)).values():
            if hasattr(one, "__formula__"):
                yield formula_of(one).name


def _rules(rulebook: Rulebook) -> Iterator[str]:
    for rule in rulebook.rules.values():
        yield from (rule.title, rule.why, rule.harm.to, rule.harm.how, rule.basis.note)
        yield from (case.name for case in rule.cases)


def _procedures(rulebook: Rulebook) -> Iterator[str]:
    for procedure in rulebook.procedures.values():
        yield procedure.title
        yield from (text for step in procedure.steps for text in (step.do, step.trap))
        yield from (*procedure.tools, *procedure.parts)
        yield from (recheck.because for recheck in procedure.rechecks)


def _card(card: MachineCard, rulebook: Rulebook) -> Iterator[str]:
    yield from (card.title, card.manual, card.basis.note)
    yield from (station.title for station in card.stations)
    yield from (component.title for component in card.components())
    for build in card.builds:
        yield build.meaning
        yield from (text for choice in build.choices for text in choice)
    for quantity in on_card(card, rulebook.vocabulary).values():
        yield from (quantity.meaning, quantity.how)
        yield from (text for word in quantity.words for text in word)
    for carried in card.carried:
        yield carried.how
        if carried.move is not None:
            yield from (*carried.move.tools, *carried.move.parts)
    yield from (target.basis.note for _, _, target in card.targets)


def _crops(rulebook: Rulebook) -> Iterator[str]:
    for crop in rulebook.crops.values():
        yield from (crop.id, crop.name)
        yield from (target.basis.note for _, target in crop.targets)
        yield from (basis.note for _, _, basis in crop.measures)
