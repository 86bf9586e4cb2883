"""Plans the work that puts a setup right, and replays every plan before it is shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import product

from audit.nouns.plan import Branch, Conflict, Lock, Locks, Plan, Planned
from audit.nouns.quantity import Role, Sided, Value
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup, Taken, Unit
from audit.planning.conflict import conflict_of
from audit.planning.correction import Case, Correction, Stuck, as_locks
from audit.planning.steps import plan_of
from audit.planning.worksheet import WorkSheet, make_worksheet
from audit.run import audit_on_sheet
from audit.sheet import make_sheet

HEADER = "job.header_kind"
NO_LOCKS = Locks()


def _never() -> bool:
    return False


class Planner:
    """Plans by one rulebook; work sheets are made once and kept.

    Args:
        rulebook: whose rules must hold after the work.
        hold_at: lowest risk level that holds a harvest start.
    """

    def __init__(self, rulebook: Rulebook, hold_at: Level = Level.HIGH) -> None:
        self.rulebook, self.hold_at = rulebook, hold_at
        self._worksheets: dict[tuple[str, str], WorkSheet] = {}

    def worksheet(self, card: str, crop: str) -> WorkSheet:
        """The work sheet of a card for a crop."""
        found = self._worksheets.get((card, crop))
        if found is None:
            sheet = make_sheet(self.rulebook, self.rulebook.machines[card], self.rulebook.crops[crop])
            found = self._worksheets[card, crop] = make_worksheet(sheet, self.rulebook)
        return found

    def plan(
        self, setup: Setup, locks: Locks = NO_LOCKS, out_of_time: Callable[[], bool] = _never, header: str = ""
    ) -> Planned:
        """The work after which every asked rule holds.

        Args:
            setup: as found.
            locks: what may not be done.
            out_of_time: asked now and then; once it says so, the best plan found so far is given, unproven.
            header: kind of header to change to first; '' to keep the one that is on, if the crop takes it.

        Raises: OutOfTime: before any plan was found.
        """
        worksheet = self.worksheet(setup.unit.card, setup.crop)
        before = audit_on_sheet(worksheet.sheet, setup, self.hold_at)
        branches = []
        for builds in undecided(worksheet, setup.values):
            decided = replace(setup, values={**setup.values, **dict(builds)})
            branches.append(Branch(builds, self.outcome(worksheet, decided, locks, out_of_time, header)))
        return Planned(before, locks, tuple(branches))

    def legal_setup(
        self, card: str, crop: str, header: str, builds: tuple[tuple[str, str], ...], out_of_time: Callable[[], bool]
    ) -> Setup:
        """A setup of a machine that keeps every rule asked of it, the values well inside their windows.

        Args:
            header: kind of header; '' for the first that the crop takes.
            builds: choices by ``build.<name>``; the first choice of the card for those not given.

        Raises: ValueError: there is none.   OutOfTime.
        """
        worksheet = self.worksheet(card, crop)
        decided = {f"build.{b.name}": b.choices[0][0] for b in worksheet.sheet.card.builds} | dict(builds)
        values: dict[str, Value | Sided] = {**decided, "job.crop": crop}
        if header:
            values[HEADER] = header
        found = Case(worksheet, values).correct(out_of_time)
        if isinstance(found, Stuck):
            raise ValueError(f"{card} has no legal setup for {crop}")
        known = {name: value for name, value in found.values.items() if value is not None}
        fitted = tuple((name.removeprefix("build."), word) for name, word in decided.items())
        unit = Unit(card, card, fitted=fitted)
        return Setup(unit, crop, str(known.get(HEADER) or ""), Taken(), known, {})

    def outcome(
        self, worksheet: WorkSheet, setup: Setup, locks: Locks, out_of_time: Callable[[], bool], header: str
    ) -> Plan | Conflict:
        """A plan or conflict for a setup whose builds are decided."""
        best: tuple[Case, Correction] | None = None
        stuck: tuple[Case, Stuck] | None = None
        for case in self.cases(worksheet, setup, locks, header):
            found = case.correct(out_of_time)
            if isinstance(found, Stuck):
                stuck = stuck or (case, found)
            elif best is None or found.cost < best[1].cost:
                best = case, found
        if best is None:
            assert stuck is not None  # there is at least one case
            return conflict_of(*stuck, out_of_time)
        return self.replayed(*best, setup)

    def cases(self, worksheet: WorkSheet, setup: Setup, locks: Locks, header: str) -> Iterator[Case]:
        """The setup with the header that is on; where the crop takes another, with each that it takes."""
        banned = as_locks(locks)
        case = Case(worksheet, setup.values, banned)
        if case.found[HEADER] is None and not header:
            yield from self.unknown_header(case, setup, banned) or [case]
            return
        kinds = [header] if header and header != setup.values.get(HEADER) else [] if header else other_headers(case)
        change = next((n for n in worksheet.tasks.remedies.get(HEADER, ())), None)
        changed = []
        if kinds and change is not None and not worksheet.tasks.closure[change] & case.banned:
            task = worksheet.tasks.all[change]
            unknown: Mapping[str, Value | Sided] = dict.fromkeys(task.takes)
            for kind in kinds:
                values = {**setup.values, **unknown, HEADER: kind}
                changed.append(Case(worksheet, values, banned, given=worksheet.tasks.closure[change]))
        yield from changed or [case]

    def unknown_header(self, case: Case, setup: Setup, locks: tuple[Lock, ...]) -> list[Case]:
        """A setup whose header is not known, once it was looked at, with each header that the crop takes."""
        worksheet = case.worksheet
        look = worksheet.tasks.closure[worksheet.tasks.takers[HEADER]]
        if look & case.banned:
            return []
        return [Case(worksheet, {**setup.values, HEADER: kind}, locks, given=look) for kind in taken_headers(worksheet)]

    def replayed(self, case: Case, correction: Correction, setup: Setup) -> Plan:
        """The plan, after the plain audit found nothing wrong with what it leads to."""
        values = {name: value for name, value in correction.values.items() if value is not None}
        after = replace(setup, values=values, header_kind=str(values.get(HEADER) or ""))
        report = audit_on_sheet(case.worksheet.sheet, after, self.hold_at)
        if report.findings:
            wrong = ", ".join(sorted({finding.rule for finding in report.findings}))
            raise RuntimeError(f"the plan for {setup.unit.id} would leave these open, which must not happen: {wrong}")
        return plan_of(case, correction, case.worksheet.filled(setup.values), after)


def undecided(worksheet: WorkSheet, values: Mapping[str, Value | Sided]) -> list[tuple[tuple[str, str], ...]]:
    """The ways in which builds that some open question depends on may turn out; one empty one if all are decided."""
    filled = worksheet.filled(values)
    names = dict.fromkeys(
        name
        for number in worksheet.failing(filled)
        for name in worksheet.probes[number].inputs
        if worksheet.quantity(name).role is Role.BUILD and filled[name] is None
    )
    choices = [[(name, word) for word, _ in worksheet.quantity(name).words] for name in names]
    return list(product(*choices))


def other_headers(case: Case) -> list[str]:
    """Kinds of header that the crop takes, where the one that is on is not one of them."""
    worksheet = case.worksheet
    if not any(number in case.broken for number in _asking(worksheet)):
        return []
    return taken_headers(worksheet)


def taken_headers(worksheet: WorkSheet) -> list[str]:
    """Kinds of header that the crop takes, in the order of the vocabulary."""
    asking = _asking(worksheet)
    words = [word for word, _ in worksheet.quantity(HEADER).words]
    return [word for word in words if all(worksheet.probes[number][word] for number in asking)]


def _asking(worksheet: WorkSheet) -> list[int]:
    """Numbers of the questions on the kind of header alone."""
    return [n for n in worksheet.by_input.get(HEADER, ()) if worksheet.probes[n].inputs == (HEADER,)]
