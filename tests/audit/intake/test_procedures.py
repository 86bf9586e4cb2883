"""Reading re-checks and what tells that a procedure was done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from audit.intake.rulebook import read_rulebook
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Form, Role
from audit.nouns.rule import Recheck
from audit.nouns.source import Ground

Build = Callable[[Mapping[str, str | bytes]], Path]
Files = dict[str, str | bytes]
WORK, WORDS = "procedures/move-drum.yaml", "quantities.yaml"

RECHECK = """\
recheck:
  - {take: [feeder.sheave_gap], or: [feeder.safety_stop], after: 30 min, by: 8 h, days: 3, because: It settles.,
     basis: {ground: common practice}}
"""


def book(small: Files, added: str) -> Files:
    """The small rulebook, with lines added to its procedure."""
    return {**small, WORK: str(small[WORK]) + added}


def test_a_recheck_is_read_in_canonical_units(site: Build, small: Files) -> None:
    (found,) = read_rulebook(site(book(small, RECHECK))).procedures["move-drum"].rechecks
    assert isinstance(found, Recheck)
    assert (found.take, found.instead) == (("feeder.sheave_gap",), ("feeder.safety_stop",))
    assert (found.after, found.by, found.days, found.because) == (0.5, 8.0, 3.0, "It settles.")
    assert found.basis.ground is Ground.COMMON_PRACTICE


def test_a_family_has_events(site: Build, small: Files) -> None:
    words = str(small[WORDS]).replace(
        "  belt: {readings:", "  belt: {events: {replaced: {meaning: The belt was replaced}}, readings:"
    )
    quantity = read_rulebook(site({**small, WORDS: words})).vocabulary.of_family("belt")["replaced"]
    assert (quantity.role, quantity.form, quantity.meaning) == (Role.EVENT, Form.TIME, "The belt was replaced")


MISTAKES = [
    (RECHECK.replace("sheave_gap", "sheave_gab"), "no quantity is called 'feeder.sheave_gab'", "Did you mean"),
    (
        RECHECK.replace("take: [feeder.sheave_gap], or: [feeder.safety_stop], ", ""),
        "names nothing to take",
        "Add 'take:'",
    ),
    (RECHECK.replace("30 min", "9 h"), "'after' must come before 'by'", "engine hours since the work"),
    (RECHECK.replace("after: 30 min, ", ""), "lacks 'after'", "Add 'after:'."),
    (RECHECK.replace("30 min", "30 mm"), "a time is wanted", "h, min"),
    (RECHECK.replace("days: 3", "days: 0"), "'days' is 0; it must be above 0", ""),
    (RECHECK.replace(" because: It settles.,", ""), "lacks 'because'", "Add 'because:'."),
    (RECHECK.replace(",\n     basis: {ground: common practice}", ""), "lacks 'basis'", "Add 'basis:'."),
    (RECHECK.replace("because", "becaus"), "has no key 'becaus'", "Did you mean 'because'?"),
    ("since: feeder.sheave_gap\n", "'since' names 'feeder.sheave_gap', which is no reading of hours", ""),
    ("since: belt.age\n", "no quantity is called 'belt.age'", ""),
    ("raises: [feeder.sheave_gap]\n", "does not bring 'feeder.sheave_gap'", "Only what is in 'brings'"),
    ("lowers: [feeder.sheave_gap]\n", "does not bring 'feeder.sheave_gap'", "Only what is in 'brings'"),
]


@pytest.mark.parametrize(("added", "said", "advice"), MISTAKES, ids=lambda text: text[:30])
def test_a_mistake_is_named(site: Build, small: Files, added: str, said: str, advice: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_rulebook(site(book(small, added)))
    told = [str(problem) for problem in refused.value.problems]
    assert any(said in text and advice in text for text in told), told


def test_a_recheck_of_work_that_nothing_tells_of_is_refused(site: Build, small: Files) -> None:
    """Without a setting that it moves, an event or a count of hours, nobody would ever know that it is due."""
    work = str(small[WORK])
    quiet = "\n".join(line for line in work.splitlines() if not line.startswith(("moves:", "brings:")))
    with pytest.raises(BadInput, match="no setup can tell that it was done"):
        read_rulebook(site({**small, "procedures/look.yaml": f"{quiet}\n{RECHECK}"}))
