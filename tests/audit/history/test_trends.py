"""Trends: which points are fitted together, what the fit gives, and when nothing is said."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.history.line import fit_line
from audit.nouns.history import LeftOut, NoProjection, Shown, Trend
from audit.nouns.problem import BadInput
from audit.nouns.setup import Setup
from tests.audit.history.visits import Unit, seconds, trend

ELONGATION, FORCE, STRIP = "feeder.elongation", "separator_drive.deflection_force", "feeder.wear_strip_left"
few = settings(max_examples=25)


def chain(percent: float) -> dict[str, Any]:
    """Readings of the conveyor chain over 40 pitches of 38.1 mm, so much longer than new."""
    return {"feeder__measured_length": f"{1524.0 * (1 + percent / 100):.6f} mm", "feeder__measured_pitches": 40}


def chains(unit: Unit, *points: tuple[float, float | None, float]) -> list[Setup]:
    """Setups of day, engine hours and elongation."""
    return [unit.setup(day, hours, **chain(percent)) for day, hours, percent in points]


def fitted(found: Trend) -> list[int]:
    return [point.setup for point in found.runs[-1].points if point.left_out is None]


# -- the fit


@few
@given(st.floats(0.05, 0.4), st.floats(0.0005, 0.005), st.lists(st.integers(1, 120), min_size=2, max_size=5))
def test_points_on_a_line_give_that_line(unit: Unit, new: float, rate: float, steps: list[int]) -> None:
    hours = [1000.0 + sum(steps[:n]) for n in range(len(steps) + 1)]
    wear = [(float(n), h, new + rate * (h - 1000.0)) for n, h in enumerate(hours)]
    wear = [point for point in wear if point[2] < 2.9]
    found = trend(unit.history(chains(unit, *wear)), ELONGATION)
    if len(wear) < 2:
        assert found.why_not is NoProjection.ONE_POINT
        return
    assert found.rate is not None
    assert found.rate.per_100_h == pytest.approx(100 * rate, rel=1e-4)
    (projection,) = found.projections
    assert projection.at_hours == pytest.approx(1000.0 + (3.0 - new) / rate, rel=1e-4)
    assert projection.hours_left == pytest.approx(projection.at_hours - wear[-1][1], rel=1e-4)
    if len(wear) == 2:
        assert (found.rate.low, projection.at_hours_low, projection.date_low) == (None, None, None)
        assert projection.date is not None
    else:
        assert found.rate.low is not None
        assert projection.at_hours_low is not None
        assert projection.at_hours_high is not None
        assert projection.at_hours_low <= projection.at_hours <= projection.at_hours_high


def test_the_date_goes_by_the_units_own_hours_a_day(unit: Unit) -> None:
    found = trend(unit.history(chains(unit, (0, 1000, 0.5), (50, 1100, 1.0), (100, 1200, 1.5))), ELONGATION)
    assert found.hours_per_day == pytest.approx(2.0)
    (projection,) = found.projections
    assert projection.hours_left == pytest.approx(300.0, rel=1e-6)
    assert projection.date == pytest.approx(seconds(250), abs=60)
    later = trend(unit.history(chains(unit, (0, 1000, 0.5), (50, 1100, 1.0)), 130, 1250.0), ELONGATION)
    assert later.projections[0].hours_left == pytest.approx(250.0, rel=1e-6)
    assert later.projections[0].date == pytest.approx(seconds(130 + 125), abs=60)


def test_without_dates_hours_are_projected_and_no_date(unit: Unit) -> None:
    setups = [unit.setup(None, hours, **chain(percent)) for hours, percent in ((1000, 0.5), (1100, 1.0), (1200, 1.4))]
    found = trend(unit.history(setups), ELONGATION)
    assert found.hours_per_day is None
    assert [projection.date for projection in found.projections] == [None]
    assert found.projections[0].hours_left > 0.0


def test_limits_ahead_are_told_nearest_first_and_passed_ones_are_not(unit: Unit) -> None:
    name = "fan_bearing.temperature"

    def taken(*values: float) -> Trend:
        some = enumerate(values)
        return trend(unit.history([unit.setup(n, 1000 + 50 * n, fan_bearing__temperature=v) for n, v in some]), name)

    assert [(p.bound.rule, p.bound.value) for p in taken(60, 65, 70).projections] == [
        ("bearing-hot", 82.0), ("bearing-failing", 149.0),
    ]  # fmt: skip
    assert [p.bound.rule for p in taken(80, 85, 90).projections] == ["bearing-failing"]
    assert taken(150, 155, 160).why_not is NoProjection.PAST


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([(0, 1000, 1.0)], NoProjection.ONE_POINT),
        ([(0, 1000, 1.0), (9, 1000, 1.1)], NoProjection.SAME_HOURS),
        ([(0, None, 1.0), (9, None, 1.5)], NoProjection.NO_HOURS),
        ([(0, None, 1.0), (9, 1100, 1.5)], NoProjection.NO_HOURS),
        ([(0, 1000, 1.0), (9, 1100, 1.0)], NoProjection.NO_TREND),
        ([(0, 1000, 1.0), (9, 1100, 1.3), (18, 1200, 1.05)], NoProjection.NO_TREND),
        ([(0, 1000, 1.0), (9, 1100, 0.98), (18, 1200, 0.96)], NoProjection.AWAY),
        ([(0, 1000, 1.0), (9, 1100, 1.0001)], NoProjection.FAR),
        ([(0, 1000, 2.8), (9, 1100, 2.95), (18, 1200, 3.1)], NoProjection.PAST),
    ],
    ids=lambda value: value.name if isinstance(value, NoProjection) else "",
)
def test_why_nothing_is_projected(
    unit: Unit, points: list[tuple[float, float | None, float]], why: NoProjection
) -> None:
    found = trend(unit.history(chains(unit, *points)), ELONGATION)
    assert (found.why_not, found.projections) == (why, ())


def test_a_point_without_hours_is_shown_and_not_fitted(unit: Unit) -> None:
    found = trend(
        unit.history(chains(unit, (0, 1000, 0.5), (9, None, 0.7), (18, 1100, 0.8), (27, 1200, 1.1))), ELONGATION
    )
    assert [(p.engine_hours is None, p.left_out) for p in found.runs[-1].points] == [
        (False, None), (True, LeftOut.NO_HOURS), (False, None), (False, None),
    ]  # fmt: skip
    assert found.rate is not None
    assert found.rate.per_100_h == pytest.approx(0.3, rel=1e-4)


def test_left_and_right_are_fitted_apart(unit: Unit) -> None:
    setups = [
        unit.setup(day, hours, feeder__wear_strip_left={"left": left, "right": right})
        for day, hours, left, right in ((0, 1000, 8.0, 8.0), (50, 1100, 7.0, 7.8), (100, 1200, 6.0, 7.6))
    ]
    history = unit.history(setups)
    rates = [found.rate.per_100_h for side in ("left", "right") if (found := trend(history, STRIP, side)).rate]
    assert rates == pytest.approx([-1.0, -0.2])
    assert trend(history, STRIP, "left").projections[0].at_hours == pytest.approx(1500.0)
    assert trend(history, STRIP, "right").projections[0].at_hours == pytest.approx(3500.0)


# -- what ends a run


@few
@given(st.integers(1, 4), st.integers(0, 4), st.floats(0.05, 0.3))
def test_never_across_a_replacement_on_record(unit: Unit, before: int, after: int, rate: float) -> None:
    """The event alone parts them, even where the values would go on smoothly."""
    days = range(before + after)
    setups = [
        unit.setup(
            10.0 * n, 1000.0 + 100 * n, **chain(0.2 + rate * n),
            events={"feeder.chain_replaced": 10.0 * before - 5} if n >= before else {},
        )
        for n in days
    ]  # fmt: skip
    if not after:
        setups[-1] = unit.setup(
            10.0 * (before - 1), 1000.0 + 100 * (before - 1), **chain(0.2 + rate * (before - 1)),
            events={"feeder.chain_replaced": 10.0 * before - 5},
        )  # fmt: skip
    found = trend(unit.history(setups), ELONGATION)
    assert fitted(found) == list(days)[before:]
    assert found.runs[-1].began is not None
    assert (found.runs[-1].began.shown, found.runs[-1].began.procedure) == (Shown.EVENT, "replace-feeder-chain")
    if not after:
        assert found.why_not is NoProjection.NO_POINT


@few
@given(st.lists(st.floats(0.1, 2.9), min_size=2, max_size=6), st.sets(st.integers(1, 5), max_size=2))
def test_what_is_fitted_is_the_newest_run_and_nothing_else(unit: Unit, wear: list[float], replaced: set[int]) -> None:
    """Whatever the values: no fitted point lies before the newest replacement, and the rate is that of the run."""
    setups = [
        unit.setup(
            10.0 * n, 1000.0 + 100 * n, **chain(percent),
            events={"feeder.chain_replaced": 10.0 * n - 1} if n in replaced else {},
        )
        for n, percent in enumerate(wear)
    ]  # fmt: skip
    found = trend(unit.history(setups), ELONGATION)
    newest = max((n for n in replaced if n < len(wear)), default=0)
    assert min(fitted(found)) >= newest
    run = [point for point in found.runs[-1].points if point.engine_hours is not None]
    line = fit_line([point.engine_hours or 0.0 for point in run], [point.value for point in run])
    assert (found.rate is None) == (line is None)
    assert line is None or found.rate is None or found.rate.per_hour == line.slope
    places = [point.setup for part in found.runs for point in part.points] + [p.setup for p in found.left_out]
    assert sorted(places) == list(range(len(wear)))


def test_a_value_that_jumps_back_may_have_been_renewed(unit: Unit) -> None:
    history = unit.history(
        chains(unit, (0, 1000, 0.5), (9, 1100, 1.5), (18, 1200, 2.5), (27, 1300, 0.2), (36, 1400, 0.5))
    )
    found = trend(history, ELONGATION)
    assert fitted(found) == [3, 4]
    began = found.runs[-1].began
    assert began is not None
    assert (began.shown, began.certain, began.after, began.before) == (Shown.JUMP, False, 2, 3)
    (done,) = history.doings
    assert (done.procedure, done.certain, done.hours_low, done.hours_high) == (
        "replace-feeder-chain",
        False,
        1200,
        1300,
    )


def test_scatter_is_no_jump(unit: Unit) -> None:
    found = trend(
        unit.history(chains(unit, (0, 1000, 0.5), (9, 1100, 1.5), (18, 1200, 1.3), (27, 1300, 2.0))), ELONGATION
    )
    assert fitted(found) == [0, 1, 2, 3]


def test_as_left_after_adjusting_starts_a_new_run(unit: Unit) -> None:
    """A belt's force falls between two visits; what it was tensioned to belongs to the next run."""
    taken = [
        (0, 1000, "as-left", 60),
        (50, 1100, "as-found", 47),
        (50.1, 1100, "as-left", 61),
        (99, 1200, "as-found", 51),
    ]
    setups = [unit.setup(d, h, s, separator_drive__deflection_force=f"{f} N") for d, h, s, f in taken]
    found = trend(unit.history(setups), FORCE)
    assert fitted(found) == [2, 3]
    assert found.runs[-1].began is not None
    assert found.runs[-1].began.shown is Shown.AS_LEFT
    assert found.rate is not None
    assert found.rate.per_100_h == pytest.approx(-10.0)


def test_as_left_that_repeats_as_found_is_one_point(unit: Unit) -> None:
    setups = chains(unit, (0, 1000, 0.5), (50, 1100, 0.9))
    setups += [unit.setup(50.1, 1100, "as-left", **chain(0.9)), *chains(unit, (99, 1200, 1.3))]
    found = trend(unit.history(setups), ELONGATION)
    assert fitted(found) == [0, 1, 3]
    assert [(point.setup, point.left_out) for point in found.left_out] == [(2, LeftOut.REPEATED)]


def test_as_left_measured_again_within_the_gauge_is_another_point(unit: Unit) -> None:
    setups = [*chains(unit, (0, 1000, 0.5), (50, 1100, 0.9)), unit.setup(50.1, 1100, "as-left", **chain(0.92))]
    assert fitted(trend(unit.history(setups), ELONGATION)) == [0, 1, 2]


def test_a_tensioned_belt_starts_speed_and_slip_anew_and_those_behind_it(unit: Unit) -> None:
    def visit(day: float, hours: float, separator: float, event: float | None) -> Setup:
        speeds = {"main_gearbox__measured_speed": 1400, "separator__measured_speed": separator}
        behind = {"shoe__measured_speed": separator * 0.33, "chopper__measured_speed": 1970 - day}
        events = {} if event is None else {"separator_drive.tensioned": event}
        belt = {"chopper_drive.driving": "large", "chopper_drive.driven": "small"}
        return unit.setup(day, hours, **speeds, **behind, events=events, settings=belt)

    history = unit.history([visit(0, 1000, 970, None), visit(50, 1100, 955, None), visit(100, 1200, 950, 60)])
    assert fitted(trend(history, "separator_drive.measured_slip")) == [2]
    assert fitted(trend(history, "separator.measured_speed")) == [2]
    assert fitted(trend(history, "shoe.measured_speed")) == [2]
    assert fitted(trend(history, "chopper.measured_speed")) == [0, 1, 2]


def test_work_on_another_belt_leaves_a_slip_alone(unit: Unit) -> None:
    setups = [
        unit.setup(
            50.0 * n, 1000.0 + 100 * n, separator__measured_speed=970, shoe__measured_speed=310 - n,
            events={"separator_drive.tensioned": 75} if n == 2 else {},
        )
        for n in range(3)
    ]  # fmt: skip
    assert fitted(trend(unit.history(setups), "shoe_drive.measured_slip")) == [0, 1, 2]


def test_a_count_of_hours_that_went_back_tells_of_a_new_belt(unit: Unit) -> None:
    counts = [(0, 1000, 400, 55), (50, 1100, 500, 50), (100, 1200, 40, 58), (150, 1300, 140, 54)]
    setups = [
        unit.setup(d, h, separator_drive__hours_since_new=c, separator_drive__temperature=t) for d, h, c, t in counts
    ]
    history = unit.history(setups)
    assert fitted(trend(history, "separator_drive.temperature")) == [2, 3]
    (done,) = history.doings
    assert (done.procedure, done.on, done.shown) == ("replace-belt", "separator_drive", Shown.COUNTER)
    assert (done.after, done.before, done.hours_low, done.hours_high) == (1, 2, 1160, 1160)


def test_a_setting_that_the_value_depends_on_starts_it_anew(unit: Unit) -> None:
    setups = [
        unit.setup(
            50.0 * n,
            1000.0 + 100 * n,
            settings={"rotor.speed": speed, "rotor.range": "low"},
            rotor__measured_speed=speed - 2 * n,
        )
        for n, speed in enumerate((400, 400, 380, 380))
    ]
    found = trend(unit.history(setups), "rotor.measured_speed")
    assert fitted(found) == [2, 3]
    assert found.runs[-1].began is not None
    assert (found.runs[-1].began.shown, found.runs[-1].began.by) == (Shown.SETTING, "rotor.speed")


def test_a_speed_that_nobody_sets_by_number_says_nothing_of_wear(unit: Unit) -> None:
    setups = [unit.setup(50.0 * n, 1000.0 + 100 * n, feeder_jackshaft__measured_speed=600 - n) for n in range(4)]
    found = trend(unit.history(setups), "feeder_jackshaft.measured_speed")
    assert (found.why_not, found.rate) == (NoProjection.AT_WILL, None)


def test_losses_are_followed_in_the_newest_crop_only(unit: Unit) -> None:
    taken = [("corn", 2.0), ("soybean", 9.0), ("corn", 2.5), ("corn", 3.0)]
    setups = [
        unit.setup(50.0 * n, 1000.0 + 100 * n, crop=crop, loss__tank_damage=loss)
        for n, (crop, loss) in enumerate(taken)
    ]
    found = trend(unit.history(setups), "loss.tank_damage")
    assert fitted(found) == [0, 2, 3]
    assert [(point.setup, point.left_out) for point in found.left_out] == [(1, LeftOut.OTHER_CROP)]


def test_a_point_that_may_be_from_before_or_after_belongs_to_no_run(unit: Unit) -> None:
    setups = [
        unit.setup(0, 1000, **chain(0.5)),
        unit.setup(None, 1100, **chain(0.9)),
        unit.setup(100, 1200, **chain(1.0), events={"feeder.chain_replaced": 50}),
    ]
    found = trend(unit.history(setups), ELONGATION)
    assert fitted(found) == [2]
    assert [(point.setup, point.left_out) for point in found.left_out] == [(1, LeftOut.BEFORE_OR_AFTER)]


# -- what is refused


def test_hours_that_go_back_are_refused_with_the_setup(unit: Unit) -> None:
    with pytest.raises(BadInput, match=r"setup 3 of unit-07.*1050 engine hours, setup 1 before it has 1100"):
        unit.history(chains(unit, (0, 1100, 0.5), (9, None, 0.6), (18, 1050, 0.7)))


def test_setups_out_of_order_are_refused(unit: Unit) -> None:
    with pytest.raises(BadInput, match=r"setup 2 of unit-07.*was taken before setup 1"):
        unit.history(chains(unit, (9, 1000, 0.5), (0, 1100, 0.6)))


def test_setups_of_two_units_are_refused(unit: Unit, worked: Unit) -> None:
    with pytest.raises(BadInput, match="setup 2 of unit-01: is of unit-01"):
        unit.history([*chains(unit, (0, 1000, 0.5)), worked.setup(9, 1100)])


def test_a_history_of_nothing_is_refused(unit: Unit) -> None:
    with pytest.raises(BadInput, match="needs at least one"):
        unit.history([])
