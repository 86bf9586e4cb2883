"""Rounds by constraint programming; the only place that imports the solver.

Choosing days, technicians and routes together is a routing problem with an objective in three steps.
OR-Tools' CP-SAT has circuits, linear sums and bounds for it. The backtracking solver that plans corrections has none of
them and must list every solution: choosing one of four rounds for each unit by risk and day, without any route, took it
25 times as long for six units and 1,500 times as long for eight, and for ten it was not done after four minutes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from ortools.sat.python import cp_model

from audit.fleet.jobs import Job, Piece, Slot
from audit.fleet.rounds import Book, Rounds, Stop, Task, timetable

_DEPOT = 0


@dataclass(frozen=True, slots=True)
class Window:
    """Rounds that may change, and the work that may go into them.

    Attributes:
        jobs: those wholly free: all their pieces are in these rounds, or in none at all.
        pinned: pieces of other jobs, each of which must stay on its day.
        shared_elsewhere: where two others share work on a day.
        now: these rounds as they are.
    """

    book: Book
    slots: tuple[Slot, ...]
    jobs: tuple[Job, ...]
    pinned: tuple[tuple[Piece, date], ...]
    shared_elsewhere: frozenset[tuple[date, str]]
    now: Rounds


@dataclass(frozen=True, slots=True)
class Answer:
    """The rounds anew, no worse than before.

    Attributes:
        bounds: nothing has held hours missed, or risk times days, below these (of these jobs).
        proven: nothing better exists, travel included.
        effort: deterministic time that was spent.
    """

    rounds: Rounds
    bounds: tuple[int, int]
    proven: bool
    effort: float


def solve(window: Window, effort: float) -> Answer:
    """Better rounds, in three steps: held units in time, then risk removed early, then little travel.

    Args:
        effort: deterministic time of the solver for each step, so that every machine finds the same rounds.
    """
    model = _Rounds(window)
    rounds, bounds, proven = window.now, [], True
    for aim in (model.held_missed, model.risk_days, model.travel):
        found = model.minimise(aim, effort)
        bounds.append(found.bound)
        proven = proven and found.proven
        if found.value is None:
            return Answer(rounds, (bounds[0], bounds[1] if len(bounds) > 1 else 0), False, model.spent)
        rounds = model.rounds()
        model.model.add(aim <= found.value)
    return Answer(rounds, (bounds[0], bounds[1]), proven, model.spent)


class _Least(NamedTuple):
    """The least value found of an aim, None for none; the bound below it; whether it is the least there is."""

    value: int | None
    bound: int
    proven: bool


class _Rounds:
    def __init__(self, window: Window) -> None:
        self.window, self.book = window, window.book
        self.model = cp_model.CpModel()
        self.vars: list[cp_model.IntVar] = []
        self.values: list[int] = []
        self.slots = window.slots
        self.spent = 0.0
        self.does: dict[tuple[Task, Slot], cp_model.IntVar] = {}
        self.at: dict[tuple[Slot, str], list[Piece]] = defaultdict(list)
        self.done = {job.unit: self.truth(f"done {job.unit}") for job in window.jobs}
        self.day_of: dict[Task, cp_model.LinearExpr] = {}
        for job in window.jobs:
            for piece in job.pieces:
                self.place(piece, [slot for slot in self.slots if slot in piece.slots], self.done[job.unit])
            for one, other in zip(job.pieces, job.pieces[1:], strict=False):
                first, second = self.day_of[job.unit, one.part], self.day_of[job.unit, other.part]
                self.model.add(second >= first + self.done[job.unit])
        for piece, day in window.pinned:
            self.place(piece, [slot for slot in self.slots if slot in piece.slots and slot[1] == day], 1)
        self.arcs: dict[Slot, dict[tuple[str, str], cp_model.IntVar]] = {}
        self.ways: list[cp_model.LinearExpr] = []
        begins: dict[tuple[Slot, str], cp_model.IntVar] = {}
        for slot in self.slots:
            self.route(slot, begins)
        self.meet(begins)
        held = [job for job in window.jobs if job.held]
        self.held_missed = _sum(job.risk * (1 - self.done[job.unit]) for job in held)
        self.risk_days = _sum(
            job.risk * (self.day_of[job.unit, len(job.pieces) - 1] + self.book.horizon * (1 - self.done[job.unit]))
            for job in window.jobs
        )
        self.travel = _sum(self.ways)
        self.hint(begins)

    def truth(self, name: str) -> cp_model.IntVar:
        return self.whole(1, name)

    def whole(self, most: int, name: str) -> cp_model.IntVar:
        var = self.model.new_int_var(0, most, name)
        self.vars.append(var)
        return var

    def place(self, piece: Piece, slots: Sequence[Slot], done: cp_model.IntVar | int) -> None:
        """One technician does it, or two on one day; or nobody does."""
        task = (piece.unit, piece.part)
        by_day: dict[date, list[cp_model.IntVar]] = defaultdict(list)
        for slot in slots:
            if piece.crew > 1 and (slot[1], piece.farm) in self.window.shared_elsewhere:
                continue
            var = self.truth(f"{task} {slot}")
            self.does[task, slot] = var
            self.at[slot, piece.farm].append(piece)
            by_day[slot[1]].append(var)
        on: dict[date, cp_model.LinearExpr] = {}
        for day, some in by_day.items():
            if piece.crew == 1:
                on[day] = _sum(some)
            else:
                both = self.truth(f"{task} {day}")
                self.model.add(_sum(some) == piece.crew * both)
                on[day] = both
        self.model.add(_sum(on.values()) == done)
        self.day_of[task] = _sum(self.book.offset(day) * var for day, var in on.items())

    def route(self, slot: Slot, begins: dict[tuple[Slot, str], cp_model.IntVar]) -> None:
        """One round: out from the base, through every farm where something is done, and back within the day."""
        ways, most, base = self.book.visits.travel, self.book.visits.minutes_a_day, self.book.base(slot)
        farms = sorted({farm for where, farm in self.at if where == slot})
        work = {farm: self.work(slot, farm) for farm in farms}
        node = {farm: number for number, farm in enumerate(farms, 1)}
        arcs: list[tuple[int, int, cp_model.LiteralT]] = []
        named: dict[tuple[str, str], cp_model.IntVar] = {}
        idle = self.truth(f"idle {slot}")
        arcs.append((_DEPOT, _DEPOT, idle))
        for farm in farms:
            there = self.truth(f"there {slot} {farm}")
            some = [self.does[(piece.unit, piece.part), slot] for piece in self.at[slot, farm]]
            self.model.add_max_equality(there, some)
            arcs.append((node[farm], node[farm], there.negated()))
            begins[slot, farm] = self.whole(most, f"begin {slot} {farm}")
            out = named["", farm] = self.truth(f"{slot} out > {farm}")
            back = named[farm, ""] = self.truth(f"{slot} {farm} > back")
            arcs += [(_DEPOT, node[farm], out), (node[farm], _DEPOT, back)]
            begin = begins[slot, farm]
            self.model.add(begin >= ways[base, farm]).only_enforce_if(out)
            self.model.add(begin + work[farm] + ways[farm, base] <= most).only_enforce_if(back)
        for one in farms:
            for other in farms:
                if one != other:
                    var = named[one, other] = self.truth(f"{slot} {one} > {other}")
                    arcs.append((node[one], node[other], var))
                    later = begins[slot, one] + work[one] + ways[one, other]
                    self.model.add(begins[slot, other] >= later).only_enforce_if(var)
        self.model.add_circuit(arcs)
        self.arcs[slot] = named
        way = _sum(ways[one or base, other or base] * var for (one, other), var in named.items())
        self.ways.append(way)
        self.model.add(way + _sum(work.values()) <= most)

    def work(self, slot: Slot, farm: str) -> cp_model.LinearExpr:
        return _sum(piece.minutes * self.does[(piece.unit, piece.part), slot] for piece in self.at[slot, farm])

    def meet(self, begins: Mapping[tuple[Slot, str], cp_model.IntVar]) -> None:
        """Two who share work on a farm begin there together, and share all such work of that day."""
        most = self.book.visits.minutes_a_day
        shared: dict[tuple[date, str], list[Slot]] = defaultdict(list)
        for (slot, farm), pieces in self.at.items():
            if any(piece.crew > 1 for piece in pieces):
                shared[slot[1], farm].append(slot)
        for (day, farm), slots in shared.items():
            time = self.whole(most, f"meet {day} {farm}")
            crew = {slot: self.truth(f"crew {slot} {farm}") for slot in slots}
            self.model.add(_sum(crew.values()) <= 2)
            for slot, var in crew.items():
                for piece in self.at[slot, farm]:
                    if piece.crew > 1:
                        self.model.add_implication(self.does[(piece.unit, piece.part), slot], var)
                self.model.add(begins[slot, farm] == time).only_enforce_if(var)

    def minimise(self, aim: cp_model.LinearExpr, effort: float) -> _Least:
        self.model.minimize(aim)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1  # several race each other, and the winner depends on the clock
        solver.parameters.random_seed = 0
        solver.parameters.max_deterministic_time = effort
        status = solver.solve(self.model)
        self.spent += solver.response_proto.deterministic_time
        bound = round(solver.best_objective_bound)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return _Least(None, bound, False)
        self.values = [solver.value(var) for var in self.vars]
        self.model.clear_hints()  # type: ignore[no-untyped-call]  # it has no types
        for var, value in zip(self.vars, self.values, strict=True):
            self.model.add_hint(var, value)
        return _Least(round(solver.objective_value), bound, status == cp_model.OPTIMAL)

    def hint(self, begins: Mapping[tuple[Slot, str], cp_model.IntVar]) -> None:
        """Start from the rounds as they are now."""
        now = self.window.now
        does = {((p.unit, p.part), slot) for slot, stops in now.items() for stop in stops for p in stop.pieces}
        for key, var in self.does.items():
            self.model.add_hint(var, key in does)
        units = {unit for (unit, _), _ in does}
        for unit, var in self.done.items():
            self.model.add_hint(var, unit in units)
        for slot, named in self.arcs.items():
            way = ["", *(stop.farm for stop in now.get(slot, ())), ""]
            taken = set(pairwise(way)) if len(way) > 2 else set()
            for pair, var in named.items():
                self.model.add_hint(var, pair in taken)
        for day in {slot[1] for slot in self.slots}:
            times = timetable(self.book, {slot: stops for slot, stops in now.items() if slot[1] == day}) or {}
            for where, minute in times.items():
                if where in begins:
                    self.model.add_hint(begins[where], minute)

    def rounds(self) -> dict[Slot, tuple[Stop, ...]]:
        """The rounds that the solver found last."""
        value = {var.index: number for var, number in zip(self.vars, self.values, strict=True)}
        found: dict[Slot, tuple[Stop, ...]] = {}
        for slot in self.slots:
            after = {one: other for (one, other), var in self.arcs[slot].items() if value[var.index]}
            stops, farm = [], after.get("", "")
            while farm:
                pieces = self.at[slot, farm]
                chosen = (piece for piece in pieces if value[self.does[(piece.unit, piece.part), slot].index])
                stops.append(Stop(farm, tuple(chosen)))
                farm = after[farm]
            found[slot] = tuple(stops)
        return found


def _sum(terms: Iterable[cp_model.LinearExpr]) -> cp_model.LinearExpr:
    """A sum, of nothing too."""
    return cp_model.LinearExpr.sum(list(terms))
