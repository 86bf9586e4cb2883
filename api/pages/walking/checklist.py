"""The checklist of a walk round one machine: every setting, reading and event of its card, in walk-round order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from api.pages.languages import Language
from api.pages.telling import told
from api.pages.units import INTO
from api.pages.view import View
from api.pages.walking.pictures import pictures
from api.pages.walking.published import constants, published
from api.wire import shown, title_of
from audit.auditor import Auditor
from audit.builds import decide
from audit.intake.setups import HEADER_KEYS, JOB_KEYS
from audit.measures import SIGNS, dimension_of, known_units, show, to_canonical
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value, When
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Unit
from audit.sheet import Sheet

Plain = dict[str, Any]

JOB = "job"
"""Station of what is said of the job and of the machine itself, before the walk begins."""
SECTIONS = {Role.SETTING: "settings", Role.READING: "readings", Role.EVENT: "events"}
RUNNING = ("engine-must-run", "all-clear")
"""Cautions where the engine runs for a reading."""
TOLD_IN_SHORT = frozenset({"engine-off", "key-out", "wait-stopped", "guards-back", "manual", *RUNNING})
"""Cautions that the page says in its own words above every step, or at its end."""
SPECIAL: Mapping[str, tuple[str, ...]] = {
    "header": ("header-stop",), "corn_head": ("header-stop",), "coupler": ("header-stop",),
    "header.knife": ("sharp-knives",), "feeder": ("feeder-stop",), "deflector": ("chopper-rundown",),
    "chopper": ("chopper-rundown", "sharp-knives"),
}  # fmt: skip
"""Cautions of reaching into a part, or for one quantity of it, while it stands, beside the usual ones."""


@dataclass(frozen=True, slots=True)
class Known:
    """The newest answer that is on record for a quantity, and when it was taken, s since 1970."""

    value: Value | Sided
    taken: float


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing to set or read.

    Attributes:
        section: where it stands in a setup: settings, readings, events, job, header or fitted.
        key: its name there; a page is told it only where it is not the quantity's own.
    """

    quantity: Quantity
    section: str
    key: str


def things(sheet: Sheet, unit: Unit) -> list[tuple[str, str, list[Thing]]]:
    """Id and title of each station with its things, the job first, then in walk-round order."""
    card = sheet.card
    told_of = {JOB: [*_of_job(sheet, unit)], **{station.id: [] for station in card.stations}}
    rest: list[Thing] = []
    where = stations_of(card)
    for name, quantity in sheet.names.items():
        if quantity.role in SECTIONS:
            station = told_of.get(where.get(name.partition(".")[0], ""), rest)
            station.append(Thing(quantity, SECTIONS[quantity.role], name))
    for some in told_of.values():
        some.sort(key=_turn)
    titles = {station.id: station.title for station in card.stations}
    found = [(id, titles.get(id, ""), some) for id, some in told_of.items() if some]
    return [*found, ("rest", "", rest)] if rest else found


def _turn(thing: Thing) -> tuple[bool, int]:
    """What is done with the engine stopped comes first, what is only written down last."""
    return thing.quantity.role is Role.EVENT, tuple(When).index(thing.quantity.when)


def stations_of(card: MachineCard) -> dict[str, str]:
    """The station of every part and component."""
    found = {part: station.id for station in card.stations for part in station.parts}
    return found | {component.id: component.station for component in card.components()}


def _of_job(sheet: Sheet, unit: Unit) -> Iterable[Thing]:
    for key, name in JOB_KEYS.items():
        if name in sheet.names:
            yield Thing(sheet.names[name], "job", key)
    for key, name in HEADER_KEYS.items():
        if name in sheet.names and name != "job.header_kind":
            yield Thing(sheet.names[name], "header", key)
    decided = decide(sheet.card, unit)
    for build in sheet.card.builds:
        if decided[f"build.{build.name}"] is None:
            yield Thing(sheet.names[f"build.{build.name}"], "fitted", build.name)


def checklist(view: View, auditor: Auditor, unit: Unit, crop: str, known: Mapping[str, Known]) -> Plain:
    """The whole list for a unit and a crop, in a reader's language and units.

    Shape: ``stations`` [{id, title, things}], ``rules``, ``values`` that are settled (crop, builds, what cards state),
    ``looks`` in which several things are seen together, ``rulebook`` digest. Texts are told; names, words of positions
    and units stay as a setup writes them.
    """
    sheet, rulebook = auditor.sheet(unit.card, crop), auditor.rulebook
    settled = {name: value for name, value in decide(sheet.card, unit).items() if value is not None}
    stations = [
        {"id": id, "title": told(view, {"title": title})["title"],
         "things": [thing_json(view, one, sheet, rulebook, known.get(one.quantity.name)) for one in some]}
        for id, title, some in things(sheet, unit)
    ]  # fmt: skip
    return {
        "unit": unit.id, "card": sheet.card.id, "crop": crop, "rulebook": auditor.rulebook.digest,
        "values": {**constants(sheet), **settled, "job.crop": crop},
        "stations": stations, "rules": [{**plain, **_texts(view, texts)} for plain, texts in published(sheet)],
        "looks": [{"id": look, **told(view, {"title": title})} for look, title in rulebook.vocabulary.looks.items()],
        "headers": [{"id": word, **told(view, {"text": word, "meaning": meaning})}
                    for word, meaning in sheet.names["job.header_kind"].words],
    }  # fmt: skip


def _texts(view: View, texts: Plain) -> Plain:
    wanted = {name: told(view, {"wanted": text})["wanted"] for name, text in texts["wanted"].items()}
    return {**told(view, {"title": texts["title"]}), "wanted": wanted}


def thing_json(view: View, thing: Thing, sheet: Sheet, rulebook: Rulebook, known: Known | None) -> Plain:
    """One thing as a page shows it."""
    quantity = thing.quantity
    part = quantity.name.partition(".")[0]
    title = "" if quantity.name in rulebook.vocabulary.fixed else title_of(sheet.card, part)
    texts = told(
        view,
        {
            "meaning": quantity.meaning, "title": title, "how": quantity.how,
            "cautions": [rulebook.cautions[key] for key in cautions(thing, rulebook) if key in rulebook.cautions],
        },
    )  # fmt: skip
    drawn = pictures(quantity)
    words = [
        {"id": word, **told(view, {"text": word, "meaning": meaning}), "picture": drawn.get(word, "")}
        for word, meaning in quantity.words
    ]
    return {
        "name": quantity.name, "section": thing.section, "role": quantity.role.value,
        **({} if thing.key == quantity.name else {"key": thing.key}),
        "form": quantity.form.value, "sided": quantity.sided, "when": quantity.when.value, "look": quantity.look,
        **texts, "words": words,
        "units": units_of(quantity, view.units), "range": range_of(view.language, quantity),
        "lowest": _canonical(quantity.lowest, quantity), "highest": _canonical(quantity.highest, quantity),
        "last": None if known is None else last_json(view, quantity, known),
    }  # fmt: skip


def thing_shown(view: View, thing: Thing, sheet: Sheet, rulebook: Rulebook, setup: Setup) -> Plain:
    """One thing of a setup on record: its meaning, and what was found, by side; '' for not known."""
    quantity = thing.quantity
    value = setup.values.get(quantity.name)
    values = value if isinstance(value, tuple) else (value,)
    title = "" if quantity.name in rulebook.vocabulary.fixed else title_of(sheet.card, quantity.name.partition(".")[0])
    texts = told(view, {"meaning": quantity.meaning, "title": title})
    found = [told(view, {"shown": shown(one, quantity)})["shown"] for one in values]
    return {"name": quantity.name, **texts, "found": found, "known": any(one is not None for one in values)}


def cautions(thing: Thing, rulebook: Rulebook) -> list[str]:
    """Keys of what is to be heeded for this one thing."""
    quantity = thing.quantity
    if quantity.role not in (Role.SETTING, Role.READING):
        return []
    if quantity.when is not When.STOPPED:
        return list(RUNNING)
    of_part, own = SPECIAL.get(quantity.name.partition(".")[0], ()), SPECIAL.get(quantity.name, ())
    found = dict.fromkeys((*of_part, *own))
    for procedure in rulebook.procedures.values():
        if quantity.name in procedure.measures and procedure.when is When.STOPPED:
            found.update(dict.fromkeys((*procedure.safe, *procedure.cautions)))
    return [key for key in found if key not in TOLD_IN_SHORT]


def units_of(quantity: Quantity, system: str) -> list[Plain]:
    """Units that a number may be written in, the reader's first: name, sign, and how to make them canonical."""
    if quantity.form is not Form.NUMBER or quantity.unit in ("", "1"):
        return []
    dimension = dimension_of(quantity.unit)
    first = INTO[system].get(quantity.unit, quantity.unit)
    names = dict.fromkeys((first, quantity.unit, *known_units(dimension)))
    found = []
    for name in names:
        offset = to_canonical(0.0, name, dimension)
        factor = to_canonical(1.0, name, dimension) - offset
        found.append({"id": name, "sign": SIGNS.get(name, name), "factor": factor, "offset": offset})
    return found


def range_of(language: Language, quantity: Quantity) -> str:
    """The bounds outside which a number is impossible, '' for none."""
    if quantity.form is not Form.NUMBER or quantity.lowest is None or quantity.highest is None:
        return ""
    low, high = (
        show(_canonical(bound, quantity) or 0.0, quantity.unit) for bound in (quantity.lowest, quantity.highest)
    )
    return language.say("{low} to {high}", low=low, high=high).replace(".", language.decimal)


def _canonical(bound: float | None, quantity: Quantity) -> float | None:
    if bound is None or quantity.form is not Form.NUMBER:
        return None
    return to_canonical(bound, quantity.unit, dimension_of(quantity.unit))


def last_json(view: View, quantity: Quantity, known: Known) -> Plain:
    """The newest known answer as text for each side, and when it was taken."""
    values = known.value if isinstance(known.value, tuple) else (known.value,)
    texts = [told(view, {"shown": shown(value, quantity)})["shown"] for value in values]
    return {
        "shown": texts,
        "taken": datetime.fromtimestamp(known.taken, UTC).isoformat(),
        "when": view.moment(known.taken),
    }


def known_of(setups: Iterable[tuple[Setup, float]], crop: str, names: Mapping[str, Quantity]) -> dict[str, Known]:
    """The newest answer to everything.

    Args:
        setups: with the time each was taken, the newest first. What belongs to a crop is not taken from another's.
        names: quantities of the machine.
    """
    found: dict[str, Known] = {}
    for setup, taken in setups:
        same_crop = setup.crop == crop
        for name, value in setup.values.items():
            empty = value is None or value == (None, None)
            if name not in found and not empty and name in names and (same_crop or not names[name].of_crop):
                found[name] = Known(value, taken)
    return found
