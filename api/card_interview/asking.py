"""The interview from its first question to its last: the machine, its builds, shafts, drives, settings and targets."""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Mapping
from typing import Any

from api.card_interview.draft import BuildDraft, Draft, Left, Shaft, reaches, said
from api.card_interview.drive_questions import ask_drive
from api.card_interview.moves import ask_moves
from api.card_interview.parts import THRESHER, THRESHING, Offered, offered
from api.card_interview.positions import ask_settings, ask_targets
from api.card_interview.question import (
    Question,
    Refused,
    Shown,
    number,
    size,
    some_of,
    text_of,
    units_of,
    whole,
    word,
    words,
)
from api.card_interview.talk import Asking
from audit.kinds import families
from audit.nouns.rulebook import Rulebook

Steps = Generator[Question | Shown, Any, None]
Missing = Callable[[Draft, list[str]], dict[str, list[str]]]

PLATE = "The plates on the machine, and the first pages of the manual."
DRIVES = "The drawing of the drives, and the table of belts and chains."
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_BUILD = re.compile(r"[a-z][a-z0-9_]{0,39}\.[a-z][a-z0-9_]{0,39}")
_WORD = re.compile(r"[a-z][a-z0-9-]{0,39}")
_NO_WORDS = frozenset({"by", "is", "true", "false", "null"})
"""What would mean something else on a card as the word of a build."""
_NO_SHAFTS = frozenset({"each", "driver", "driven", "target", "crop", "job", "unit", "build", "true", "false", "null"})
_BREAK = re.compile(r"(serial|year) (from|to) (\S{1,40})")
TENSIONER = {
    "spring-gauge": "spring with a gauge and notch",
    "slot-turnbuckle": "slot and turnbuckle",
}


def interview(found: Rulebook, name: str, missing: Missing) -> Asking[Draft]:
    """Asks for all that a card of a machine holds.

    Args:
        missing: the targets that neither a draft nor the crop cards state, with the crops that lack them.
    """
    draft = Draft(name)
    yield from _machine(draft)
    yield from _builds(draft)
    yield from _shafts(draft)
    kinds = found.vocabulary.drive_kinds
    for shaft in list(draft.shafts):
        drive = yield from ask_drive(draft, shaft, kinds)
        if drive is None:
            draft.dropped[shaft] = "its drive is not known well enough"
            continue
        draft.drives[shaft] = drive
        now = reaches(draft, kinds)
        turned = [one for one in draft.shafts if one in now and shaft in (one, *draft.behind(one))]
        yield Shown(tuple(f"{one} turns {said(now[one])}." for one in turned))
    _drop_unreached(draft)
    yield from _bearings(draft)
    yield from ask_settings(draft, found)
    yield from ask_moves(draft, found)
    yield from ask_targets(draft, found, lambda crops: missing(draft, crops))
    return draft


def _machine(draft: Draft) -> Steps:
    draft.title = yield Question(
        "title",
        "What do you call this type of machine?",
        "Findings and lists name it.",
        PLATE,
        "a line of text",
        text_of(120),
    )
    draft.manual = yield Question(
        "manual",
        "Title and edition of its manual, and where it is kept?",
        "Whoever doubts a number looks there.",
        PLATE,
        "a line of text",
        text_of(200),
    )
    listed = "\n".join(f"{one}: {meaning}" for one, meaning in THRESHING.items())
    draft.threshing = yield Question(
        "threshing",
        f"How does it thresh?\n{listed}",
        "It says which shafts are asked for.",
        PLATE,
        f"one of: {', '.join(THRESHING)}",
        lambda answer: word(answer, list(THRESHING)),
    )
    draft.governed = yield Question(
        "engine.governed_speed",
        "How fast does the engine turn at full throttle, held by its governor, at work?",
        "Every speed of the card is worked out from it.",
        "Engine specifications: governed or rated speed.",
        "a number in r/min",
        lambda answer: number(answer, "r/min", 800, 3500),
    )


def _builds(draft: Draft) -> Steps:
    """What differs among machines of this type."""
    told = yield Question(
        "feeder.chain_tensioner",
        "Feeder conveyor chain: how is it tensioned?\n"
        + "\n".join(f"{one}: {meaning}" for one, meaning in TENSIONER.items())
        + "\nboth: it differs by build",
        "The two are judged in different ways.",
        "Feeder house, chain tension.",
        "spring-gauge, slot-turnbuckle or both",
        lambda answer: word(answer, [*TENSIONER, "both"]),
        unknown="tension of the feeder conveyor chain",
    )
    meaning = "How the conveyor chain is tensioned"
    if told == "both":
        yield from _breaks(draft, "feeder.chain_tensioner", meaning, TENSIONER)
    elif told is None:  # a unit must then state it, or its rules stay unknown
        draft.left.append(Left("feeder.chain_tensioner", "its kind", "tension of the feeder conveyor chain"))
        draft.builds["feeder.chain_tensioner"] = BuildDraft(meaning, TENSIONER, ())
    else:
        draft.builds["feeder.chain_tensioner"] = BuildDraft(meaning, {told: TENSIONER[told]}, ((told, {}),))
    count = 0
    while True:
        count += 1
        name = yield Question(
            f"build.{count}",
            f"Is there {'anything' if count == 1 else 'anything else'} that differs by serial number or year, such "
            "as shoe.stroke or unloading.rate?",
            "A sheave or sprocket may then have a size for each.",
            "Parts manual: 'up to serial number' and 'from serial number'.",
            "a part and a word with a dot between, or none; Enter takes none",
            lambda answer: _build_name(answer, draft),
            "none",
        )
        if not name:
            return
        choices = yield Question(
            f"build.{name}.choices",
            f"{name}: which builds are there?",
            "A setup says which of them a unit is.",
            "Parts manual.",
            "a word and what it means for each: long: long stroke; short: short stroke",
            _choices,
        )
        yield from _breaks(draft, name, f"Build of {name}", choices)


def _build_name(answer: str, draft: Draft) -> str:
    text = answer.strip()
    if text.casefold() == "none":
        return ""
    if not _BUILD.fullmatch(text):
        raise Refused(f"'{text}' is no part and word such as shoe.stroke, in small letters.")
    if text in draft.builds:
        raise Refused(f"'{text}' was told already.")
    return text


def _choices(answer: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for part in answer.split(";"):
        name, _, meaning = (one.strip() for one in part.partition(":"))
        if not _WORD.fullmatch(name) or name in found or name in _NO_WORDS or not meaning.isprintable():
            raise Refused(
                f"'{part.strip()}' is no new word in small letters with its meaning, such as long: long stroke."
            )
        found[name] = meaning or name
    if len(found) < 2:
        raise Refused("name two builds at least.")
    return found


def _breaks(draft: Draft, name: str, meaning: str, choices: Mapping[str, str]) -> Steps:
    breaks: list[tuple[str, dict[str, str]]] = []
    for choice in choices:
        told = yield Question(
            f"build.{name}.{choice}",
            f"{name}: from or to which serial number or year is it '{choice}'?",
            "So that a unit's build follows from its serial number.",
            "Parts manual, beside the part number.",
            "serial from KX-01400; year to 2014",
            _break,
            unknown=f"{name} of a unit that does not state it",
        )
        if told is None:
            draft.left.append(Left(f"build {name}", f"when it is {choice}", f"{name} of a unit that does not state it"))
        breaks += [(choice, one) for one in told or ()]
    # the first line that fits decides, and a serial number says more than a year
    breaks.sort(key=lambda one: any(bound.startswith("year") for bound in one[1]))
    draft.builds[name] = BuildDraft(meaning, dict(choices), tuple(breaks))


def _break(answer: str) -> list[dict[str, str]]:
    found: list[dict[str, str]] = []
    for part in answer.split(";"):
        one = _BREAK.fullmatch(" ".join(part.split()))
        if one is None:
            raise Refused(f"'{part.strip()}' is none of: serial from …, serial to …, year from …, year to ….")
        what, end, value = one.groups()
        if what == "year" and not (value.isdecimal() and 1950 <= int(value) <= 2100):
            raise Refused(f"'{value}' is no year from 1950 to 2100.")
        found.append({f"{what}_{end}": value})
    return found


def _shafts(draft: Draft) -> Steps:
    listed = offered(draft.threshing)
    shown = "\n".join(f"{one.id}: {one.title}" for one in listed)
    chosen = yield Question(
        "shafts",
        f"Which of these shafts has it, beside the engine?\n{shown}",
        "Each gets a speed, and what it carries is judged by it.",
        DRIVES,
        "all, a list, or: all but …",
        lambda answer: some_of(answer, [one.id for one in listed]),
    )
    by_id = {one.id: one for one in listed}
    more = yield Question(
        "shafts.more",
        "Which other shafts lie between these and the engine, or are worth a speed?",
        "A countershaft must be on the card if another is driven from it.",
        DRIVES,
        "a name and a title for each: upper_shaft: Upper countershaft; Enter takes none",
        lambda answer: _more(answer, set(by_id)),
        "none",
    )
    thresher, _ = THRESHER[draft.threshing]
    for id in chosen:
        one = by_id[id]
        if one.tips:
            yield from _tips(draft, one)
        elif id == thresher:
            yield from _thresher(draft, one)
        elif one.kind in ("elevator", "feeder_conveyor"):
            yield from _conveyor(draft, one)
        else:
            draft.shafts[id] = Shaft(id, one.title, one.station, one.kind)
    for id, title in more.items():
        draft.shafts[id] = Shaft(id, title, "drives", "shaft")


def _more(answer: str, known: set[str]) -> dict[str, str]:
    if answer.strip().casefold() == "none":
        return {}
    found: dict[str, str] = {}
    for part in answer.split(";"):
        id, _, title = (one.strip() for one in part.partition(":"))
        if not _NAME.fullmatch(id) or not title or not title.isprintable():
            raise Refused(
                f"'{part.strip()}' is no name in small letters with its title, such as upper_shaft: Upper countershaft."
            )
        if id in _NO_SHAFTS or id in families() or id.endswith(("_drive", "_bearing")):
            raise Refused(f"'{id}' means something else on a card; call it otherwise, such as {id}_shaft.")
        if id in known or id in found or id == "engine":
            raise Refused(f"'{id}' is there already.")
        found[id] = title
    return found


def _tips(draft: Draft, one: Offered) -> Steps:
    given = yield Question(
        f"{one.id}.tip_diameter",
        f"{one.title}: diameter over the tips of what it carries?",
        "Its tip speed follows from it.",
        "Specifications, or measure it: engine off, key out, everything stopped.",
        units_of("mm"),
        lambda answer: number(answer, "mm", 100, 1500),
        unknown=f"tip speed of {one.id}",
    )
    if given is None:
        draft.left.append(Left(one.id, "diameter over its tips", f"tip speed of {one.id}"))
    draft.shafts[one.id] = Shaft(
        one.id, one.title, one.station, one.kind, {} if given is None else {"tip_diameter": given}
    )


def _thresher(draft: Draft, one: Offered) -> Steps:
    lost = f"speed, gap and state of the {one.id}, as nothing of it can be on the card"
    diameter = yield Question(
        f"{one.id}.diameter",
        f"{one.title}: diameter over the threshing elements?",
        "Tip speed against what the crop takes: the most important number of all.",
        "Threshing specifications.",
        units_of("mm"),
        lambda answer: number(answer, "mm", 250, 1200),
        unknown=lost,
    )
    element = yield Question(
        f"{one.id}.element",
        f"{one.title}: what threshes?",
        "Crops take other tip speeds from each.",
        "Threshing specifications.",
        "rasp-bar, peg-tooth or tine",
        lambda answer: word(answer, ["rasp-bar", "peg-tooth", "tine"]),
        unknown=lost,
    )
    if diameter is None or element is None:
        what = " and ".join(name for name, value in (("diameter", diameter), ("element", element)) if value is None)
        draft.left.append(Left(one.id, what, lost))
        draft.shafts[one.id] = Shaft(one.id, one.title, one.station, "shaft")
        return
    draft.shafts[one.id] = Shaft(one.id, one.title, one.station, one.kind, {"diameter": diameter, "element": element})


def _conveyor(draft: Draft, one: Offered) -> Steps:
    lost = f"speed and wear of the chain of {one.id}"
    teeth = yield Question(
        f"{one.id}.sprocket_teeth",
        f"{one.title}: teeth of the sprocket that drives its chain?",
        "Chain speed follows from it.",
        "Parts manual, or count them: engine off, key out.",
        "a whole number",
        lambda answer: size(answer, lambda one: whole(one, 4, 40), draft.words()),
        unknown=lost,
    )
    pitch = yield Question(
        f"{one.id}.pitch",
        f"{one.title}: pitch of its chain?",
        "Wear is the growth of it.",
        "Parts manual, or on the links.",
        "38.4 mm or 1 1/2 in",
        lambda answer: size(answer, lambda one: number(one, "mm", 12, 110), draft.words()),
        unknown=lost,
    )
    centres = yield Question(
        f"{one.id}.fixed_centres",
        f"{one.title}: can the distance of its sprockets be set?",
        "On fixed centres it may wear only half as far.",
        "Chain tension.",
        "fixed or adjustable",
        lambda answer: word(answer, ["fixed", "adjustable"]),
        unknown=f"how far the chain of {one.id} may wear; the stricter limit holds",
    )
    if teeth is None or pitch is None:
        what = " and ".join(name for name, value in (("sprocket teeth", teeth), ("pitch", pitch)) if value is None)
        draft.left.append(Left(one.id, what, lost))
        draft.shafts[one.id] = Shaft(one.id, one.title, one.station, "shaft")
        return
    stated = {"sprocket_teeth": teeth, "pitch": pitch, "fixed_centres": centres or "fixed"}
    if centres is None:
        draft.left.append(
            Left(one.id, "whether its centres are fixed", "how far its chain may wear, but by the stricter limit")
        )
    draft.shafts[one.id] = Shaft(one.id, one.title, one.station, one.kind, stated)


def _drop_unreached(draft: Draft) -> None:
    for shaft in draft.shafts:
        if shaft not in draft.dropped and not draft.reached(shaft):
            behind = next(one for one in draft.behind(shaft) if one in draft.dropped)
            draft.dropped[shaft] = f"it is driven from {behind}, which is left out"


def _bearings(draft: Draft) -> Steps:
    known = [shaft.id for shaft in draft.on_card()]
    thresher, _ = THRESHER[draft.threshing]
    usual = ", ".join(one for one in (thresher, "fan", "chopper") if one in known) or "none"
    draft.bearings = yield Question(
        "bearings",
        f"The bearings of which shafts are watched for heat and play? {', '.join(known)}",
        "Hot bearings start fires.",
        "Lubrication and inspection.",
        f"all, none or a list; Enter takes {usual}",
        lambda answer: words(answer, known),
        usual,
    )
