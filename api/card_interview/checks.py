"""What can't be in a drive: sheaves or sprockets that touch, a belt that fits no pair, a chain of other sprockets."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from api.card_interview.draft import Drive, positions
from api.card_interview.question import Refused
from audit.measures import show
from audit.physics.belts import open_belt_length
from audit.physics.chains import length_in_pitches, pitch_diameter
from audit.physics.formula import OutOfRange

LEAST_TAKE_UP, SHARE_TAKEN_UP = 20.0, 0.02
"""Where a card does not say how far a belt's run may differ from its length: mm, and share of it (common practice)."""
MOST_LINKS_OFF = 2.0
"""Pitches by which a chain may differ from what its sprockets need and still be tensioned (common practice)."""
TIPS_OFF = 0.04
"""Share by which a sprocket measured over its tips may differ from what its chain needs."""


def pairs(drive: Drive) -> Iterator[tuple[str, float, float]]:
    """Every pair of sheaves that the belt runs on: in words, and both diameters, mm."""
    for stated in positions(drive):
        if drive.kind == "variable_belt":
            yield "slowed all the way down", stated["driver_slow"], stated["driven_slow"]
            yield "at its fastest", stated["driver_fast"], stated["driven_fast"]
        else:
            driver, driven = stated["driver_diameter"], stated["driven_diameter"]
            yield f"on {show(driver, 'mm')} and {show(driven, 'mm')}", driver, driven


def must_have_room(drive: Drive, centre: float) -> None:
    """Refuses a centre distance at which the sheaves would touch."""
    for said, driver, driven in pairs(drive):
        if centre <= (driver + driven) / 2:
            raise Refused(
                f"the sheaves would touch: {said} they need more than {show((driver + driven) / 2, 'mm')} from centre "
                "to centre."
            )


def needed(drive: Drive, centre: float) -> list[tuple[str, float]]:
    """The belt length that each pair needs, mm."""
    try:
        return [(said, open_belt_length(max(a, b), min(a, b), centre)) for said, a, b in pairs(drive)]
    except OutOfRange as error:
        raise Refused(f"no belt length follows from this: {error}.") from None


def must_need_one_belt(drive: Drive, centre: float, take_up: float | None) -> None:
    """Refuses pairs of one stepped or variable drive that no single belt fits."""
    if drive.kind == "v_belt":
        return
    lengths = needed(drive, centre)
    (first, shortest), (second, longest) = min(lengths, key=lambda one: one[1]), max(lengths, key=lambda one: one[1])
    allowed = 2 * _allowed(longest, take_up)
    if longest - shortest > allowed:
        raise Refused(
            f"no one belt fits both ends of this drive: {first} it needs {show(shortest, 'mm')}, {second} "
            f"{show(longest, 'mm')}. One of the diameters is wrong, or belongs to the other end; 'back' leads to them."
        )


def must_fit_belt(drive: Drive, centre: float, length: float, take_up: float | None) -> None:
    """Refuses a belt that is too long or too short for a pair."""
    for said, need in needed(drive, centre):
        if abs(need - length) > _allowed(length, take_up):
            off = "long" if length > need else "short"
            raise Refused(
                f"this belt is {show(abs(need - length), 'mm')} too {off}: {said}, {show(centre, 'mm')} apart, the "
                f"sheaves need {show(need, 'mm')}. Is it the pitch length? Else a diameter "
                "or the distance is wrong; 'back'."
            )


def must_clear(driver_teeth: float, driven_teeth: float, pitch: float, centre: float) -> None:
    """Refuses sprockets that would touch."""
    try:
        touching = (pitch_diameter(pitch, driver_teeth) + pitch_diameter(pitch, driven_teeth)) / 2
    except OutOfRange as error:
        raise Refused(f"these can't be sprockets of this chain: {error}.") from None
    if centre <= touching:
        raise Refused(
            f"the sprockets would touch: for {show(pitch, 'mm')} chain they need more than {show(touching, 'mm')} from "
            "centre to centre."
        )


def must_match_links(teeth: Sequence[tuple[float, float]], pitch: float, centre: float, links: float) -> None:
    """Refuses a chain that these sprockets can't have at this distance.

    Args:
        teeth: of the driving and the driven sprocket, for each position that a person may choose.
    """
    try:
        needs = [length_in_pitches(driver, driven, pitch, centre) for driver, driven in teeth]
    except OutOfRange as error:
        raise Refused(f"no chain length follows from this: {error}.") from None
    if all(abs(need - links) > MOST_LINKS_OFF for need in needs):
        pairs_of = " or ".join(f"{driver:g} and {driven:g}" for driver, driven in teeth)
        raise Refused(
            f"sprockets and chain do not match: {pairs_of} teeth, {show(centre, 'mm')} apart, need "
            f"{' or '.join(f'{need:.1f}' for need in needs)} pitches of {show(pitch, 'mm')}, not {links:g}. A tooth "
            "count, the pitch or the distance is wrong; 'back'."
        )


def must_match_tips(teeth: float, pitch: float, over_tips: float) -> None:
    """Refuses a sprocket whose size over its tips is that of another chain.

    Over the tips a sprocket of z teeth measures about p (0.6 + cot(180°/z)): the rule of the roller chain standards
    ISO 606 and ASME B29.1, written down from memory, so the bound is wide.
    """
    wanted = pitch * (0.6 + 1 / math.tan(math.pi / teeth))
    if abs(over_tips / wanted - 1) > TIPS_OFF:
        fitting = over_tips / (0.6 + 1 / math.tan(math.pi / teeth))
        raise Refused(
            f"sprocket and chain do not match: {teeth:g} teeth for {show(pitch, 'mm')} chain measure about "
            f"{show(wanted, 'mm')} over the tips; {show(over_tips, 'mm')} is a sprocket for {show(fitting, 'mm')} "
            "chain, or another tooth count."
        )


def _allowed(length: float, take_up: float | None) -> float:
    return max(LEAST_TAKE_UP, SHARE_TAKEN_UP * length) if take_up is None else take_up
