"""Who can go where: technicians, farms with their harvest dates, and the way between them, read from YAML or JSON."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from audit.intake.tree import Fields, Node, Problems, said
from audit.intake.yaml_text import decode_yaml
from audit.nearest import did_you_mean
from audit.nouns.problem import BadInput

MOST_DAYS = 366
"""Most days of one technician."""
MOST_PLACES = 1_000
"""Most farms and bases together: the way between every two of them is kept."""
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\Z")
_MOST_MINUTES = 1440


@dataclass(frozen=True, slots=True)
class Technician:
    """Someone who goes out: from ``base`` and back there every day.

    Attributes:
        days: on which there is time, in order.
        skills: machine cards known well enough to work on; empty for all.
    """

    name: str
    base: str
    days: tuple[date, ...]
    skills: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Farm:
    """A farm whose units must be right before the day of harvest. ``helper``: someone there lends a hand."""

    name: str
    harvest: date
    helper: bool


@dataclass(frozen=True, slots=True)
class Visits:
    """All that a schedule starts from.

    Attributes:
        minutes_a_day: from leaving the base until back there.   leaves_at: minutes after midnight.
        travel: minutes from place to place, for every pair that is asked for; 0 from a place to itself.
    """

    start: date
    minutes_a_day: int
    leaves_at: int
    technicians: tuple[Technician, ...]
    farms: tuple[Farm, ...]
    travel: Mapping[tuple[str, str], int]


def read_visits(content: bytes, shown: str, cards: tuple[str, ...] = ()) -> Visits:
    """The visits file; JSON is read too, being YAML.

    Args:
        cards: known machine cards; a skill must be one of them.

    Raises: BadInput: with every problem found.
    """
    problems = Problems()
    tree = decode_yaml(content, shown, problems)
    visits = None if tree is None else _Reader(Fields(tree, problems, "a visits file"), cards).visits()
    if problems or visits is None:
        raise BadInput(problems.found)
    return visits


class _Reader:
    def __init__(self, fields: Fields, cards: tuple[str, ...]) -> None:
        self.fields, self.problems, self.cards = fields, fields.problems, cards
        self.places: dict[str, tuple[float, float]] = {}
        self.stated: dict[tuple[str, str], int] = {}
        self.seen: dict[str, set[str]] = {}

    def visits(self) -> Visits:
        start = self.day(self.fields.node("start"), "start")
        minutes = self.fields.number("hours_a_day") * 60
        if not 0 < minutes <= _MOST_MINUTES:
            self.problems.add(self.fields.place, "'hours_a_day' must lie above 0 and be at most 24.")
        road = self.road()
        farms = self.fields.each("farms", self.farm, required=True)
        technicians = self.fields.each("technicians", lambda node: self.technician(node, start), required=True)
        leaves_at = self.clock()
        self.fields.close()
        names = dict.fromkeys((*(one.name for one in farms), *(one.base for one in technicians)))
        if len(names) > MOST_PLACES:
            advice = "Plan the visits to some farms at a time."
            self.problems.add(
                self.fields.place, f"there are {len(names):,} places; {MOST_PLACES:,} are the most.", advice
            )
        travel = {} if self.problems else self.travel(tuple(names), road)
        return Visits(start, int(minutes), leaves_at, technicians, farms, travel)

    def clock(self) -> int:
        text = self.fields.text("leaves_at", "07:00")
        found = _CLOCK.match(text)
        if found is None:
            self.problems.add(self.fields.items["leaves_at"].place, f"'leaves_at' is {said(text)}; write '07:00'.")
            return 0
        return int(found[1]) * 60 + int(found[2])

    def road(self) -> float | None:
        """Minutes on the road for a kilometre as the crow flies; None where it is not stated."""
        road = self.fields.inner("road", "'road'", required=False)
        if road is None:
            return None
        speed, detour = road.measure("speed", "speed"), road.number("detour", low=1.0)
        road.close()
        if speed <= 0:
            self.problems.add(road.place, "'speed' must be above 0.", "Write for example '50 km/h'.")
            return None
        return detour * 1000 / speed / 60

    def technician(self, node: Node, start: date) -> Technician:
        fields = Fields(node, self.problems, "a technician")
        name = self.name(fields, "technicians")
        skills = fields.texts("skills")
        for skill in skills:
            if self.cards and skill not in self.cards:
                advice = did_you_mean(skill, self.cards, f"Known: {', '.join(self.cards)}.")
                self.problems.add(fields.items["skills"].place, f"no machine card is called {said(skill)}.", advice)
        base = self.base(fields)
        days = self.days(fields, start)
        fields.close()
        return Technician(name, base, days, skills)

    def base(self, fields: Fields) -> str:
        """Name of the place a technician starts from: ``from: Workshop``, or ``from: {name, x_km, y_km}``."""
        node = fields.node("from")
        if node is None or not isinstance(node.value, dict):
            return "" if node is None else fields.as_text(node, "from")
        inner = Fields(node, self.problems, "'from'")
        name = inner.text("name")
        place = (inner.number("x_km"), inner.number("y_km"))
        if self.places.setdefault(name, place) != place:
            self.problems.add(node.place, f"{said(name)} lies at two places.", "Give it another name.")
        inner.close()
        return name

    def days(self, fields: Fields, start: date) -> tuple[date, ...]:
        """Dates as listed, or so many days in a row from the start."""
        node = fields.node("days")
        if node is None:
            return ()
        if isinstance(node.value, list):
            found = {self.day(item, "days") for item in node.value}
            early = [day for day in sorted(found) if day < start]
            if early:
                self.problems.add(node.place, f"{early[0]} lies before the start.", "Leave it out.")
            return tuple(sorted(found))
        if isinstance(node.value, int) and not isinstance(node.value, bool) and 0 < node.value <= MOST_DAYS:
            return tuple(start + timedelta(days=n) for n in range(node.value))
        self.problems.add(
            node.place, f"'days' is {said(node.value)}; it must be a list of dates, or how many days in a row."
        )
        return ()

    def farm(self, node: Node) -> Farm:
        fields = Fields(node, self.problems, "a farm")
        name = self.name(fields, "farms")
        place = fields.inner("place", "'place'", required=False)
        if place is not None:
            self.places[name] = (place.number("x_km"), place.number("y_km"))
            place.close()
        for other, minutes in fields.pairs("travel"):
            self.stated[name, other] = math.ceil(fields.as_number(minutes, f"travel to {other}", low=0.0))
        harvest = self.day(fields.node("harvest"), "harvest")
        helper = fields.truth("helper", False)
        fields.close()
        return Farm(name, harvest, helper)

    def name(self, fields: Fields, kind: str) -> str:
        name = fields.text("name")
        seen = self.seen.setdefault(kind, set())
        if name in seen:
            self.problems.add(fields.place, f"{said(name)} stands twice under '{kind}'.", "Keep one of them.")
        seen.add(name)
        return name

    def day(self, node: Node | None, what: str) -> date:
        if node is not None:
            try:
                if isinstance(node.value, str) and _DAY.match(node.value):
                    return date.fromisoformat(node.value)
            except ValueError:
                pass
            self.problems.add(node.place, f"'{what}' is {said(node.value)}; write a date like '2026-08-24'.")
        return date.min

    def travel(self, names: tuple[str, ...], road: float | None) -> dict[tuple[str, str], int]:
        """Minutes between all places: as stated, from either end; else by the road between their coordinates."""
        for name, other in self.stated:
            if other not in names:
                advice = did_you_mean(other, names, "It is no farm and nobody's base.")
                self.problems.add(self.fields.place, f"the way from {said(name)} leads to {said(other)}.", advice)
        found: dict[tuple[str, str], int] = {}
        lacking = []
        for one in names:
            for other in names:
                stated = self.stated.get((one, other), self.stated.get((other, one)))
                if one == other:
                    found[one, other] = 0
                elif stated is not None:
                    found[one, other] = stated
                elif road is not None and one in self.places and other in self.places:
                    found[one, other] = math.ceil(math.dist(self.places[one], self.places[other]) * road)
                elif one < other:
                    lacking.append(f"{one} - {other}")
        if lacking:
            more = f" and {len(lacking) - 3} more" if len(lacking) > 3 else ""
            self.problems.add(
                self.fields.place,
                f"nobody says how far it is: {'; '.join(lacking[:3])}{more}.",
                "State 'travel' in minutes, or 'place' for both and 'road' with speed and detour.",
            )
        return found
