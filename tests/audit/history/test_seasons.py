"""Three seasons of one machine: whole setups through the audit, and what their history says at each visit.

The wear is made up: so much a hundred engine hours, read to the last digit of the gauge, with its scatter. What the
history makes of it is held to those made-up rates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pytest

from audit.auditor import Auditor
from audit.intake.setups import read_setup
from audit.nouns.history import DueState, History, NoProjection, Shown, Trend
from audit.nouns.rule import Verdict
from audit.nouns.setup import Setup
from tests.audit.history.visits import Unit, due, seconds, trend

# day, engine hours: before and after each harvest, and at the change of crop in it
VISITS = [
    (0, 1000),
    (55, 1130),
    (110, 1260),
    (380, 1262),
    (430, 1395),
    (480, 1521),
    (745, 1523),
    (790, 1640),
    (840, 1770),
]
CHAIN_RATE, STRIP_RATES, FORCE_RATE = 0.30, (0.55, 0.35), 6.0  # % and mm and N a hundred hours
GAUGE = [0.02, -0.03, 0.01, 0.03, -0.02, 0.00, -0.01, 0.02, -0.02]  # scatter of a reading, in its unit
NEW_CHAIN, TENSIONED = 6, (0, 3, 6)  # the visits at which the chain was renewed, and the belt set
FEEDER_BELT = "separator_drive.deflection_force"


@dataclass(frozen=True, slots=True)
class Book:
    """Setups in order with their text; ``found``: the place of each visit's setup as found."""

    texts: list[bytes]
    setups: list[Setup]
    found: list[int]


def readings(visit: int, as_left: bool) -> dict[str, Any]:
    hours = float(VISITS[visit][1])
    new = VISITS[NEW_CHAIN][1] if visit > NEW_CHAIN or (visit == NEW_CHAIN and as_left) else None
    wear = 0.1 + CHAIN_RATE * (hours - (new or 1000)) / 100 + (0.0 if new is None else -0.05)
    set_at = max(v for v in TENSIONED if v < visit or (v == visit and (as_left or visit == 0)))
    force = 60 - FORCE_RATE * (hours - VISITS[set_at][1]) / 100
    scatter = GAUGE[visit]
    left, right = (9.0 - rate * (hours - 1000) / 100 + scatter for rate in STRIP_RATES)
    return {
        "feeder__measured_length": f"{1524 * (1 + (wear + scatter) / 100):.2f} mm",
        "feeder__measured_pitches": 40,
        "feeder__wear_strip_left": {"left": round(left, 2), "right": round(right, 2)},
        "separator_drive__deflection_force": f"{force + 10 * scatter:.1f} N",
    }


@pytest.fixture(scope="module")
def book(worked: Unit) -> Book:
    texts: list[bytes] = []
    found: list[int] = []
    for visit, (day, hours) in enumerate(VISITS):
        crop = "soybean" if visit % 3 == 1 else "corn"
        found.append(len(texts))
        texts.append(worked.text(day, hours, crop=crop, **readings(visit, as_left=False)))
        if visit in (3, 6):
            events: Mapping[str, float] = {"separator_drive.tensioned": day + 0.2}
            if visit == NEW_CHAIN:
                events = {**events, "feeder.chain_replaced": day + 0.15}
            left = {**readings(visit, as_left=True)}
            texts.append(worked.text(day + 0.25, hours, "as-left", crop, None, events, **left))
    return Book(texts, [read_setup(text, "book", worked.auditor.rulebook) for text in texts], found)


def until(worked: Unit, book: Book, visit: int) -> History:
    """The history as of a visit as found."""
    day, hours = VISITS[visit]
    return worked.history(book.setups[: book.found[visit] + 1], day, hours)


def rate(found: Trend) -> float:
    assert found.rate is not None
    return found.rate.per_100_h


def holds(found: Trend, true: float) -> bool:
    """Whether the rate's interval, which every trend here has, holds the made-up rate."""
    assert found.rate is not None
    assert found.rate.low is not None
    assert found.rate.high is not None
    return 100 * found.rate.low <= true <= 100 * found.rate.high


def test_points_are_the_facts_of_the_reports(auditor: Auditor, worked: Unit, book: Book) -> None:
    """A trend has what the audit of each setup reports, nothing else."""
    reported = []
    for text in book.texts:
        (fact,) = [fact for fact in auditor.report(text, "book").facts if fact.name == "feeder.elongation"]
        reported.append(fact.value)
    found = trend(worked.history(book.setups, 841), "feeder.elongation")
    points = [point for run in found.runs for point in run.points] + list(found.left_out)
    assert {point.setup: point.value for point in points} == dict(enumerate(reported))


def test_first_visit_says_nothing_yet(worked: Unit, book: Book) -> None:
    history = until(worked, book, 0)
    assert {found.why_not for found in history.trends} <= {NoProjection.ONE_POINT, NoProjection.AT_WILL}
    assert history.due == ()
    assert history.hours_per_day is None


def test_second_visit_has_a_rate_without_an_interval(worked: Unit, book: Book) -> None:
    found = trend(until(worked, book, 1), "feeder.elongation")
    assert found.rate is not None
    assert (found.rate.points, found.rate.low) == (2, None)
    assert rate(found) == pytest.approx(CHAIN_RATE, abs=0.05)


def test_before_the_third_season_the_chain_was_seen_to_wear_out_in_it(worked: Unit, book: Book) -> None:
    """After two seasons the wear is 1.7 %: the limit of 3 % is some four hundred hours away."""
    found = trend(until(worked, book, 6), "feeder.elongation")
    assert holds(found, CHAIN_RATE)
    assert rate(found) == pytest.approx(CHAIN_RATE, abs=0.02)
    (projection,) = found.projections
    assert projection.bound.rule == "conveyor-chain-elongated"
    reached = 1000 + (3.0 - 0.1) / CHAIN_RATE * 100
    assert projection.at_hours_low is not None
    assert projection.at_hours_high is not None
    assert projection.at_hours_low <= reached <= projection.at_hours_high
    assert projection.hours_left == pytest.approx(reached - 1523, abs=60)
    assert found.hours_per_day == pytest.approx(523 / 745, abs=0.1)
    assert projection.date is not None
    assert projection.date == pytest.approx(seconds(745 + projection.hours_left / (found.hours_per_day or 1.0)), abs=60)


def test_the_new_chain_is_fitted_by_itself(worked: Unit, book: Book) -> None:
    found = trend(until(worked, book, 8), "feeder.elongation")
    assert [len(run.points) for run in found.runs] == [7, 3]
    assert found.runs[-1].began is not None
    assert (found.runs[-1].began.shown, found.runs[-1].began.procedure) == (Shown.EVENT, "replace-feeder-chain")
    assert all(point.engine_hours is not None and point.engine_hours >= 1523 for point in found.runs[-1].points)
    assert holds(found, CHAIN_RATE)


def test_strips_wear_on_through_all_of_it_and_each_side_by_itself(worked: Unit, book: Book) -> None:
    """Neither a new chain nor an adjusted belt says anything of the strips."""
    history = until(worked, book, 8)
    for side, true in zip(("left", "right"), STRIP_RATES, strict=True):
        found = trend(history, "feeder.wear_strip_left", side)
        assert len(found.runs) == 1
        assert found.rate is not None
        assert found.rate.points == 9
        assert holds(found, -true)
    left, right = (trend(history, "feeder.wear_strip_left", side).projections[0] for side in ("left", "right"))
    assert left.at_hours < right.at_hours
    assert left.at_hours == pytest.approx(1000 + 6.0 / 0.55 * 100, abs=30)


def test_a_belt_is_followed_from_one_setting_to_the_next(worked: Unit, book: Book) -> None:
    history = until(worked, book, 8)
    found = trend(history, FEEDER_BELT)
    assert [(run.began.shown if run.began else None, len(run.points)) for run in found.runs] == [
        (None, 4), (Shown.EVENT, 4), (Shown.EVENT, 3),
    ]  # fmt: skip
    assert holds(found, -FORCE_RATE)
    assert [projection.bound.rule for projection in found.projections] == ["belt-too-loose"]


def test_work_between_seasons_is_due_for_another_look_and_found_done(worked: Unit, book: Book) -> None:
    day, hours = VISITS[6]
    setups = book.setups[: book.found[6] + 2]
    assert setups[-1].taken.state == "as-left"
    # the machine stands until harvest
    waiting = worked.history(setups, day + 40, float(hours))
    assert due(waiting, "replace-feeder-chain").state is DueState.WAITING
    # a day into it the belt is overdue, the chain due; the hours are those of the cab's display
    begun = worked.history(setups, day + 42, hours + 12.0)
    assert due(begun, "tension-belt", "separator_drive").state is DueState.OVERDUE
    assert due(begun, "replace-feeder-chain").state is DueState.DUE
    assert due(begun, "replace-feeder-chain").take == ("feeder.washer_in_notch",)
    # the next visit takes all of it
    after = until(worked, book, 7)
    assert {item.state for item in after.due} == {DueState.CLOSED}


def test_the_audit_had_nothing_against_the_chain_when_it_was_renewed(auditor: Auditor, book: Book) -> None:
    """The trend tells in time: the rule was kept at every visit."""
    for text in book.texts:
        broken = {
            finding.rule for finding in auditor.report(text, "book").findings if finding.verdict is Verdict.BROKEN
        }
        assert "conveyor-chain-elongated" not in broken
