"""What terms an owner may set for a start."""

from __future__ import annotations

from math import isfinite

from audit.nouns.clearance import Terms

MOST_HOURS = 1000.0
MOST_DAYS = 366.0
MOST_VALID = 168.0
"""A certificate is carried where nobody can call it back, so it must run out within a week."""


class BadTerms(Exception):
    """Terms that can't be set; the text says everything that is wrong."""


def check_terms(terms: Terms) -> None:
    """Raises BadTerms unless every span is above 0 and short enough to mean something."""
    spans = (
        ("most-hours", terms.most_hours, MOST_HOURS, "h"),
        ("most-days", terms.most_days, MOST_DAYS, "days"),
        ("valid-for", terms.valid_for, MOST_VALID, "h"),
    )
    problems = [
        f"{name} must lie above 0 and be at most {most:g} {unit}."
        for name, value, most, unit in spans
        if not isfinite(value) or not 0 < value <= most
    ]
    if problems:
        raise BadTerms(" ".join(problems))
