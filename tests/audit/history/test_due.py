"""Re-checks that work calls for: from when they are due, what closes them, and that nothing unknown hides one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rules
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook
from audit.nouns.history import DueState, History, Shown
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from tests.audit.history.visits import Unit, due, seconds, trend

BELT = "separator_drive"
few = settings(max_examples=40)


def belt(unit: Unit, day: float | None, hours: float | None, state: str = "as-found", **more: Any) -> Setup:
    """A visit at which the separator's belt is the only thing looked at."""
    return unit.setup(day, hours, state, **more)


def replaced(unit: Unit, *later: Setup) -> list[Setup]:
    """A belt replaced at 1000 h, recorded as left, and what came later."""
    first = belt(unit, 0, 1000, separator_drive__deflection_force="30 N")
    left = belt(unit, 0.2, 1000, "as-left", separator_drive__deflection_force="60 N", events={f"{BELT}.replaced": 0.15})
    return [first, left, *later]


def state(history: History, procedure: str = "replace-belt", on: str = BELT) -> DueState:
    return due(history, procedure, on).state


def test_a_new_belt_is_taken_up_again_after_its_first_half_hour(unit: Unit) -> None:
    item = due(unit.history(replaced(unit), 0.2, 1000.0), "replace-belt", BELT)
    assert (item.take, item.instead) == ((f"{BELT}.deflection_force",), (f"{BELT}.run_in_checked",))
    assert (item.due_at, item.overdue_at, item.due_by) == (1000.5, 1048.0, None)
    assert (item.done.shown, item.done.hours_low, item.done.hours_high) == (Shown.EVENT, 1000.0, 1000.0)
    assert item.basis.source == "belt-tension-table"


@pytest.mark.parametrize(
    ("hours", "wanted"),
    [(1000.0, DueState.WAITING), (1000.4, DueState.WAITING), (1000.5, DueState.DUE), (1047.9, DueState.DUE),
     (1048.0, DueState.OVERDUE), (1500.0, DueState.OVERDUE)],
)  # fmt: skip
def test_it_waits_is_due_and_is_overdue_by_engine_hours(unit: Unit, hours: float, wanted: DueState) -> None:
    assert state(unit.history(replaced(unit), 30.0, hours)) is wanted


def test_without_hours_now_it_waits_no_longer_than_the_engine_can_have_run(unit: Unit) -> None:
    """A quarter of an hour after the setup it cannot have run half an hour; a day later it can."""
    quarter = 0.2 + 0.25 / 24
    assert state(unit.history(replaced(unit), quarter)) is DueState.WAITING
    item = due(unit.history(replaced(unit), 1.2), "replace-belt", BELT)
    assert (item.state, item.why) == (DueState.DUE, "it may have run long enough since its engine hours were last read")


def test_a_later_reading_closes_it(unit: Unit) -> None:
    item = due(
        unit.history(replaced(unit, belt(unit, 1, 1008, separator_drive__deflection_force="52 N")), 1),
        "replace-belt",
        BELT,
    )
    assert (item.state, item.closed_by) == (DueState.CLOSED, 2)


@pytest.mark.parametrize(
    "later",
    [
        {"hours": 1000.2, "separator_drive__deflection_force": "52 N"},  # before it had run
        {"hours": 1008.0, "separator_drive__temperature": 45},  # another reading
        {"hours": 1008.0, "shoe_drive__deflection_force": "30 N"},  # another belt
        {"hours": 1008.0, "separator_drive__run_in_checked": False},  # it says that it was not done
        {"hours": None, "separator_drive__deflection_force": "52 N"},  # nobody knows whether it had run
    ],
    ids=["too early", "another reading", "another belt", "not done", "hours not known"],
)
def test_what_does_not_close_it(unit: Unit, later: Mapping[str, Any]) -> None:
    readings = {name: value for name, value in later.items() if name != "hours"}
    history = unit.history(replaced(unit, belt(unit, 1, later["hours"], **readings)), 3, 1020.0)
    assert state(history) is DueState.DUE


def test_a_statement_that_it_was_done_closes_it(unit: Unit) -> None:
    later = belt(unit, 1, 1008, separator_drive__run_in_checked=True)
    assert state(unit.history(replaced(unit, later), 1)) is DueState.CLOSED


def test_the_setup_that_records_the_work_does_not_close_it(unit: Unit) -> None:
    """What the belt was set to is not what it has settled to."""
    assert state(unit.history(replaced(unit), 0.2, 1000.0)) is DueState.WAITING


def test_work_done_again_asks_again(unit: Unit) -> None:
    later = [
        belt(unit, 1, 1008, separator_drive__deflection_force="52 N"),
        belt(unit, 60, 1100, "as-left", separator_drive__deflection_force="60 N", events={f"{BELT}.replaced": 59.99}),
    ]
    item = due(unit.history(replaced(unit, *later), 60, 1100.0), "replace-belt", BELT)
    assert (item.state, item.closed_by) == (DueState.WAITING, None)
    assert item.due_at == pytest.approx(1100.0 - 0.24 + 0.5)  # the engine ran at most the hours that went by since


@few
@given(
    st.lists(st.one_of(st.none(), st.floats(0, 30)), min_size=1, max_size=5),
    st.integers(0, 4),
    st.booleans(),
    st.one_of(st.none(), st.floats(0, 200)),
)
def test_unknown_hours_never_hide_a_due_item(
    unit: Unit, steps: list[float | None], at: int, dated: bool, since: float | None
) -> None:
    """Whatever is missing, an item that nothing certainly closed is there, and waits only if that is certain."""
    at = min(at, len(steps) - 1)
    run, setups = 1000.0, []
    for n, step in enumerate(steps):
        run += step or 0.0
        events = {f"{BELT}.replaced": 10.0 * n} if n == at else {}
        hours = None if step is None else run
        setups.append(belt(unit, 10.0 * n if dated else None, hours, events=events, separator_drive__temperature=40))
    now = None if since is None else run + since
    history = unit.history(setups, 10.0 * len(steps), now)
    item = due(history, "replace-belt", BELT)
    assert item.state is not DueState.CLOSED
    if item.state is DueState.WAITING:
        assert now is not None
        assert item.due_at is not None
        assert now < item.due_at
    if now is None and all(step is None for step in steps):
        assert item.state is DueState.DUE
        assert "not known" in item.why


@few
@given(st.floats(0, 100), st.floats(0, 100), st.floats(0, 100))
def test_closed_only_by_a_reading_after_the_machine_had_run(
    unit: Unit, before: float, after: float, later: float
) -> None:
    """The work lies somewhere between two visits; only a reading that is late enough for the latest it can be counts."""
    setups = [
        belt(unit, 0, 1000, separator_drive__deflection_force="50 N"),
        belt(unit, 100, 1000 + before, events={f"{BELT}.replaced": 50}),
        belt(unit, 200, 1000 + before + after, separator_drive__deflection_force="50 N"),
    ]
    item = due(unit.history(setups, 300, 1000 + before + after + later), "replace-belt", BELT)
    assert (item.state is DueState.CLOSED) == (1000 + before + after >= 1000 + before + 0.5)
    assert item.due_at == 1000.5


def test_a_setting_that_moved_shows_the_work(unit: Unit) -> None:
    small, large = {"feeder.drive_sprocket": "small"}, {"feeder.drive_sprocket": "large"}
    setups = [unit.setup(0, 1000, settings=small), unit.setup(1, 1000, "as-left", settings=large)]
    item = due(unit.history(setups, 2, 1004.0), "swap-feeder-sprocket")
    assert (item.done.shown, item.done.by, item.state) == (Shown.SETTING, "feeder.drive_sprocket", DueState.WAITING)
    assert item.take == ("feeder_drive_chain.movement",)
    closed = [*setups, unit.setup(3, 1010, settings=large, feeder__drive_chain_rides="just-off")]
    assert due(unit.history(closed, 3), "swap-feeder-sprocket").closed_by == 2


def test_a_value_that_shows_a_new_part_asks_too(unit: Unit) -> None:
    def wear(percent: float) -> dict[str, Any]:
        return {
            "unloading_chain__measured_length": f"{254 * (1 + percent / 100):.4f} mm",
            "unloading_chain__measured_pitches": 10,
        }

    setups = [unit.setup(50.0 * n, 1000.0 + 100 * n, **wear(w)) for n, w in enumerate((1.0, 2.0, 0.1))]
    item = due(unit.history(setups, 101, 1201.0), "replace-drive-chain", "unloading_chain")
    assert (item.done.certain, item.take, item.state) == (False, ("unloading_chain.movement",), DueState.OVERDUE)


def test_one_work_shown_twice_is_one_item(unit: Unit) -> None:
    """Event and count of hours tell of the same belt."""
    setups = replaced(unit, belt(unit, 30, 1060, separator_drive__hours_since_new=60))
    setups[0] = belt(unit, 0, 1000, separator_drive__hours_since_new=700, separator_drive__deflection_force="30 N")
    history = unit.history(setups, 30)
    assert [doing.by for doing in history.doings if doing.procedure == "replace-belt"] == [f"{BELT}.replaced"]
    assert due(history, "replace-belt", BELT).state is DueState.OVERDUE


def test_an_event_that_says_checked_again_closes(unit: Unit) -> None:
    left = unit.setup(0.2, 1000, "as-left", events={"feeder.belt_adjusted": 0.1})
    again = unit.setup(0.5, 1002, events={"feeder.belt_adjusted": 0.1, "feeder.belt_rechecked": 0.4})
    too_soon = unit.setup(0.5, 1002, events={"feeder.belt_adjusted": 0.1, "feeder.belt_rechecked": 0.11})
    key = "adjust-feeder-variable-drive"
    assert state(unit.history([left, again], 1, 1003.0), key, "") is DueState.CLOSED
    assert state(unit.history([left, too_soon], 1, 1003.0), key, "") is DueState.DUE


def test_every_recheck_of_the_rulebook_comes_to_a_machine(rulebook: Rulebook, unit: Unit) -> None:
    """Each is found from the event, the count or the setting that tells of its procedure."""
    kept = {
        "settings": {"feeder.drive_sprocket": "small", "beater_drive.driving": "small", "chopper_drive.driving": "small",
                     "feeder.drum": "raised", "feeder.slack_taken_by": "idler"},
        "moved": {"feeder.drive_sprocket": "large", "beater_drive.driving": "large", "chopper_drive.driving": "large",
                  "feeder.drum": "lowered", "feeder.slack_taken_by": "variable-drive"},
    }  # fmt: skip
    events = dict.fromkeys(
        ("belt.replaced", "belt.tensioned", "chain.replaced", "elevator.chain_replaced", "bearing.replaced",
         "thresher.elements_replaced", "feeder.chain_replaced", "feeder.slats_replaced", "chopper.knives_replaced",
         "chopper.bank_tightened"),
        0.5,
    )  # fmt: skip
    setups = [
        unit.setup(0, 1000, settings=kept["settings"]),
        unit.setup(1, 1000, settings=kept["moved"], events=events),
    ]
    found = {item.procedure for item in unit.history(setups, 2).due}
    assert found == {procedure.key for procedure in rulebook.procedures.values() if procedure.rechecks}


def test_overdue_comes_first(unit: Unit) -> None:
    setups = replaced(unit, belt(unit, 30, 1100, events={"fan_bearing.replaced": 29.9}))
    states = [item.state for item in unit.history(setups, 30, 1100.0).due]
    assert states == sorted(states, key=list(DueState).index)
    assert len(set(states)) > 1


def test_the_trend_of_a_replaced_part_has_no_point_before_its_replacement(unit: Unit) -> None:
    history = unit.history(replaced(unit, belt(unit, 30, 1060, separator_drive__deflection_force="52 N")), 30)
    assert [point.setup for point in trend(history, f"{BELT}.deflection_force").runs[-1].points] == [1, 2]


def test_a_date_makes_it_overdue_whatever_the_hours(unit: Unit, site: Callable[[Mapping[str, str]], Path]) -> None:
    """A site that wants a belt looked at within three days, run or not."""
    shipped = (rules.root() / "procedures" / "replace-belt.yaml").read_text(encoding="utf-8")
    folder = site({"procedures/replace-belt.yaml": shipped.replace("    by: 48 h\n", "    by: 48 h\n    days: 3\n")})
    dated = Unit(Auditor(read_rulebook(rules.root(), [folder])), unit.base)
    setups = replaced(dated)
    in_time, late = dated.history(setups, 3.1, 1000.0), dated.history(setups, 3.2, 1000.0)
    assert due(in_time, "replace-belt", BELT).due_by == seconds(3.15)
    assert (state(in_time), state(late)) == (DueState.WAITING, DueState.OVERDUE)
    counted = [
        belt(dated, 0, 1000, separator_drive__hours_since_new=700),
        belt(dated, 10, 1010, separator_drive__hours_since_new=5),
    ]
    assert due(dated.history(counted, 10, 1010.0), "replace-belt", BELT).due_by == seconds(3)


@few
@given(
    st.lists(st.tuples(st.floats(0.1, 40), st.floats(0, 1)), min_size=2, max_size=6),
    st.floats(0, 1),
    st.sets(st.integers(0, 5)),
    st.sets(st.integers(0, 5)),
)
def test_work_lies_between_its_hours(
    unit: Unit, legs: list[tuple[float, float]], at: float, no_hours: set[int], no_time: set[int]
) -> None:
    """However a machine runs between visits, the hours at which work was done lie between those that are told."""
    days, hours = [0.0], [1000.0]
    for leg, share in legs:
        days.append(days[-1] + leg)
        hours.append(hours[-1] + 24 * leg * share)
    done = at * days[-1]
    leg = next(n for n in range(len(legs)) if done <= days[n + 1])
    truly = hours[leg] + 24 * (done - days[leg]) * legs[leg][1]
    setups = [
        belt(
            unit, None if n in no_time else day, None if n in no_hours else run,
            events={f"{BELT}.replaced": done} if day >= done else {},
        )
        for n, (day, run) in enumerate(zip(days, hours, strict=True))
    ]  # fmt: skip
    (doing,) = unit.history(setups, days[-1]).doings
    assert doing.hours_low is None or doing.hours_low <= truly + 1e-3
    assert doing.hours_high is None or doing.hours_high >= truly - 1e-3
    assert doing.after < doing.before
