"""Findings are drawn where they are, on every machine, and nothing written lies on anything else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import pytest

from api.drawings.look import ACCENT, INK, LEVELS, PAPER, SOFT
from api.drawings.machine_shapes import PLACES, Threshing, place_of, threshing_of
from api.drawings.marks import HEIGHT, Mark, overlap, spread, told
from api.drawings.side_view import side_view
from audit.nouns.finding import Report
from audit.nouns.machine import MachineCard, Station
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from tests.api.drawings.conftest import Audited
from tests.api.drawings.reading import Read, outside, overlapping, read

CARDS = ("axial-single", "axial-hybrid", "tangential-walker")
UNITS = {"axial-single": 5, "axial-hybrid": 17, "tangential-walker": 20}
Audit = Callable[[str, int], Audited]
Crowd = Callable[[Report, list[str], int], Report]


def marks(found: Read) -> int:
    return sum(name.startswith("mark ") for name in found.classes)


@pytest.fixture(params=[True, False], ids=["narrow", "wide"])
def narrow(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


@pytest.mark.parametrize("name", CARDS)
@pytest.mark.parametrize("each", [0, 1, 4, 12])
def test_a_finding_at_every_station_is_placed_and_no_label_overlaps(
    name: str, each: int, narrow: bool, rulebook: Rulebook, audited: Audit, crowded: Crowd
) -> None:
    card = rulebook.machines[name]
    stations = [station.id for station in card.stations]
    report = crowded(audited("corn", UNITS[name]).report, stations, each)
    found = read(side_view(card, report, rulebook.rules, narrow))
    assert overlapping(found) == []
    assert outside(found) == []
    assert {text.fill for text in found.texts} <= {INK, SOFT, ACCENT, PAPER, *(look.text for look in LEVELS.values())}
    for number in range(1, each * len(stations) + 1):
        assert any(text.text == str(number) for text in found.texts), number
    for station in card.stations:
        assert each == 0 or station.title in " ".join(found.written().split())
    if each == 1:
        assert marks(found) == 2 * len(stations)  # on the machine and in the key
    assert ("No findings" in found.written()) == (each == 0)


@pytest.mark.parametrize("name", CARDS)
def test_the_bare_machine_names_every_station(name: str, rulebook: Rulebook) -> None:
    card = rulebook.machines[name]
    found = read(side_view(card))
    for station in card.stations:
        assert station.title in found.written()
    assert marks(found) == 0
    assert "findings" not in found.told


def test_text_is_never_below_12_px(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 5)
    found = read(side_view(one.sheet.card, one.report, rulebook.rules, narrow))
    assert min(text.size for text in found.texts) >= 12
    assert found.width == (360 if narrow else 1200)


def test_the_same_arguments_give_the_same_bytes(narrow: bool, rulebook: Rulebook, audited: Audit) -> None:
    one, again = audited("corn", 3), audited("corn", 3)
    drawings = [side_view(some.sheet.card, some.report, rulebook.rules, narrow) for some in (one, again)]
    assert drawings[0] == drawings[1]


def test_numbers_and_words_are_those_of_the_report(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 3)
    found = read(side_view(one.sheet.card, one.report, rulebook.rules))
    for number, finding in enumerate(one.report.findings, 1):
        title, word = rulebook.rules[finding.rule].title, finding.risk.level.name.lower()
        assert f"{number}, {word}: {title}" in found.told
        assert any(tip.startswith(f"{number}, {word}: {title}") for tip in found.tips)


def test_what_is_not_known_is_one_mark_a_station_with_the_worst_it_hides(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 14)
    open_ = [finding for finding in one.report.findings if finding.station == "cab"]
    found = read(side_view(one.sheet.card, one.report, rulebook.rules))
    worst = min(finding.risk.level for finding in open_).name.lower()
    assert f"{len(open_)} to find out, at worst {worst}" in found.written()
    assert f"?{len(open_)}" in found.written()


def test_sides_are_told_apart(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 17)
    finding = next(f for f in one.report.findings if {c.side for c in f.comparisons} == {"right"})
    others = {
        side: replace(finding, comparisons=tuple(replace(finding.comparisons[0], side=s) for s in sides))
        for side, sides in {"": ("left",), "R": ("right",), "L+R": ("left", "right")}.items()
    }
    for side, made in others.items():
        report = replace(one.report, findings=(made,))
        assert [item.mark.side for item in told(report, one.sheet.card, rulebook.rules)] == [side]
    shown = read(side_view(one.sheet.card, replace(one.report, findings=(others["R"],)), rulebook.rules))
    assert "right side" in shown.told
    assert [text.text for text in shown.texts].count("R") == 3  # legend, machine, key


def test_a_part_of_the_right_side_is_marked_by_its_title(rulebook: Rulebook, audited: Audit) -> None:
    one = audited("corn", 18)
    finding = replace(one.report.findings[0], on="chopper_right_bearing", comparisons=(), station="residue")
    report = replace(one.report, findings=(finding,))
    assert told(report, one.sheet.card, rulebook.rules)[0].mark.side == "R"
    report = replace(one.report, findings=(replace(finding, on="chopper_left_bearing"),))
    assert told(report, one.sheet.card, rulebook.rules)[0].mark.side == ""


def other_stations(card: MachineCard) -> MachineCard:
    """The card as a site might have it: stations by other names, one about nothing that the picture has."""
    stations = (
        Station("walk-1", "Rear of the machine", ("chopper", "deflector")),
        Station("walk-2", "Grain side", ("shoe", "unloading", "tank_auger")),
        Station("walk-3", "Trailer", ("drawbar",)),
    )
    return replace(card, stations=stations, shafts=tuple(replace(s, station="walk-2") for s in card.shafts))


def test_a_card_with_other_stations_still_draws(
    narrow: bool, rulebook: Rulebook, audited: Audit, crowded: Crowd
) -> None:
    card = other_stations(rulebook.machines["axial-single"])
    report = crowded(audited("corn", 5).report, ["walk-1", "walk-2", "walk-3", "", "gone"], 2)
    found = read(side_view(card, report, rulebook.rules, narrow))
    assert overlapping(found) == []
    assert "Trailer (not on the picture)" in found.written()
    assert "The machine as a whole" in found.written()
    assert place_of("walk-1", card) == "residue"
    assert place_of("walk-3", card) == ""
    for number in range(1, 11):
        assert any(text.text == str(number) for text in found.texts)


def test_hostile_names_are_text(narrow: bool, audited: Audit) -> None:
    nasty = "</text><script>x</script>\x00\u202e & \"quoted\" 'names' " + "W" * 300
    one = audited("corn", 5)
    card = replace(
        one.sheet.card,
        title=nasty,
        stations=tuple(replace(station, title=nasty) for station in one.sheet.card.stations),
    )
    found = read(side_view(card, one.report, {}, narrow))
    assert outside(found) == []
    assert "<script>" in found.title


@pytest.mark.parametrize(
    ("name", "threshing"),
    [("axial-single", Threshing.ROTOR), ("axial-hybrid", Threshing.HYBRID), ("tangential-walker", Threshing.WALKERS)],
)
def test_the_threshing_element_is_the_cards(name: str, threshing: Threshing, rulebook: Rulebook) -> None:
    card = rulebook.machines[name]
    assert threshing_of(card) is threshing
    assert threshing.value in read(side_view(card)).told
    others = {side_view(replace(rulebook.machines[other], title="", stations=())) for other in CARDS}
    assert len(others) == 3


def test_every_header_kind_that_has_a_shape_of_its_own_is_drawn(audited: Audit) -> None:
    one = audited("corn", 1)
    kinds = ("corn-head", "rigid-platform", "draper", "stripper-header")
    drawings = {side_view(one.sheet.card, replace(one.report, header_kind=kind)) for kind in kinds}
    assert len(drawings) == len(kinds)


@pytest.mark.parametrize("count", [1, 9, 40])
def test_marks_at_one_place_spread_without_overlap(count: int) -> None:
    wanted = [(PLACES["feeder"], Mark(str(n), list(Level)[n % 4], ("", "R", "L+R")[n % 3])) for n in range(count)]
    boxes = spread(wanted, (0, 0, 1000, 500))
    assert not any(overlap(one, other, 0) for one, other in combinations(boxes, 2))
    assert all(x >= 0 and y >= 0 and x + w <= 1000 and y + h <= 500 for x, y, w, h in boxes)
    assert boxes[0][1] == PLACES["feeder"][1] - HEIGHT / 2
