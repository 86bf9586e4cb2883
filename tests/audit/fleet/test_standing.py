"""How a fleet stands: the newest setup counts, the worst comes first, work and parts add up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from audit.fleet.standing import by_farm, to_order, worst_first
from audit.fleet.units import FindingLine, UnitLine, Work, fleet_of
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict

Make = Callable[..., UnitLine]
Find = Callable[..., FindingLine]
Plan = Callable[..., Work]


def test_only_the_newest_setup_of_a_unit_counts(unit: Make, finding: Find) -> None:
    """By time taken, whatever the order of rows; one without a time is older than any; of equals the later row."""
    lines = [
        unit(1, unit="a", taken=50.0), unit(2, unit="a", taken=20.0), unit(3, unit="b", taken=None),
        unit(4, unit="b", taken=1.0), unit(5, unit="b", taken=None), unit(6, unit="c", taken=9.0),
        unit(7, unit="c", taken=9.0),
    ]  # fmt: skip
    found = fleet_of(lines, [finding(row) for row in range(1, 8)], "digest")
    assert [(one.line.unit, one.line.row, [f.row for f in one.findings]) for one in found.units] == [
        ("a", 1, [1]), ("b", 4, [4]), ("c", 7, [7]),
    ]  # fmt: skip
    assert (found.setups, found.digest) == (7, "digest")


def test_worst_first(unit: Make, finding: Find) -> None:
    """Held before cleared; then level and index of the worst; broken before unknown; then hours at risk; then id."""
    lines = [unit(row, held=row in (3, 4)) for row in range(1, 9)]
    findings = [
        finding(1, level=Level.MEDIUM, index=10), finding(2, level=Level.SERIOUS, index=7, downtime=1),
        finding(3, level=Level.HIGH, index=4, verdict=Verdict.UNKNOWN), finding(4, level=Level.HIGH, index=4),
        finding(5, level=Level.SERIOUS, index=7, downtime=2), finding(6, level=Level.SERIOUS, index=7, downtime=2),
        finding(7, level=Level.SERIOUS, index=6, verdict=Verdict.UNKNOWN),
    ]  # fmt: skip
    order = [one.line.row for one in worst_first(fleet_of(lines, findings, ""))]
    assert order == [4, 3, 7, 5, 6, 2, 1, 8]


def test_hours_at_risk_leave_out_what_nobody_knows(unit: Make, finding: Find) -> None:
    (one,) = fleet_of(
        [unit(1)], [finding(1, downtime=4), finding(1, "b", downtime=7, verdict=Verdict.UNKNOWN)], ""
    ).units
    assert (one.hours, one.hours_hidden) == (4, 7)


def test_work_by_farm(unit: Make, finding: Find, work: Plan) -> None:
    lines = [
        unit(1, farm="A", held=True, work=work(90, 2, parts=("belt", "pin"), tools=("rule",))),
        unit(2, farm="A", work=work(30, parts=("belt",), tools=("drift", "rule"))),
        unit(3, farm="A", work=work(0, steps=0)),
        unit(4, farm="A", held=True, work=work(0, conflict=True, steps=0)),
        unit(5, farm="A"),
        unit(6, farm="A"),
        unit(7, farm="B", work=work(15)),
    ]
    found = by_farm(fleet_of(lines, [finding(1), finding(5, downtime=3), finding(7, downtime=2)], ""))
    assert [farm.farm for farm in found] == ["A", "B"]
    farm = found[0]
    assert (farm.units, farm.held, farm.to_do, farm.minutes, farm.two_people, farm.hours) == (6, 2, 2, 120, 90, 13)
    assert (farm.parts, farm.tools) == ((("belt", 2), ("pin", 1)), ("drift", "rule"))
    assert (farm.unplanned, farm.stuck) == (("unit-05",), ("unit-04",))


def test_parts_to_order(unit: Make, work: Plan) -> None:
    """What the first harvest waits for comes first; a farm without a date comes last; then the commonest."""
    lines = [
        unit(1, farm="A", work=work(parts=("chain", "belt"))),
        unit(2, farm="B", held=True, work=work(parts=("belt", "belt"))),
        unit(3, farm="C", work=work(parts=("pin",))),
        unit(4, farm="C", work=work(parts=("knife",))),
        unit(5, farm="C", work=work(parts=("knife",))),
    ]
    found = to_order(fleet_of(lines, [], ""), {"A": date(2026, 9, 20), "B": date(2026, 9, 18)})
    assert [(one.part, len(one.units), one.held, one.first_harvest) for one in found] == [
        ("belt", 2, 1, date(2026, 9, 18)), ("chain", 1, 0, date(2026, 9, 20)), ("knife", 2, 0, None),
        ("pin", 1, 0, None),
    ]  # fmt: skip
    assert found[0].farms == ("A", "B")
