"""What is seen in one look: declared with the readings, and only for what the eye tells on a machine that stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from audit.intake.rulebook import read_rulebook
from audit.nouns.problem import BadInput

WORDS = "quantities.yaml"
LOOKS = "looks: {stops: Safety stops}\n"


def test_a_look_has_its_title_and_its_readings(
    site: Callable[[Mapping[str, str | bytes]], Path], small: dict[str, str | bytes]
) -> None:
    text = LOOKS + str(small[WORDS])
    text = text.replace("yes_no: true, how: Look.", "yes_no: true, how: Look., look: stops")
    text = text.replace("words: {sound: whole, cracked: cracks}", "words: {sound: whole, cracked: cracks}, look: stops")
    found = read_rulebook(site({**small, WORDS: text})).vocabulary
    assert found.looks == {"stops": "Safety stops"}
    assert found.fixed["feeder.safety_stop"].look == "stops"
    assert found.families["belt"]["condition"].look == "stops"
    assert found.fixed["feeder.sheave_gap"].look == ""


@pytest.mark.parametrize(
    ("old", "new", "said", "advice"),
    [
        (
            "how: Look.",
            "how: Look., look: stop",
            "'look' is 'stop'; it must be one of: stops.",
            "Did you mean 'stops'?",
        ),
        ("how: Feeler gauge.", "how: Feeler gauge., look: stops", "look 'stops' can't take this.", "Only readings"),
        ("meaning: Drum,", "meaning: Drum, look: stops,", "look 'stops' can't take this.", "Only readings"),
        ("how: Look.", "how: Look., when: running, look: stops", "look 'stops' can't take this.", "Only readings"),
        ("{meaning: The drum was moved}", "{meaning: Moved, look: stops}", "look 'stops' can't take this.", "Only"),
        ("Safety stops", "''", "look 'stops' is ''.", "Write the title that a person reads."),
    ],
)
def test_what_a_look_can_not_take_is_refused_with_its_place(
    site: Callable[[Mapping[str, str | bytes]], Path], small: dict[str, str | bytes], old: str, new: str, said: str,
    advice: str,
) -> None:  # fmt: skip
    text = LOOKS + str(small[WORDS])
    assert old in text
    with pytest.raises(BadInput) as refused:
        read_rulebook(site({**small, WORDS: text.replace(old, new, 1)}))
    (problem,) = refused.value.problems
    assert problem.place.line > 0
    assert said in problem.message
    assert advice in problem.advice
