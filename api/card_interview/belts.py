"""Belts: sheaves, the run between them, the belt itself."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from typing import Any

from api.card_interview import checks
from api.card_interview.asker import MEASURE, TABLE, Asked, Asker
from api.card_interview.draft import Drive, ratio_of
from api.card_interview.question import ByWord, Number, Question, Refused, Size, number, text_of, units_of

SLIP = "1 %"


def ask_belt(asker: Asker) -> Asked:
    asker.drive = asker.with_stated("slip", Number(1.0, SLIP))  # until it is asked for
    id, stepped = asker.drive.id, asker.drive.kind == "stepped_v_belt"
    if asker.drive.kind == "variable_belt":
        for name, ask in (
            ("driver_slow", "pitch diameter of the driving sheave, slowed all the way down?"),
            ("driven_slow", "pitch diameter of the driven sheave, slowed all the way down?"),
            ("driver_fast", "pitch diameter of the driving sheave at its fastest?"),
            ("driven_fast", "pitch diameter of the driven sheave at its fastest?"),
        ):
            if not (yield from _ask_variable(asker, name, ask)):
                return None
    else:
        for end, said_, last in (("driver", "driving", False), ("driven", "driven", True)):
            words = {f"{id}.{said_}": ("small", "large")} if stepped else None
            what = (
                f"pitch diameters of both steps of the {said_} sheave?"
                if stepped
                else f"pitch diameter of the {said_} sheave?"
            )
            if not (yield from asker.ask_size(f"{end}_diameter", what, "mm", 40, 1500, last=last, words=words)):
                return None
    return (yield from _run(asker))


def _ask_variable(asker: Asker, name: str, ask: str) -> Generator[Question, Any, bool]:
    """One of the four diameters; the last one must make the fast end faster."""
    stated = asker.drive.stated

    def read(answer: str) -> Number:
        found = number(answer, "mm", 40, 1500)
        if name == "driven_fast":
            slow, fast, driven = (stated[one] for one in ("driver_slow", "driver_fast", "driven_slow"))
            assert isinstance(slow, Number)
            assert isinstance(fast, Number)
            assert isinstance(driven, Number)
            if fast.value / found.value <= slow.value / driven.value:
                raise Refused(
                    "its fastest would be no faster than its slowest. The two ends are mixed up; 'back' leads to them."
                )
            asker.must_turn_sensibly(asker.with_stated(name, found))
        return found

    value = yield Question(
        asker.key(name),
        f"{asker.title} drive: {ask}",
        f"The slowest and the fastest speed of {asker.drive.driven} follow from the four diameters.",
        f"{TABLE} {MEASURE}",
        units_of("mm"),
        read,
        unknown=asker.speed_of,
    )
    if value is None:
        return False
    asker.drive = asker.with_stated(name, value)
    return True


def _run(asker: Asker) -> Asked:
    """What all belts have: distance, section, slip, length."""
    simple = asker.drive.kind == "v_belt"

    def read_centre(answer: str) -> Number:
        found = number(answer, "mm", 50, 8000)
        checks.must_have_room(asker.drive, found.value)
        checks.must_need_one_belt(asker.drive, found.value, None)
        return found

    def read_slip(answer: str) -> Number:
        found = number(answer, "%", 0, 10)
        asker.must_turn_sensibly(asker.with_stated("slip", found))
        return found

    lost = "wrap, slip and tension of its belt"
    if not simple:
        lost += f", and the speed of {asker.drive.driven} and of all that it drives: it can't be on the card"
    centre = yield from asker.ask_more(
        "centre",
        "centre distance of the sheaves?",
        "Wrap, belt length and the tension test follow from it.",
        units_of("mm"),
        read_centre,
        lost,
    )
    slip = yield from asker.ask_more(
        "slip",
        "slip at full load that its speeds are reckoned with?",
        "A V-belt creeps: the driven sheave lags by it.",
        f"a number in %; Enter takes {SLIP}, which is common practice",
        read_slip,
        "slip against the manual's own",
        SLIP,
    )
    if slip is None:
        slip = Number(1.0, SLIP)
        asker.noted("slip not known; 1 % is common practice")
    if centre is None:
        return _as_ratio(asker, slip) if simple else None
    asker.drive = replace(asker.drive, stated={**asker.drive.stated, "centre": centre, "slip": slip})
    section = yield from asker.ask_more(
        "section",
        "belt section?",
        "The force of the tension test depends on it.",
        "as it is printed on the belt, such as HB, HC, A, B, SPB",
        text_of(12),
        "its tension by the deflection test",
    )
    asker.drive = asker.with_stated("section", section or "not-known")
    if asker.drive.kind == "variable_belt":
        groove = yield from asker.ask_more(
            "groove_angle",
            "full angle between the sheave faces?",
            "The gap between the faces follows from it.",
            "a number in deg; Enter takes 26 deg, which is common practice",
            lambda answer: number(answer, "deg", 20, 60),
            "gaps of its sheaves",
            "26 deg",
        )
        if groove is None:
            asker.noted("groove angle not known; 26 deg is common practice")
        asker.drive = asker.with_stated("groove_angle", groove or Number(26.0, "26 deg"))
        idler = yield from asker.ask_more(
            "idler_distance",
            "if an idler presses on the belt, how far along the span is it from the driven sheave?",
            "How much grip the idler costs the driven sheave follows from it.",
            units_of("mm"),
            lambda answer: number(answer, "mm", 10, 5000),
            "grip lost to its idler, if it has one",
        )
        if idler is not None:
            asker.drive = asker.with_stated("idler_distance", idler)
    return (yield from _belt_length(asker, centre.value))


def _belt_length(asker: Asker, centre: float) -> Asked:
    what = "whether the belt that is on fits this pair of sheaves"
    take_up = yield from asker.ask_more(
        "take_up",
        "how far may the run differ from the belt's length and still be tensioned?",
        "Beyond it no tensioner helps: the belt is on the wrong pair.",
        units_of("mm"),
        lambda answer: number(answer, "mm", 0, 300),
        what,
    )
    if take_up is not None:
        asker.drive = asker.with_stated("take_up", take_up)

    def read(answer: str) -> Number:
        found = number(answer, "mm", 200, 15000)
        checks.must_fit_belt(asker.drive, centre, found.value, take_up.value if take_up else None)
        return found

    length = yield from asker.ask_more(
        "belt_length",
        "pitch length of the belt?",
        "It shows whether belt and sheaves belong together.",
        units_of("mm"),
        read,
        what,
    )
    if length is not None:
        asker.drive = asker.with_stated("belt_length", length)
    return asker.drive


def _as_ratio(asker: Asker, slip: Number) -> Drive | None:
    """A belt whose distance is not known: its speed only."""
    driver, driven = asker.drive.stated["driver_diameter"], asker.drive.stated["driven_diameter"]
    lag = 1 - slip.value / 100
    if isinstance(driver, Number) and isinstance(driven, Number):
        ratio: Size = ratio_of(driven.value / driver.value / lag)
    elif isinstance(driven, ByWord) and isinstance(driver, Number):
        ratio = ByWord(driven.by, {w: ratio_of(one.value / driver.value / lag) for w, one in driven.values.items()})
    elif isinstance(driver, ByWord) and isinstance(driven, Number):
        ratio = ByWord(driver.by, {w: ratio_of(driven.value / one.value / lag) for w, one in driver.values.items()})
    else:
        return None
    note = (
        "a V-belt whose centre distance is not known: written as the ratio of its sheaves, so only its speed is judged"
    )
    return replace(asker.drive, kind="gear_range", stated={"ratio": ratio}, notes=(*asker.drive.notes, note))
