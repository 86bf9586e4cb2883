"""The work for a unit: what puts it right, and what changes it over to another crop."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Annotated, Any

from fastapi import Query, Request, Response

from api.drawings.drive_train import drive_train, values_after
from api.drawings.positions import plan_positions
from api.errors import Refusal
from api.pages.cards import crops_of
from api.pages.door import pages_router
from api.pages.standing import Standing, standing
from api.pages.telling import told
from api.pages.view import page, view_of
from api.plan_wire import changeover_json, out_of_time_after, planned_json
from api.routes.plans import SECONDS
from api.routes.units import Reader, UnitId
from audit.facts import compute
from audit.intake.locks import read_crop, read_header, read_locks
from audit.intake.tree import Node, Problems
from audit.nouns.plan import Branch, Locks, Plan, Planned
from audit.nouns.problem import BadInput, Place
from audit.nouns.setup import Setup
from audit.nouns.vocabulary import on_card
from audit.planning.changeover import changeover
from audit.planning.solver import OutOfTime
from audit.sheet import Sheet

router = pages_router(prefix="/unit/{unit}")

Names = Annotated[list[str], Query(default_factory=list, max_length=50)]
People = Annotated[str, Query(max_length=6, pattern=r"^\d*$")]
Minutes = Annotated[str, Query(max_length=8, pattern=r"^\d*$")]
Word = Annotated[str, Query(max_length=80)]


@router.get("/plan")
def plan(
    request: Request, unit: UnitId, caller: Reader, leave: Names, lacking: Names, people: People = "",
    minutes: Minutes = "",
) -> Response:  # fmt: skip
    """The least work that puts the newest setup right, or why there is none."""
    found = standing(request, caller, unit)
    setup, locks = found.read, _locks(found, leave, lacking, people, minutes)
    planned = in_time(lambda: found.planner.plan(setup, locks, out_of_time_after(SECONDS)))
    plain = planned_json(planned, found.rulebook)
    return _work(request, found, setup, planned, plain, locks, title="plan", to="", header="")


@router.get("/changeover")
def change_over(
    request: Request, unit: UnitId, caller: Reader, leave: Names, lacking: Names, to: Word = "", header: Word = "",
    people: People = "", minutes: Minutes = "",
) -> Response:  # fmt: skip
    """The work from the newest setup to another crop; without a crop, which one it is to be."""
    found = standing(request, caller, unit)
    setup, rulebook = found.read, found.rulebook
    card = rulebook.machines[setup.unit.card]
    if not to:
        crops = [one for one in rulebook.crops if one in crops_of(card, rulebook) and one != setup.crop]
        kinds = [word for word, _ in on_card(card, rulebook.vocabulary)["job.header_kind"].words]
        return page(request, "changeover.html", unit=found.unit, crop=setup.crop, crops=crops, kinds=kinds)
    locks = _locks(found, leave, lacking, people, minutes)
    planned = changed_over(found, to, header, locks)
    plain = changeover_json(planned, setup.crop, rulebook)
    crop = planned.before.crop
    return _work(request, found, setup, planned, plain, locks, title="changeover", to=crop, header=header)


def changed_over(found: Standing, to: str, header: str, locks: Locks) -> Planned:
    """The changeover of the newest setup to a crop and a header ('' for one that suits). Raises BadInput, Refusal."""
    setup, rulebook = found.read, found.rulebook
    card, problems = rulebook.machines[setup.unit.card], Problems()
    crop = read_crop(Node(to, Place(path="to")), card, rulebook, problems)
    kind = read_header(Node(header or None, Place(path="header")), card, rulebook, problems)
    if problems:
        raise BadInput(problems.found)
    return in_time(lambda: changeover(found.planner, setup, crop, kind, locks, out_of_time_after(SECONDS)))


def _work(
    request: Request,
    found: Standing,
    setup: Setup,
    planned: Planned,
    plain: dict[str, Any],
    locks: Locks,
    title: str,
    to: str,
    header: str,
) -> Response:
    """The page of some work, each branch with its pictures."""
    sheet = found.auditor.sheet(setup.unit.card, planned.before.crop)
    known = compute(sheet, setup)
    pictures = [_pictures(found, sheet, known.values, setup, planned, one) for one in planned.branches]
    shown = told(view_of(request), plain)
    branches = list(zip(shown["branches"], pictures, strict=True))
    kept = {"leave": _offered(locks.leave, _moved(plain), sheet), "lacking": _offered(locks.lacking, _taken(plain))}
    return page(
        request, "work.html", unit=found.unit, newest=found.newest, work=shown,
        branches=branches, locks=locks, offered=kept, title=title, to=to, header=header,
    )  # fmt: skip


def _pictures(
    found: Standing, sheet: Sheet, values: Any, setup: Setup, planned: Planned, branch: Branch
) -> dict[str, Any]:
    outcome = branch.outcome
    if not isinstance(outcome, Plan):
        return {"positions": {}, "train": "", "train_narrow": ""}
    after = values_after(sheet, setup, outcome)
    rules = found.rulebook.rules
    trains = [drive_train(sheet, values, planned.before, rules, after, narrow) for narrow in (False, True)]
    positions = plan_positions(sheet, found.rulebook.vocabulary, values, outcome)
    return {"positions": positions, "train": trains[0], "train_narrow": trains[1]}


def _locks(found: Standing, leave: list[str], lacking: list[str], people: str, minutes: str) -> Locks:
    """What may not be done. Raises BadInput."""
    card, problems = found.rulebook.machines[found.read.unit.card], Problems()

    def named(names: list[str], key: str) -> Node:
        return Node([Node(name, Place(path=f"{key}/{at}")) for at, name in enumerate(names)], Place(path=key))

    tree: dict[str, Node] = {"leave": named(leave, "leave"), "lacking": named(lacking, "lacking")}
    if people:
        tree["people"] = Node(int(people), Place(path="people"))
    if minutes:
        tree["minutes"] = Node(int(minutes), Place(path="minutes"))
    locks = read_locks(Node(tree, Place(path="")), card, found.rulebook, problems)
    if problems:
        raise BadInput(problems.found)
    return locks


def in_time(search: Callable[[], Planned]) -> Planned:
    """What a search finds. Raises Refusal (503) where its time was over first."""
    try:
        planned = search()
    except OutOfTime:
        detail = f"No plan was found in {SECONDS:g} seconds; nothing says that there is none. Lock fewer things."
        raise Refusal(503, "Out of time", detail) from None
    return planned


def _moved(plain: dict[str, Any]) -> list[str]:
    """Settings that some plan moves."""
    return [
        change["quantity"] for branch in plain["branches"] for step in (branch["plan"] or {"steps": ()})["steps"]
        for change in step["changes"] if not change["taken"]
    ]  # fmt: skip


def _taken(plain: dict[str, Any]) -> list[str]:
    """Parts and tools that some plan takes."""
    return [
        thing for branch in plain["branches"] if branch["plan"]
        for thing in (*branch["plan"]["parts_needed"], *branch["plan"]["tools"])
    ]  # fmt: skip


def _offered(locked: Iterable[str], more: Iterable[str], sheet: Sheet | None = None) -> list[tuple[str, str, bool]]:
    """Things to lock: name, words, and whether it is locked now."""
    now = set(locked)
    names = sheet.names if sheet else {}
    return [
        (name, names[name].meaning if name in names else name, name in now) for name in dict.fromkeys((*locked, *more))
    ]
