"""Somebody with a manual in hand: answers every question of an interview from a machine card that is there already."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from api.card_interview.asking import interview
from api.card_interview.draft import Draft
from api.card_interview.drive_questions import KINDS
from api.card_interview.parts import AXIAL, HYBRID, WALKERS, offered
from api.card_interview.question import Question
from api.card_interview.talk import DONT_KNOW, Talk
from api.commands.card_interview import lacking
from audit.nouns.machine import ByPosition, Component, MachineCard
from audit.nouns.rulebook import Rulebook

THRESHING = {"axial-single": AXIAL, "tangential-walker": WALKERS, "axial-hybrid": HYBRID}
UNITS = {"slip": "%", "groove_angle": "deg", "min_ultimate": "N", "driver_teeth": "", "driven_teeth": "", "ratio": ""}


def talk_about(found: Rulebook, kept: Mapping[str, str] | None = None, name: str = "our-machine") -> Talk[Draft]:
    return Talk(lambda: interview(found, name, lambda draft, crops: lacking(draft, crops, found)), kept or {})


def answer_all(talk: Talk[Draft], answer: Callable[[Question], str]) -> Draft:
    """Answers to the end."""
    while talk.question is not None:
        talk.answer(answer(talk.question))
    assert talk.result is not None
    return talk.result


class Manual:
    """What a card says, as answers."""

    def __init__(self, card: MachineCard) -> None:
        self.card = card
        self.shafts = {shaft.id: shaft for shaft in card.shafts}
        self.drive_of = {drive.driven: drive for drive in card.drives}
        self.threshing = THRESHING[card.id]
        self.builds = [build for build in card.builds if build.name != "feeder.chain_tensioner"]

    def __call__(self, question: Question) -> str:
        key = question.key
        known = [one.id for one in offered(self.threshing)]
        fixed = {
            "title": self.card.title, "manual": self.card.manual, "threshing": self.threshing,
            "feeder.chain_tensioner": "both", "shafts": ", ".join(one for one in known if one in self.shafts),
            "shafts.more": "; ".join(
                f"{id}: {one.title}" for id, one in self.shafts.items() if id not in (*known, "engine")
            ) or "none",
            "settings": "all", "moves": "all", "bearings": "", "crops": "corn, wheat",
        }  # fmt: skip
        if key in fixed:
            return fixed[key]
        if key.startswith("build."):
            return self.build(key)
        if key.startswith("move."):
            return self.move(key.partition(".")[2])
        if key.startswith("targets."):
            _, crop, name = key.split(".", 2)
            return self.target(crop, name)
        if key.endswith((".words", ".range")):
            return question.otherwise or DONT_KNOW
        part, _, attribute = key.partition(".")
        if part in self.shafts and attribute not in ("driven_from", "drive"):
            return self.stated(self.shafts[part], attribute)
        return self.drive(part, attribute)

    def build(self, key: str) -> str:
        words = key.split(".")
        if len(words) == 2:
            place = int(words[1]) - 1
            return self.builds[place].name if place < len(self.builds) else "none"
        (build,) = [one for one in self.card.builds if one.name == ".".join(words[1:3])]
        if words[3] == "choices":
            return "; ".join(f"{choice}: {meaning}" for choice, meaning in build.choices)
        said = []
        for one in build.breaks:
            if one.choice == words[3]:
                said += [f"serial from {one.serial_from}"] if one.serial_from else []
                said += [f"serial to {one.serial_to}"] if one.serial_to else []
                said += [f"year from {one.year_from}"] if one.year_from else []
                said += [f"year to {one.year_to}"] if one.year_to else []
        return "; ".join(said)

    def move(self, procedure: str) -> str:
        for carried in self.card.carried:
            if carried.move is not None and carried.move.procedure == procedure:
                told = [f"{carried.move.minutes:g} min", f"{carried.move.people} people", ", ".join(carried.move.tools)]
                return "; ".join([*told, f"parts: {', '.join(carried.move.parts)}"][: 4 if carried.move.parts else 3])
        return "usual"

    def target(self, crop: str, name: str) -> str:
        for where, quantity, target in self.card.targets:
            if (where, quantity) == (crop, name):
                return " or ".join(target.words) if target.words else target.text.replace(" … ", " to ") or DONT_KNOW
        return DONT_KNOW

    def drive(self, part: str, attribute: str) -> str:
        if attribute in ("driven_from", "drive"):
            drive = self.drive_of[part]
            if attribute == "driven_from":
                return drive.driver
            return next(word for word, (kind, _) in KINDS.items() if kind == drive.kind)
        return self.stated(self.drive_of[part.removesuffix("_drive")], attribute)

    def stated(self, component: Component, attribute: str) -> str:
        value = dict(component.parameters).get(attribute)
        if value is None:
            return DONT_KNOW
        if isinstance(value, ByPosition):
            return ", ".join(f"{word}: {_written(one, attribute)}" for word, one in value.values)
        return _written(value, attribute)


def _written(value: Any, attribute: str) -> str:
    if isinstance(value, str):
        return value
    unit = UNITS.get(
        attribute, "r/min" if attribute == "governed_speed" else "" if attribute.endswith("teeth") else "mm"
    )
    return f"{value:.10g} {unit}".strip()
