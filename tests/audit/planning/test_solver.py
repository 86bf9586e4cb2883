"""The solver against trying everything: random small problems, and a few settings of a shipped card."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

import pytest

from audit.nouns.quantity import Form, Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.choice import Cost, Demand, Option, Row
from audit.planning.correction import Case, Stuck
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime, cheapest
from audit.planning.tasks import numbers
from audit.planning.worksheet import WorkSheet, make_worksheet
from tests.audit.planning.plain import GOOD, Asked
from tests.audit.planning.plans import never

Options = dict[str, list[Option]]
Price = Callable[[int], tuple[int, int]]


class Problem:
    """A random problem of 3 to 6 quantities, made so that the parts of the solver all have something to do.

    Values repeat within a quantity, brought about by different work; tasks are shared; some options need a task that
    another option calls for; some quantities are unknown as found; some demands want work that matters to them.
    """

    def __init__(self, seed: int) -> None:
        chance = random.Random(seed)
        count = chance.randint(3, 8)
        self.minutes = [chance.randint(1, 4) for _ in range(count)]
        self.parts = [chance.choice((0, 0, 1)) for _ in range(count)]
        names = [f"quantity-{number}" for number in range(chance.randint(3, 6))]
        self.options: Options = {name: self.options_of(chance, count) for name in names}
        self.demands = [self.demand(chance, names, count) for _ in range(chance.randint(1, 5))]
        self.given = chance.choice((0, 0, 1 << chance.randrange(count)))

    def options_of(self, chance: random.Random, count: int) -> list[Option]:
        as_found = chance.choice((None, 0.0, 0.0))
        found = [Option(as_found)]
        for _ in range(chance.randint(1, 3)):
            value = float(chance.randint(0, 3))
            by = chance.randrange(count)
            tasks = 1 << by
            for _ in range(chance.randint(0, 2)):
                tasks |= 1 << chance.randrange(count)
            change = 0 if as_found is None else int(abs(value - as_found) * 1000)
            if chance.random() < 0.2:
                found.append(Option(value, 1 << by, by, 0, change, needs=1 << by))
            else:
                found.append(Option(value, tasks, by, int(as_found is not None), change))
        return found

    def demand(self, chance: random.Random, names: Sequence[str], count: int) -> Demand:
        scope = tuple(sorted(chance.sample(names, chance.randint(1, min(3, len(names))))))
        refused = {
            row for row in product((None, 0.0, 1.0, 2.0, 3.0), repeat=len(scope)) if chance.random() < 0.5
        }  # fmt: skip
        if chance.random() < 0.7:
            return Demand(scope, lambda row: row not in refused)
        excused = {row for row in product((None, 0.0, 1.0, 2.0, 3.0), repeat=len(scope)) if chance.random() < 0.1}
        return Demand(scope, lambda row: row not in refused, chance.getrandbits(count), excused.__contains__)

    def price(self, tasks: int) -> tuple[int, int]:
        """Seconds and parts of a set of tasks."""
        members = list(numbers(tasks))
        return sum(60 * self.minutes[n] for n in members), sum(self.parts[n] for n in members)

    def cost(self, chosen: Mapping[str, Option]) -> Cost | None:
        """What a choice costs, None if it does not hold."""
        called, needs, tasks = self.given, 0, self.given
        for option in chosen.values():
            called |= option.tasks & ~option.needs
            needs |= option.needs
            tasks |= option.tasks
        if needs & ~called or not all(self.suits(d, [chosen[name] for name in d.scope]) for d in self.demands):
            return None
        moved, change = (sum(some) for some in zip(*[(o.moved, o.change) for o in chosen.values()], strict=True))
        return (*self.price(tasks), moved, change)

    def suits(self, demand: Demand, chosen: Sequence[Option]) -> bool:
        row = tuple(option.value for option in chosen)
        if not demand.holds(row):
            return False
        return demand.cures is None or any(one.tasks & demand.cures for one in chosen) or demand.excused(row)

    def best(self) -> Cost | None:
        """The least cost of all choices, each looked at."""
        costs = [self.cost(dict(zip(self.options, row, strict=True))) for row in product(*self.options.values())]
        return min((cost for cost in costs if cost is not None), default=None)


@pytest.mark.parametrize("block", range(8))
def test_random_problems_cost_what_trying_everything_finds(block: int) -> None:
    solved = 0
    for seed in range(block * 250, block * 250 + 250):
        problem = Problem(seed)
        best = problem.best()
        found = cheapest(problem.options, problem.demands, problem.price, never, problem.given)
        assert (found is None) == (best is None), seed
        if found is None:
            continue
        solved += 1
        assert found.cost == best, seed
        assert problem.cost(found.options) == best, seed
        assert found.proven
        again = cheapest(problem.options, problem.demands, problem.price, never, problem.given)
        assert again == found, seed
    assert 25 <= solved <= 225  # both kinds of problem occur


def test_a_choice_does_not_depend_on_the_order_in_which_quantities_are_given() -> None:
    for seed in range(300):
        problem = Problem(seed)
        found = cheapest(problem.options, problem.demands, problem.price, never, problem.given)
        turned = dict(reversed(problem.options.items()))
        other = cheapest(turned, problem.demands, problem.price, never, problem.given)
        assert (found is None) == (other is None)
        assert found is None or other is None or found.cost == other.cost, seed


def wide(count: int) -> tuple[Options, Price]:
    """Quantities with nine values each, every value by work of its own, all alike in price."""
    options: Options = {}
    for place in range(count):
        first = 9 * place
        options[f"quantity-{place}"] = [
            Option(0.0), *(Option(float(n), 1 << first + n, first + n, 1) for n in range(1, 9))
        ]  # fmt: skip
    return options, lambda tasks: (60 * tasks.bit_count(), 0)


def total_at_least(options: Options, wanted: float) -> Demand:
    def holds(row: Row) -> bool:
        return sum(value for value in row if isinstance(value, float)) >= wanted

    return Demand(tuple(options), holds)


def test_time_out_before_any_choice_is_an_error() -> None:
    options, price = wide(5)
    with pytest.raises(OutOfTime):
        cheapest(options, [total_at_least(options, 39.5)], price, lambda: True)


def test_time_out_after_a_choice_gives_it_unproven() -> None:
    options, price = wide(5)
    demand = total_at_least(options, 20.0)
    full = cheapest(options, [demand], price, never)
    cut = cheapest(options, [demand], price, lambda: True)
    assert full is not None
    assert full.proven
    assert full.cost[0] == 3 * 60  # 8 + 8 + 4 and so on
    assert cut is not None
    assert not cut.proven
    assert demand.suits(cut.options[name] for name in demand.scope)
    assert cut.cost >= full.cost


def test_a_demand_that_nothing_can_change_is_not_passed_over() -> None:
    options = {"quantity-0": [Option(0.0)]}
    refused = Demand((), lambda _: False)
    assert cheapest(options, [refused], lambda _: (0, 0), never) is None
    assert cheapest({}, [refused], lambda _: (0, 0), never) is None
    empty = cheapest({}, [], lambda tasks: (60 * tasks.bit_count(), 0), never, given=3)
    assert empty is not None
    assert empty.cost == (120, 0, 0, 0)


# A few settings of a shipped card, held to the questions on them alone.
FEW = ("beater_drive.driving", "beater_drive.driven", "chopper_drive.driving", "chopper_drive.driven", "feeder.drum",
       "shoe.sieve")  # fmt: skip
FEW_RULES = ("beater-belt-on-mismatched-pulleys", "beater-step-wrong-for-crop", "chopper-belt-on-mismatched-pulleys",
             "chopper-speed-wrong-for-crop", "drum-set-for-another-crop", "sieve-too-open", "sieve-too-closed")  # fmt: skip


@pytest.fixture(scope="module", params=["corn", "soybean"])
def few(request: pytest.FixtureRequest, planner: Planner) -> WorkSheet:
    sheet = planner.worksheet("axial-single", request.param).sheet
    kept = tuple(question for question in sheet.questions if question.rule.id in FEW_RULES)
    assert len(kept) == len(FEW_RULES)
    return make_worksheet(replace(sheet, questions=kept), planner.rulebook)


class Everything:
    """Every assignment of a few settings and every set of procedures, looked at one by one."""

    def __init__(self, worksheet: WorkSheet) -> None:
        self.worksheet = worksheet
        self.asked = [Asked(worksheet.sheet, question) for question in worksheet.sheet.questions]
        self.values = {name: self.positions(name) for name in FEW}
        self.work = sorted({number for name in FEW for number in worksheet.tasks.remedies[name]})

    def positions(self, name: str) -> list[Value | Sided]:
        quantity = self.worksheet.quantity(name)
        if quantity.form is Form.WORD:
            some: list[Value] = [word for word, _ in quantity.words]
        else:
            assert (quantity.lowest, quantity.highest, quantity.unit) == (0, 20, "mm")  # set in steps of 1 mm
            some = [float(position) for position in range(21)]
        return [(value, value) if quantity.sided else value for value in some]

    def answers(self, found: Mapping[str, Value | Sided]) -> Iterator[tuple[Cost, int, dict[str, Value | Sided]]]:
        """Every piece of work after which all questions hold: cost, tasks and values."""
        tasks = self.worksheet.tasks
        sets = []
        for chosen in product((False, True), repeat=len(self.work)):
            done = [number for number, take in zip(self.work, chosen, strict=True) if take]
            union = 0
            for number in done:
                union |= tasks.closure[number]
            movable = {name for number in done for name in tasks.all[number].moves}
            sets.append((union, movable, *self.price(union)))
        for row in product(*self.values.values()):
            values = dict(zip(self.values, row, strict=True))
            if not all(asked.on(values) in GOOD for asked in self.asked):
                continue
            moved = {name for name, value in values.items() if value != found[name]}
            change = sum(self.share(found[name], values[name]) for name in moved)
            for union, movable, seconds, parts in sets:
                if moved <= movable:
                    yield (seconds, parts, len(moved), round(1_000_000 * change)), union, values

    def price(self, union: int) -> tuple[int, int]:
        members = [self.worksheet.tasks.all[number] for number in numbers(union)]
        return round(60 * sum(task.minutes for task in members)), sum(len(task.parts) for task in members)

    def share(self, before: Value | Sided, after: Value | Sided) -> float:
        if isinstance(before, tuple) and isinstance(after, tuple):
            return sum(one != other for one, other in zip(before, after, strict=True)) / 2
        if isinstance(before, float) and isinstance(after, float):
            return abs(before - after) / 20
        return 1.0


def test_a_few_settings_of_a_card_cost_what_trying_everything_finds(
    few: WorkSheet, legal: Callable[[str, str], Setup]
) -> None:
    everything = Everything(few)
    chance = random.Random(few.sheet.crop.id)
    base = legal("axial-single", few.sheet.crop.id).values
    unique = 0
    for _ in range(25):
        found = dict(base)
        for name in FEW:
            if chance.random() < 0.6:
                found[name] = chance.choice(everything.values[name])
                if few.quantity(name).sided and chance.random() < 0.4:
                    found[name] = ("raised", "lowered")
        everything_found = sorted(everything.answers(found), key=lambda answer: answer[0])
        result = Case(few, found).correct(never)
        assert not isinstance(result, Stuck)
        best = everything_found[0][0]
        assert result.cost == best
        optimal = [(tasks, values) for cost, tasks, values in everything_found if cost == best]
        after = {name: result.values[name] for name in FEW}
        assert (result.tasks, after) in optimal
        unique += len(optimal) == 1
    assert unique > 10  # and then the one plan that there is was found
    assert all(few.quantity(name).role is Role.SETTING for name in FEW)
