"""How fast a plan is found, beside OR-Tools' CP-SAT building and solving the same model, in one run.

    python tests/bench/plan_speed.py [setups for each card and crop]

Random as-found setups of every card and crop, one to eight things wrong with each. Told apart: the first pass, with empty
tables, and a later one. The plan alone is what the ratio is of; the replay by the plain audit comes on top and is shown.
"""

from __future__ import annotations

import contextlib
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial

import rules
from audit.intake.rulebook import read_rulebook
from audit.nouns.plan import Locks
from audit.nouns.setup import Setup
from audit.planning.correction import Case
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime
from audit.planning.worksheet import WorkSheet
from tests.audit.planning.plans import never
from tests.audit.planning.reference import Reference
from tests.audit.planning.spoiling import Spoiler

MOST = 2.0
"""Seconds after which a setup is given up; it then counts with that."""


def main(each: int) -> None:
    """Prints medians, 99th percentiles and ratios."""
    planner = Planner(read_rulebook(rules.root()))
    work: list[tuple[WorkSheet, Setup, Reference]] = []
    for card in planner.rulebook.machines:
        for crop in planner.rulebook.crops:
            worksheet = planner.worksheet(card, crop)
            legal = planner.legal_setup(card, crop, "", (), never)
            reference = Reference(worksheet, legal.values)
            spoiled = Spoiler(worksheet, legal).setups(f"{card} {crop}", 3 * each)
            plain = [one for one in spoiled if one.locks == Locks() and one.setup.values.get("job.header_kind")]
            work += [(worksheet, one.setup, reference) for one in plain[:each]]
    fresh = Planner(planner.rulebook)
    for worksheet, _, _ in work:
        fresh.worksheet(worksheet.sheet.card.id, worksheet.sheet.crop.id)
    first = [timed(partial(correct, fresh.worksheet(w.sheet.card.id, w.sheet.crop.id), s)) for w, s, _ in work]
    later = [timed(partial(correct, w, s)) for w, s, _ in work]
    later = [timed(partial(correct, w, s)) for w, s, _ in work]
    replayed = [timed(partial(replay, planner, s)) for _, s, _ in work]
    for _, setup, reference in work:
        reference.solve(setup.values, Locks())  # fills its tables, which are then not counted
    peer = [timed(partial(r.solve, s.values, Locks())) for _, s, r in work]
    print(f"{len(work)} setups of {len(planner.rulebook.machines)} cards and {len(planner.rulebook.crops)} crops, ms")
    for name, times in (
        ("plan, first pass", first), ("plan, later pass", later), ("with replay and steps", replayed),
        ("CP-SAT, model built and solved", peer),
    ):  # fmt: skip
        print(f"{name:32} median {1e3 * statistics.median(times):8.2f}   99th {1e3 * at(times, 0.99):8.2f}")
    ratios = sorted(a / b for a, b in zip(later, peer, strict=True))
    print(
        f"plan / CP-SAT: median of ratios {statistics.median(ratios):.2f}, of medians "
        f"{statistics.median(later) / statistics.median(peer):.2f}, slower in {sum(r > 1 for r in ratios)} setups"
    )


def correct(worksheet: WorkSheet, setup: Setup) -> None:
    until = time.perf_counter() + MOST
    with contextlib.suppress(OutOfTime):
        Case(worksheet, setup.values).correct(lambda: time.perf_counter() > until)


def replay(planner: Planner, setup: Setup) -> None:
    until = time.perf_counter() + MOST
    with contextlib.suppress(OutOfTime):
        planner.plan(setup, out_of_time=lambda: time.perf_counter() > until)


def timed(work: Callable[[], object]) -> float:
    """Seconds of processor time: what else runs on the machine slows neither side."""
    start = time.process_time()
    work()
    return time.process_time() - start


def at(times: list[float], share: float) -> float:
    return sorted(times)[min(len(times) - 1, int(share * len(times)))]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10)
