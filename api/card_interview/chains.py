"""Roller chains: sprockets, the run between them, the chain itself."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from functools import partial
from typing import Any

from api.card_interview import checks
from api.card_interview.asker import MEASURE, Asked, Asker
from api.card_interview.draft import positions
from api.card_interview.question import Number, Question, number, units_of, whole, word

DUTY = (
    (
        "fixed_centres",
        "can the distance of its sprockets be set?",
        "A chain on fixed centres may wear only half as far.",
        ("fixed", "adjustable"),
        "fixed",
    ),
    (
        "duty",
        "does it carry shocks, reverse, or run upright?",
        "Then less slack is allowed.",
        ("normal", "shock"),
        "shock",
    ),
)
"""Name, question, use, words, and the word whose limits are the stricter."""


def ask_chain(asker: Asker) -> Asked:
    conveyor = {"feeder.drive_sprocket": ("small", "large")} if asker.drive.id == "feeder_drive_chain" else None
    for name, ask, last in (
        ("driver_teeth", "teeth of the driving sprocket?", False),
        ("driven_teeth", "teeth of the driven sprocket?", True),
    ):
        words = conveyor if name == "driver_teeth" else None
        if not (yield from asker.ask_size(name, ask, "teeth", 5, 200, last=last, words=words)):
            return None
    lost = "wear, slack and speed of its chain"
    pitch = yield from asker.ask_more(
        "pitch",
        "pitch of the chain?",
        "Its length, slack and wear are counted in pitches.",
        "25.4 mm or 1 in",
        lambda answer: number(answer, "mm", 6, 110),
        lost,
    )
    centre = None
    if pitch is not None:
        yield from _tips(asker, pitch.value)
        centre = yield from asker.ask_more(
            "centre",
            "centre distance of the sprockets?",
            "Chain length and the slack allowed follow from it.",
            units_of("mm"),
            lambda answer: _read_chain_centre(asker, answer, pitch.value),
            lost,
        )
    if pitch is None or centre is None:
        note = "a roller chain whose pitch or centre distance is not known: only its speed is judged"
        driver, driven = asker.drive.stated["driver_teeth"], asker.drive.stated["driven_teeth"]
        return replace(
            asker.drive,
            kind="gear_pair",
            stated={"driver_teeth": driver, "driven_teeth": driven},
            notes=(*asker.drive.notes, note),
        )
    asker.drive = replace(asker.drive, stated={**asker.drive.stated, "pitch": pitch, "centre": centre})
    links = yield from asker.ask_more(
        "links",
        "how many links has the chain?",
        "It shows whether chain and sprockets belong together.",
        "a whole number",
        lambda answer: _read_links(asker, answer, pitch.value, centre.value),
        "whether this chain belongs to these sprockets",
    )
    if links is not None:
        asker.noted(f"{links.text} links")
    yield from _chain_duty(asker)
    return asker.drive


def _teeth(asker: Asker) -> list[tuple[float, float]]:
    return [(one["driver_teeth"], one["driven_teeth"]) for one in positions(asker.drive)]


def _tips(asker: Asker, pitch: float) -> Generator[Question, Any, None]:
    driven = asker.drive.stated["driven_teeth"]
    if not isinstance(driven, Number):
        return

    def read(answer: str) -> Number:
        found = number(answer, "mm", 20, 3000)
        checks.must_match_tips(driven.value, pitch, found.value)
        return found

    yield Question(
        f"{asker.drive.driven}_drive.tips",
        f"{asker.title} drive: driven sprocket over its tooth tips, if you can measure it?",
        "It shows whether the sprocket is one for this chain.",
        MEASURE,
        units_of("mm"),
        read,
        unknown="whether this sprocket is one for this chain",
    )


def _read_chain_centre(asker: Asker, answer: str, pitch: float) -> Number:
    found = number(answer, "mm", 50, 8000)
    for driver, driven in _teeth(asker):
        checks.must_clear(driver, driven, pitch, found.value)
    return found


def _read_links(asker: Asker, answer: str, pitch: float, centre: float) -> Number:
    found = whole(answer, 6, 2000)
    checks.must_match_links(_teeth(asker), pitch, centre, found.value)
    return found


def _chain_duty(asker: Asker) -> Generator[Question, Any, None]:
    """Words whose strictest stands where nobody knows."""
    for name, ask, use, known, strict in DUTY:
        value = yield from asker.ask_more(
            name,
            ask,
            use,
            f"one of: {', '.join(known)}",
            partial(word, known=known),
            f"{name.replace('_', ' ')}; the stricter limits hold",
        )
        asker.drive = asker.with_stated(name, value or strict)
        if value is None:
            asker.noted(f"{name.replace('_', ' ')} not known; '{strict}' has the stricter limits")
    force = yield from asker.ask_more(
        "min_ultimate",
        "least breaking force of the chain?",
        "The most tension in service follows from it.",
        "55600 N or 12500 lbf",
        lambda answer: number(answer, "N", 1000, 2_000_000),
        "its most tension in service",
    )
    if force is not None:
        asker.drive = asker.with_stated("min_ultimate", force)
