"""What is moved on the machine and how far, and what only its manual knows of each crop."""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

from api.card_interview.draft import Draft, Left, reaches
from api.card_interview.parts import NEEDS, SETTINGS, THRESHER
from api.card_interview.question import Question, Refused, Shown, Window, some_of, units_of, window, words
from audit.intake.machines import EVERY
from audit.intake.targets import targeted
from audit.measures import from_canonical
from audit.nouns.quantity import Form, Quantity
from audit.nouns.rulebook import Rulebook

MOVED = "The chapter on adjustments; each lever, stop and scale has a page."
TABLE = "The table of starting settings by crop."
BY_CROP = ("thresher.", "shoe.", "header.reel", "corn_head.", "deflector.", "chopper", "beater_drive.", "feeder.drum")
"""Targets that differ from crop to crop; all others hold for every crop."""


def ask_settings(draft: Draft, found: Rulebook) -> Generator[Question | Shown, Any, None]:
    """What can be moved, and between which ends or among which positions."""
    quantities = moved(draft, found)
    listed = "\n".join(f"{name}: {quantity.meaning}" for name, quantity in quantities.items())
    chosen = yield Question(
        "settings",
        f"Which of these can be moved on this machine?\n{listed}",
        "Only what is on the card can be written down, checked and set.",
        MOVED,
        "all, none, a list, or: all but … ; Enter takes all",
        lambda answer: words(answer, list(quantities)),
        "all",
    )
    speeds = reaches(draft, found.vocabulary.drive_kinds)
    for name in chosen:
        quantity, draft.settings[name] = quantities[name], None
        if quantity.form is Form.WORD and len(quantity.words) > 2:
            draft.settings[name] = yield from _ask_words(name, quantity, draft)
        elif quantity.form is Form.NUMBER:
            shaft = "fan" if name == "shoe.fan_speed" else name.removesuffix(".speed")
            draft.settings[name] = yield from _ask_window(name, quantity, draft, speeds.get(shaft))


def moved(draft: Draft, found: Rulebook) -> dict[str, Quantity]:
    """Settings that this machine may have, by name."""
    thresher, _ = THRESHER[draft.threshing]
    has = {shaft.id for shaft in draft.on_card()}
    has |= {drive.id for drive in draft.drives.values() if drive.driven in has}
    by_kind = {shaft.id: shaft.kind for shaft in draft.on_card()}
    quantities: dict[str, Quantity] = {}
    for name in SETTINGS:
        own = name.replace("THRESHER", thresher)
        if name.startswith("THRESHER"):
            if by_kind.get(thresher) == "thresher":
                attribute = own.partition(".")[2]
                quantities[own] = found.vocabulary.of_kind(found.vocabulary.part_kinds["thresher"])[attribute]
        elif NEEDS.get(name, "") in {"", *has}:
            quantities[own] = found.vocabulary.fixed[name]
    return quantities


def _ask_words(name: str, quantity: Quantity, draft: Draft) -> Generator[Question, Any, tuple[str, ...] | None]:
    known = [one for one, _ in quantity.words]
    listed = "\n".join(f"{one}: {meaning}" for one, meaning in quantity.words)

    given: tuple[str, ...] | None = yield Question(
        f"{name}.words",
        f"{name}: {quantity.meaning}. Which of these are there?\n{listed}",
        "Nobody is told to fit what this machine does not take.",
        MOVED,
        "all, or a list",
        lambda answer: some_of(answer, known),
        unknown="whether what is fitted is one of this machine's",
    )
    if given is None:
        draft.left.append(Left(name, "positions", "whether what is fitted is one of this machine's"))
    return given


def _ask_window(
    name: str, quantity: Quantity, draft: Draft, reach: tuple[float, float] | None
) -> Generator[Question, Any, Window | None]:
    computed = f"{reach[0]:.0f} to {reach[1]:.0f} r/min" if reach and reach[0] < reach[1] else ""

    hint = f"; Enter takes what its drive reaches: {computed}" if computed else ""
    given: Window | None = yield Question(
        f"{name}.range",
        f"{name}: {quantity.meaning}. From which lowest to which highest can it be set?",
        "What is outside can't have been set, so it must have been misread.",
        MOVED,
        f"3 to 5, with the unit ({quantity.unit}){hint}",
        lambda answer: _possible(answer, quantity),
        computed,
        "a reading that this machine can't have",
    )
    if given is None:
        draft.left.append(Left(name, "lowest and highest", "a reading that this machine can't have"))
    return given


def ask_targets(
    draft: Draft, found: Rulebook, missing: Callable[[list[str]], dict[str, list[str]]]
) -> Generator[Question | Shown, Any, None]:
    """What only the manual can know: for every crop, then crop by crop.

    Args:
        missing: the targets that neither this card nor a crop card states, each with the crops that lack it.
    """
    crops = list(found.crops)
    chosen = yield Question(
        "crops",
        f"Which crops does it cut? {', '.join(crops)}",
        "For each the manual's own settings are asked for.",
        TABLE,
        "all, none or a list",
        lambda answer: words(answer, crops),
        unknown="what this machine's own manual wants for a crop",
    )
    if chosen is None:
        draft.left.append(Left("targets", "the manual's settings by crop", "whether settings are the manual's own"))
        return
    lacking = missing(list(chosen))
    for name in lacking:
        if not name.startswith(BY_CROP):
            yield from _ask_target(EVERY, name, draft, found)
    for crop in chosen:
        for name, without in lacking.items():
            if name.startswith(BY_CROP) and crop in without:
                yield from _ask_target(crop, name, draft, found)


def _ask_target(crop: str, name: str, draft: Draft, found: Rulebook) -> Generator[Question, Any, None]:
    quantity = targeted(name, found.vocabulary)
    if quantity is None or quantity.form is Form.YES_NO:
        return
    known = [one for one, _ in quantity.words]

    def read(answer: str) -> Window | tuple[str, ...]:
        if quantity.form is Form.WORD:
            return some_of(answer, known)
        return _possible(answer, quantity)

    where = "every crop" if crop == EVERY else crop
    write = f"{' or '.join(known)}" if known else f"a range such as 3 to 5 {quantity.unit}: {units_of(quantity.unit)}"
    given = yield Question(
        f"targets.{crop}.{name}",
        f"{where}: what should {name} be? {quantity.meaning}.",
        "What is found is held against it. Nothing but this machine's manual knows it.",
        TABLE,
        write,
        read,
        unknown=f"{name} for {where}",
    )
    if given is None:
        draft.left.append(Left(f"targets for {where}", name, f"{name} for {where}"))
    else:
        draft.targets.setdefault(crop, {})[name] = given


def _possible(answer: str, quantity: Quantity) -> Window:
    """A window inside what the quantity can be on any machine. Raises Refused."""
    found = window(answer, quantity.unit)
    for end in (found.low, found.high):
        value = None if end is None else from_canonical(end.value, quantity.unit)
        if end is None or value is None:
            continue
        for bound, outside in ((quantity.lowest, min), (quantity.highest, max)):
            if bound is not None and outside(value, bound) != bound:
                raise Refused(
                    f"'{end.text}' is outside what any machine has; {bound:g} {quantity.unit} is the end of it."
                )
    return found
