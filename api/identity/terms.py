"""What an owner may set for the organisation: terms for a start, and what a broken rule does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isfinite

from audit.nearest import did_you_mean
from audit.nouns.clearance import Effect, Terms
from audit.nouns.rule import Rule

MOST_HOURS = 1000.0
MOST_DAYS = 366.0
MOST_VALID = 168.0
"""A certificate is carried where nobody can call it back, so it must run out within a week."""


class BadTerms(Exception):
    """Terms that can't be set; ``problems`` says everything that is wrong."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__(" ".join(problems))
        self.problems = problems


def check_terms(terms: Terms, effects: Mapping[str, Effect], rules: Mapping[str, Rule]) -> None:
    """Raises BadTerms unless the terms are sensible and every effect is of a rule that may have it.

    Args:
        rules: of the rulebook in force, by id.
    """
    problems = [*_of_terms(terms), *_of_effects(effects, rules)]
    if problems:
        raise BadTerms(problems)


def _of_terms(terms: Terms) -> Iterator[str]:
    for name, value, most, unit in (
        ("most_hours", terms.most_hours, MOST_HOURS, "h"),
        ("most_days", terms.most_days, MOST_DAYS, "days"),
        ("valid_for", terms.valid_for, MOST_VALID, "h"),
    ):
        if not isfinite(value) or not 0 < value <= most:
            yield f"{name} must lie above 0 and be at most {most:g} {unit}."


def _of_effects(effects: Mapping[str, Effect], rules: Mapping[str, Rule]) -> Iterator[str]:
    for id, effect in effects.items():
        rule = rules.get(id)
        if rule is None:
            yield f"no rule is called '{id[:60]}'. {did_you_mean(id, rules)}".strip()
        elif rule.harm.people and effect is not Effect.HOLDS:
            yield f"'{id}' is about danger to people, so it always holds a start."
