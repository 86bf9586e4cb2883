"""The visits file: what it may say, and what is refused with its place."""

from __future__ import annotations

from datetime import date

import pytest

from audit.fleet.visits import read_visits
from audit.nouns.problem import BadInput

GOOD = """
start: 2026-09-15
hours_a_day: 9
leaves_at: "06:30"
road: {speed: 60 km/h, detour: 1.5}
technicians:
  - {name: tech-01, from: {name: Workshop, x_km: 0, y_km: 0}, days: 2, skills: [axial-single]}
  - {name: tech-02, from: Oxgill Farm, days: [2026-09-18, 2026-09-16]}
farms:
  - {name: Oxgill Farm, harvest: 2026-09-20, place: {x_km: 3, y_km: 4}, helper: true}
  - {name: Saltlane Farm, harvest: 2026-09-21, travel: {Workshop: 19.2, Oxgill Farm: 12}}
"""


def test_it_is_read() -> None:
    found = read_visits(GOOD.encode(), "visits.yaml", ("axial-single",))
    assert (found.start, found.minutes_a_day, found.leaves_at) == (date(2026, 9, 15), 540, 390)
    one, other = found.technicians
    assert (one.base, one.skills, one.days) == ("Workshop", ("axial-single",), (date(2026, 9, 15), date(2026, 9, 16)))
    assert (other.base, other.skills, other.days) == ("Oxgill Farm", (), (date(2026, 9, 16), date(2026, 9, 18)))
    assert [(farm.name, farm.harvest, farm.helper) for farm in found.farms] == [
        ("Oxgill Farm", date(2026, 9, 20), True),
        ("Saltlane Farm", date(2026, 9, 21), False),
    ]


def test_travel_is_stated_or_reckoned() -> None:
    """5 km as the crow flies by 1.5 is 7.5 km, at a kilometre a minute 8 min begun; stated minutes count both ways."""
    ways = read_visits(GOOD.encode(), "visits.yaml").travel
    assert ways["Workshop", "Oxgill Farm"] == ways["Oxgill Farm", "Workshop"] == 8
    assert ways["Workshop", "Saltlane Farm"] == ways["Saltlane Farm", "Workshop"] == 20
    assert ways["Saltlane Farm", "Oxgill Farm"] == 12
    assert ways["Oxgill Farm", "Oxgill Farm"] == 0


def test_json_is_read_too() -> None:
    text = b"""{"start": "2026-09-15", "hours_a_day": 8,
        "technicians": [{"name": "a", "from": "Here", "days": 1}],
        "farms": [{"name": "F", "harvest": "2026-09-18", "travel": {"Here": 10}}]}"""
    found = read_visits(text, "visits.json")
    assert (found.leaves_at, found.travel["F", "Here"]) == (420, 10)


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("start: 2026-09-15", "start: 15 September", 2, "write a date like"),
        ("hours_a_day: 9", "hours_a_day: 25", 2, "at most 24"),
        ('"06:30"', '"24:30"', 4, "write '07:00'"),
        ("detour: 1.5", "detour: 0.5", 5, "at least 1"),
        ("60 km/h", "0 km/h", 5, "above 0"),
        ("days: 2,", "days: 0,", 7, "a list of dates, or how many days"),
        ("[axial-single]", "[axial-singel]", 7, "axial-single"),
        ("2026-09-16]", "2026-09-14]", 8, "lies before the start"),
        ("name: tech-02", "name: tech-01", 8, "stands twice"),
        ("helper: true", "helpers: true", 10, "helper"),
        ("Workshop: 19.2", "Workshed: 19.2", 2, "leads to 'Workshed'"),
        ("Workshop: 19.2, ", "", 2, "nobody says how far it is: Saltlane Farm - Workshop"),
        ("harvest: 2026-09-21", "harvest: 2026-09-31", 11, "write a date like"),
    ],
)
def test_it_is_refused(old: str, new: str, line: int, says: str) -> None:
    assert old in GOOD
    with pytest.raises(BadInput) as refused:
        read_visits(GOOD.replace(old, new).encode(), "visits.yaml", ("axial-single",))
    assert any(says in str(one) and one.place.line == line for one in refused.value.problems), refused.value


def test_every_problem_at_once() -> None:
    text = GOOD.replace("days: 2,", "").replace("2026-09-20", "soon").replace("x_km: 3", "x_km: far")
    with pytest.raises(BadInput) as refused:
        read_visits(text.encode(), "visits.yaml")
    assert len(refused.value.problems) == 3
