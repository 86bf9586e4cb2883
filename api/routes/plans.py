"""POST /plans, /changeovers and /whatifs"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from api.errors import Refusal
from api.models import Changed, Counts, Digest, FoundFinding, Named, Number, Plan, Question, SideValue
from api.plan_wire import changeover_json, out_of_time_after, planned_json, whatif_json
from api.routes.audits import EXAMPLE, SETUP, read_body
from api.routes.state import engines_of, json_answer
from api.schema import FILLED
from audit.intake.json_text import decode_json, tree_of
from audit.intake.locks import NO_LEGAL, read_builds, read_card, read_changes, read_crop, read_header, read_locks
from audit.intake.setups import read_setup
from audit.intake.tree import Fields, Node, Problems, said
from audit.nouns.machine import MachineCard
from audit.nouns.plan import Locks
from audit.nouns.problem import NOWHERE, BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.planning.changeover import changeover, what_changes
from audit.planning.planner import Planner
from audit.planning.solver import OutOfTime
from audit.planning.whatif import what_if

router = APIRouter(tags=["plans"])

SECONDS = 10.0
"""Longest that one answer is searched for."""


class MustHold(Question):
    """A rule that can't hold with the rest, in words."""

    given: str
    hold: str


class LockLine(BaseModel):
    """A lock as it stands, and what giving it up would mean."""

    kind: Literal["leave", "lacking", "people", "minutes"]
    what: str
    says: str
    opens: str


class FixedValue(Named):
    value: list[SideValue]


class Conflict(BaseModel):
    """Why no work makes every asked rule hold; nothing of it can be left out."""

    rules: list[MustHold]
    locks: list[LockLine]
    fixed: list[FixedValue] = Field(description="what nothing on this machine moves or brings right")
    releases: list[list[LockLine]] = Field(description="giving up any one of these sets opens a plan")


class PlanBranch(BaseModel):
    """For one way in which undecided builds may turn out: a plan, or why there is none."""

    builds: dict[str, str]
    plan: Plan | None
    conflict: Conflict | None


class FoundAudit(BaseModel):
    clearance: Literal["cleared", "held"]
    counts: Counts
    findings: list[FoundFinding]


class LocksAnswer(BaseModel):
    leave: list[str]
    lacking: list[str]
    people: int | None
    minutes: float | None


class PlanAnswer(BaseModel):
    """A setup's audit in short and the work that puts it right."""

    unit: str
    card: str
    crop: str
    header_kind: str
    rulebook: Digest
    builds: dict[str, str]
    found: FoundAudit
    locks: LocksAnswer
    branches: list[PlanBranch]


class ChangeoverAnswer(PlanAnswer):
    """The same for another crop than today's."""

    from_crop: str


class FactValue(BaseModel):
    value: Number
    shown: str
    why_unknown: str


class FactChange(BaseModel):
    name: str
    meaning: str
    unit: str
    before: FactValue
    after: FactValue


class WhatIfAnswer(BaseModel):
    """What some changes would do: to facts, to findings, and to the work."""

    changes: list[Changed]
    facts: list[FactChange]
    gone: list[FoundFinding]
    new: list[FoundFinding]
    before: PlanAnswer
    after: PlanAnswer


HoldAt = Annotated[
    Literal["high", "serious", "medium", "low"] | None,
    Query(description="lowest level that holds; else the server's"),
]
_NAMES = {"type": ["array", "null"], "items": {"type": "string", "pattern": FILLED}}
_FREE = {"type": ["object", "null"]}
LOCKS = {
    "title": "Locks",
    "type": ["object", "null"],
    "description": "What may not be done.",
    "properties": {
        "leave": {**_NAMES, "description": "settings, readings, parts, stations or procedures that stay as they are"},
        "lacking": {**_NAMES, "description": "parts and tools that are not on hand"},
        "people": {"type": ["integer", "null"], "minimum": 1, "description": "most people there are"},
        "minutes": {"type": ["number", "null"], "minimum": 0, "description": "most minutes there are"},
    },
    "additionalProperties": False,
}
TO = {
    "type": "object",
    "properties": {"crop": {"type": "string"}, "header": {"type": ["string", "null"]}},
    "required": ["crop"],
    "additionalProperties": False,
}
CHANGES = {
    "type": "object",
    "description": "Sections as in a setup, and which variants are fitted; null says not known.",
    "properties": dict.fromkeys(("settings", "readings", "events", "job", "fitted"), _FREE),
    "additionalProperties": False,
}


OF_A_SETUP = {
    "type": "object",
    "properties": {"setup": SETUP, "to": TO, "locks": LOCKS},
    "required": ["setup", "to"],
    "additionalProperties": False,
}
OF_A_CARD = {
    "type": "object",
    "properties": {"card": {"type": "string"}, "fitted": _FREE, "from": {"type": "string"}, "to": TO},
    "required": ["card", "from", "to"],
    "additionalProperties": False,
}


def _taking(schema: dict[str, Any], example: dict[str, Any]) -> dict[str, Any]:
    """What the OpenAPI document says of a body."""
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema, "example": example}}}}


def _mapping(**properties: Any) -> dict[str, Any]:
    """A body whose keys are all needed, save the locks."""
    required = [key for key in properties if key != "locks"]
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


@router.post(
    "/plans",
    response_model=PlanAnswer,
    summary="The least work that puts a setup right",
    description="Finds the cheapest work after which every asked rule holds, in walking order, or says why there is "
    "none: a conflict is an answer, too. Nothing is stored.",
    openapi_extra=_taking(
        _mapping(setup=SETUP, locks=LOCKS), {"setup": EXAMPLE, "locks": {"lacking": ["drive sprocket"], "people": 2}}
    ),
)
async def plans(request: Request, hold_at: HoldAt = None) -> Response:
    return await _answer(request, hold_at, _plan)


@router.post(
    "/changeovers",
    response_model=ChangeoverAnswer,
    summary="The work from one crop to another",
    description="For a machine as found (`setup`, `to`, `locks`), or for any machine of a card that is in order "
    "(`card`, `fitted`, `from`, `to`). Nothing is stored.",
    openapi_extra=_taking(
        {"oneOf": [OF_A_SETUP, OF_A_CARD]}, {"setup": EXAMPLE, "to": {"crop": "soybean", "header": "draper"}}
    ),
)
async def changeovers(request: Request, hold_at: HoldAt = None) -> Response:
    return await _answer(request, hold_at, _changeover)


@router.post(
    "/whatifs",
    response_model=WhatIfAnswer,
    summary="What some changes to a setup would do",
    description="Audits and plans a setup as it is and as it would be. Nothing is stored.",
    openapi_extra=_taking(
        _mapping(setup=SETUP, changes=CHANGES, locks=LOCKS),
        {"setup": EXAMPLE, "changes": {"settings": {"feeder.drum": "raised"}, "readings": {"feeder.sheave_gap": None}}},
    ),
)
async def whatifs(request: Request, hold_at: HoldAt = None) -> Response:
    return await _answer(request, hold_at, _whatif)


async def _answer(
    request: Request, hold_at: str | None, work_out: Callable[[Asked, Planner], dict[str, Any]]
) -> Response:
    body = await read_body(request)
    level: Level = request.app.state.hold_at if hold_at is None else Level[hold_at.upper()]

    def answer_in_time() -> dict[str, Any]:
        planner = engines_of(request).planner(level)
        return work_out(Asked(body, planner.rulebook), planner)

    try:
        answer = await run_in_threadpool(answer_in_time)
    except OutOfTime:
        detail = f"no plan was found in {SECONDS:g} seconds; nothing says that there is none."
        raise Refusal(503, "Out of time", detail) from None
    return json_answer(answer)


def _plan(asked: Asked, planner: Planner) -> dict[str, Any]:
    setup, locks = asked.setup(), asked.locks()
    asked.close()
    return planned_json(planner.plan(setup, locks, out_of_time_after(SECONDS)), asked.rulebook)


def _changeover(asked: Asked, planner: Planner) -> dict[str, Any]:
    until = out_of_time_after(SECONDS)
    if "card" in asked.fields.items and "setup" not in asked.fields.items:
        card = asked.card_named()
        start, (crop, header) = asked.crop(asked.fields, "from"), asked.to()
        fitted = asked.fields.node("fitted", required=False)
        builds = read_builds(fitted, card, asked.problems) if fitted else ()
        asked.close()
        try:
            planned = what_changes(planner, card.id, start, crop, header, builds, until)
        except ValueError as error:
            raise BadInput([Problem(Place(path="from"), f"{error}.", NO_LEGAL)]) from None
        return changeover_json(planned, start, asked.rulebook)
    setup, locks, (crop, header) = asked.setup(), asked.locks(), asked.to()
    asked.close()
    return changeover_json(changeover(planner, setup, crop, header, locks, until), setup.crop, asked.rulebook)


def _whatif(asked: Asked, planner: Planner) -> dict[str, Any]:
    setup, locks = asked.setup(), asked.locks()
    after = asked.changed(setup)
    asked.close()
    return whatif_json(what_if(planner, setup, after, locks, out_of_time_after(SECONDS)), setup, after, asked.rulebook)


class Asked:
    """A body, read piece by piece; what is wrong is collected, and ``close`` refuses it with all of that.

    Raises BadInput at once where the rest can't be read without: for a body that is no mapping, and for a setup or
    card that is not right.
    """

    def __init__(self, body: bytes, rulebook: Rulebook) -> None:
        self.rulebook, self.problems = rulebook, Problems()
        plain = decode_json(body, "", self.problems)
        if not self.problems and not isinstance(plain, dict):
            self.problems.add(NOWHERE, f"a request must be a mapping, not {said(plain)}.")
        self.refuse()
        self.fields = Fields(tree_of(plain, NOWHERE, self.problems), self.problems, "a request")
        self.refuse()
        self.of_card: MachineCard | None = None

    def refuse(self) -> None:
        if self.problems:
            raise BadInput(self.problems.found)

    def close(self) -> None:
        self.fields.close()
        self.refuse()

    def setup(self) -> Setup:
        """The setup; its problems have their places in the whole body."""
        node = self.fields.node("setup")
        if node is not None:
            try:
                found = read_setup(json.dumps(node.plain()).encode(), "", self.rulebook)
            except BadInput as error:
                for problem in error.problems:
                    path = f"setup/{problem.place.path}" if problem.place.path else "setup"
                    self.problems.add(Place(path=path), problem.message, problem.advice)
            else:
                self.of_card = self.rulebook.machines[found.unit.card]
                return found
        raise BadInput(self.problems.found)

    def card_named(self) -> MachineCard:
        node = self.fields.node("card")
        self.of_card = None if node is None else read_card(node, self.rulebook, self.problems)
        if self.of_card is None:
            raise BadInput(self.problems.found)
        return self.of_card

    @property
    def card(self) -> MachineCard:
        assert self.of_card is not None
        return self.of_card

    def locks(self) -> Locks:
        node = self.fields.node("locks", required=False)
        return Locks() if node is None else read_locks(node, self.card, self.rulebook, self.problems)

    def to(self) -> tuple[str, str]:
        """Crop and header to change to."""
        fields = self.fields.inner("to", "'to'")
        if fields is None:
            return "", ""
        crop = self.crop(fields, "crop")
        header = read_header(fields.node("header", required=False), self.card, self.rulebook, self.problems)
        fields.close()
        return crop, header

    def crop(self, fields: Fields, key: str) -> str:
        node: Node | None = fields.node(key)
        return "" if node is None else read_crop(node, self.card, self.rulebook, self.problems)

    def changed(self, before: Setup) -> Setup:
        """The setup as it would be."""
        node = self.fields.node("changes")
        plain = None if node is None else node.plain()
        if node is None or not isinstance(plain, dict):
            if node is not None:
                self.problems.add(node.place, f"'changes' must be a mapping, not {said(plain)}.")
            return before

        def place_of(path: str) -> Place:
            return Place(path=f"changes/{path}" if path else "changes")

        return read_changes(plain, before, self.rulebook, self.problems, place_of)
