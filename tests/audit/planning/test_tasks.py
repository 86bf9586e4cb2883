"""Tasks of a card: what each does, what it calls for, and that shared work is paid once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import reduce
from operator import or_

import pytest

from audit.nouns.machine import Move
from audit.nouns.quantity import Role
from audit.planning.planner import Planner
from audit.planning.tasks import Task, Tasks, as_set, numbers, tasks_of

CARDS = ("axial-single", "axial-hybrid", "tangential-walker")


@pytest.fixture(scope="module")
def tasks(planner: Planner) -> Tasks:
    return planner.worksheet("axial-single", "corn").tasks


def named(tasks: Tasks, procedure: str, on: str = "") -> Task:
    return tasks.all[tasks.number[procedure, on]]


def test_sets_of_numbers() -> None:
    assert list(numbers(as_set([5, 0, 70, 5]))) == [0, 5, 70]
    assert list(numbers(0)) == []
    assert as_set([]) == 0


@pytest.mark.parametrize("card", CARDS)
def test_minutes_people_tools_and_parts_are_the_cards_where_it_states_them(planner: Planner, card: str) -> None:
    worksheet = planner.worksheet(card, "corn")
    stated: dict[int, list[Move]] = {}
    for carried in worksheet.sheet.card.carried:
        if carried.move is not None:
            able = worksheet.tasks.remedies[carried.name]
            (number,) = (n for n in able if worksheet.tasks.all[n].key[0] == carried.move.procedure)
            stated.setdefault(number, []).append(carried.move)
    assert len(stated) >= 15
    for number, moves in stated.items():
        task = worksheet.tasks.all[number]
        assert task.minutes == max(move.minutes for move in moves)
        assert task.people == max(move.people for move in moves)
        assert {tool for move in moves for tool in move.tools} <= set(task.tools)
        assert {part for move in moves for part in move.parts} <= set(task.parts)
    for number, task in enumerate(worksheet.tasks.all):
        if number not in stated and not task.taking:
            procedure = planner.rulebook.procedures[task.key[0]]
            assert (task.minutes, task.people, task.tools) == (procedure.minutes, procedure.people, procedure.tools)


def test_a_procedure_for_a_family_is_a_task_on_each_member(planner: Planner, tasks: Tasks) -> None:
    belts = {on for procedure, on in tasks.number if procedure == "tension-belt"}
    card = planner.rulebook.machines["axial-single"]
    assert belts == {drive.id for drive in card.drives if drive.kind.endswith("belt")}
    assert {on for procedure, on in tasks.number if procedure == "set-sieve"} == {""}
    assert named(tasks, "tension-belt", "fan_drive").brings[:1] == ("fan_drive.temperature",)
    assert named(tasks, "tension-belt", "fan_drive").station == "cleaning"


def test_what_one_component_records_beside(tasks: Tasks) -> None:
    assert "beater.belt_tensioned" in named(tasks, "tension-belt", "beater_drive").records
    assert "beater.belt_tensioned" not in named(tasks, "tension-belt", "chopper_drive").records


def test_a_setting_that_moves_calls_for_the_count_of_losses(tasks: Tasks) -> None:
    for number, task in enumerate(tasks.all):
        if "settings.changed" in task.records:
            assert tasks.closure[number] >> tasks.number["count-losses", ""] & 1, task.key


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("crop", ["corn", "wheat"])
def test_what_must_be_recorded_after_is_called_for_wherever_the_card_has_it(
    planner: Planner, card: str, crop: str
) -> None:
    worksheet = planner.worksheet(card, crop)
    assert worksheet.follows["settings.changed"] == "losses.counted"
    for first, second in worksheet.follows.items():
        able = as_set(n for n, task in enumerate(worksheet.tasks.all) if second in task.records)
        for number, task in enumerate(worksheet.tasks.all):
            if first in task.records and second not in task.records:
                assert worksheet.tasks.closure[number] & able, (task.key, second)


@pytest.mark.parametrize("card", CARDS)
def test_a_set_that_a_task_calls_for_is_closed(planner: Planner, card: str) -> None:
    tasks = planner.worksheet(card, "corn").tasks
    for number, task in enumerate(tasks.all):
        closure = tasks.closure[number]
        assert closure >> number & 1
        assert closure == reduce(or_, (tasks.closure[other] for other in numbers(closure)))
        for key in (*task.before, *task.after):
            assert closure >> tasks.number[key] & 1
        taken = as_set(tasks.takers[name] for name in task.takes)
        assert task.changes_job() or not taken & ~closure


@pytest.mark.parametrize("card", CARDS)
def test_every_reading_setting_and_job_value_can_be_taken_and_is_taken_by_what_measures_it(
    planner: Planner, card: str
) -> None:
    worksheet = planner.worksheet(card, "corn")
    tasks = worksheet.tasks
    for name in worksheet.inputs:
        role = worksheet.quantity(name).role if name != "job.crop" else None
        assert (name in tasks.takers) == (role in (Role.READING, Role.SETTING, Role.JOB, Role.UNIT)), name
    assert tasks.all[tasks.takers["loss.behind"]].key == ("count-losses", "")
    assert tasks.all[tasks.takers["fan.measured_speed"]].key == ("", "fan.measured_speed")
    for name, number in tasks.takers.items():
        assert name in tasks.all[number].brings or name in tasks.all[number].measures


@pytest.mark.parametrize("card", CARDS)
def test_remedies_are_the_procedures_that_change_a_quantity(planner: Planner, card: str) -> None:
    tasks = planner.worksheet(card, "corn").tasks
    for name in {name for task in tasks.all for name in (*task.moves, *task.brings, *task.records)}:
        able = [
            number
            for number, task in enumerate(tasks.all)
            if name in (*task.moves, *task.brings, *task.records) and not task.taking
        ]
        assert list(tasks.remedies.get(name, ())) == able


def test_a_speed_downstream_of_a_moved_pulley_is_taken_again(tasks: Tasks) -> None:
    assert "feeder.measured_speed" in named(tasks, "swap-feeder-sprocket").takes
    assert "rotor.measured_speed" not in named(tasks, "swap-feeder-sprocket").takes
    assert "rotor.measured_speed" in named(tasks, "shift-rotor-range", "rotor").takes
    # brought right by the tensioning that follows, so that it is not also taken apart
    assert "beater.measured_speed" not in named(tasks, "move-beater-belt").takes
    assert "beater.measured_speed" in named(tasks, "tension-belt", "beater_drive").brings


def test_cost_counts_shared_work_once(tasks: Tasks) -> None:
    one = tasks.closure[tasks.number["oil-drive-chain", "tailings_chain"]]
    other = tasks.closure[tasks.number["oil-drive-chain", "unloading_chain"]]
    shield = 1 << tasks.number["open-shields", "elevators"]
    assert one & other == shield
    seconds = [tasks.cost(some)[0] for some in (one, other, shield, one | other)]
    assert seconds[3] == seconds[0] + seconds[1] - seconds[2]
    assert tasks.cost(one | other) == (seconds[3], 2)
    assert tasks.cost(0) == (0, 0)
    assert tasks.cost(1 << tasks.number["set-fan", ""]) == (60, 0)


def test_a_procedure_of_which_only_a_note_is_left_is_no_task(planner: Planner) -> None:
    procedures = planner.rulebook.procedures
    for card in CARDS:
        tasks = planner.worksheet(card, "corn").tasks
        names = planner.worksheet(card, "corn").sheet.names
        for task in tasks.all:
            if task.taking or not (procedures[task.key[0]].moves or procedures[task.key[0]].brings):
                continue
            brings = (*procedures[task.key[0]].moves, *procedures[task.key[0]].brings)
            notes_only = all(names[n].role is Role.EVENT for n in (*task.moves, *task.brings, *task.records))
            assert not notes_only or all(n in names and names[n].role is Role.EVENT for n in brings), task.key


@pytest.mark.parametrize("back", ["before", "after"])
def test_procedures_that_call_for_each_other_are_an_error(planner: Planner, back: str) -> None:
    worksheet = planner.worksheet("axial-single", "corn")
    procedures = dict(worksheet.rulebook.procedures)
    change: Callable[..., object] = replace
    procedures["set-fan"] = change(procedures["set-fan"], **{back: ("set-sieve",)})  # type: ignore[assignment]
    procedures["set-sieve"] = change(procedures["set-sieve"], **{back: ("set-fan",)})  # type: ignore[assignment]
    rulebook = replace(worksheet.rulebook, procedures=procedures)
    with pytest.raises(ValueError, match="circle"):
        tasks_of(worksheet.sheet.card, worksheet.sheet.names, rulebook, worksheet.follows)
