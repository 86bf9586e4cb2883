"""Two audits of one fleet: every turn that a question can take, and the hours that go with it."""

from __future__ import annotations

from collections.abc import Callable

from audit.fleet.comparison import Turn, compare
from audit.fleet.systematic import Asked
from audit.fleet.units import FindingLine, UnitLine, fleet_of
from audit.nouns.rule import Verdict

Make = Callable[..., UnitLine]
Find = Callable[..., FindingLine]
RULES = {"a", "b", "c", "d", "e", "f"}
ASKED: Asked = {("axial-single", "corn"): RULES, ("axial-single", "soybean"): RULES - {"f"}}


def test_every_turn(unit: Make, finding: Find) -> None:
    unknown = {"verdict": Verdict.UNKNOWN}
    before = fleet_of(
        [unit(1), unit(2, unit="gone")],
        [finding(1, "a", downtime=8), finding(1, "b"), finding(1, "c", downtime=3), finding(1, "d", **unknown),
         finding(1, "e", **unknown), finding(2, "a")],
        "x",
    )  # fmt: skip
    after = fleet_of(
        [unit(7, unit="unit-01", held=True), unit(8, unit="new")],
        [finding(7, "b", downtime=12), finding(7, "c", **unknown), finding(7, "d", downtime=5),
         finding(7, "f", **unknown, downtime=1), finding(8, "a")],
        "y",
    )  # fmt: skip
    found = compare(before, after, ASKED)
    assert [(change.rule, change.turn) for change in found.changes] == [
        ("d", Turn.NEWLY_BROKEN), ("a", Turn.PUT_RIGHT), ("b", Turn.STILL_BROKEN),
        ("c", Turn.NEWLY_UNKNOWN), ("f", Turn.NEWLY_UNKNOWN), ("e", Turn.FOUND_OUT),
    ]  # fmt: skip
    assert (found.gone, found.new, found.stopped, found.released) == (("gone",), ("new",), ("unit-01",), ())
    assert (found.hours_before, found.hours_after) == (8 + 10 + 3, 12 + 5)
    assert (found.hours_removed, found.hours_added, found.hours_lost_sight) == (8, 5, 3)
    assert not found.same_rules


def test_another_job_puts_nothing_right(unit: Make, finding: Find) -> None:
    """Hours of a rule that is asked of another job, or not at all any more, are not called removed."""
    before = fleet_of([unit(1), unit(2)], [finding(1, "a"), finding(1, "f"), finding(2, "a")], "")
    after = fleet_of([unit(1, crop="soybean", header_kind="draper"), unit(2)], [], "")
    found = compare(before, after, ASKED)
    assert {(change.unit, change.rule): (change.turn, change.other_job) for change in found.changes} == {
        ("unit-01", "a"): (Turn.PUT_RIGHT, True),
        ("unit-01", "f"): (Turn.NOT_ASKED, True),
        ("unit-02", "a"): (Turn.PUT_RIGHT, False),
    }
    assert found.other_job == ("unit-01",)
    assert found.hours_removed == 10


def test_a_fleet_against_itself(unit: Make, finding: Find) -> None:
    fleet = fleet_of([unit(1)], [finding(1, "a"), finding(1, "b", verdict=Verdict.UNKNOWN)], "")
    found = compare(fleet, fleet, ASKED)
    assert [change.turn for change in found.changes] == [Turn.STILL_BROKEN]
    assert (found.hours_removed, found.hours_added, found.same_rules) == (0, 0, True)


def test_sides_of_a_component_are_questions_of_their_own(unit: Make, finding: Find) -> None:
    before = fleet_of([unit(1)], [finding(1, "a", on="left_belt")], "")
    after = fleet_of([unit(1)], [finding(1, "a", on="right_belt")], "")
    assert {(one.on, one.turn) for one in compare(before, after, ASKED).changes} == {
        ("left_belt", Turn.PUT_RIGHT), ("right_belt", Turn.NEWLY_BROKEN),
    }  # fmt: skip
