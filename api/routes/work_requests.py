"""/units/{unit}/work-requests: asking for the work that puts a unit right"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Request, Response
from pydantic import AwareDatetime, BaseModel, Field

from api.errors import Refusal
from api.record_models import Sent
from api.record_wire import moment
from api.routes.desk import Answer, Body, desk_of, parsed, taking, unit_seen, write
from api.routes.units import Mechanic, UnitId
from api.service.recording import unit_named
from api.service.working import NoWork, ask_for, plan_in
from api.service.working import Request as Wanted
from api.store import organisations, setups
from api.store.database import Work

router = APIRouter(prefix="/units/{unit}/work-requests", tags=["telling other systems"])


class Party(Sent):
    """Somebody who has to do with the work; roles as the ADAPT Standard names them."""

    role: Literal["OPERATOR", "CUSTOM_SERVICE_PROVIDER", "AUTHORIZER", "OWNER"]
    name: Annotated[str, Field(min_length=1, max_length=120)]


class WorkSent(Sent):
    """Work that is wanted."""

    parties: list[Party] = Field(default=[], max_length=20)
    begins: AwareDatetime | None = Field(None, strict=False)
    ends: AwareDatetime | None = Field(None, strict=False)
    notes: Annotated[str, Field(max_length=1000)] = ""


class WorkAnswer(BaseModel):
    """Work that was asked for."""

    id: str
    unit: str
    setup: str
    steps: int
    minutes: float
    people: int


@router.post(
    "",
    status_code=201,
    response_model=WorkAnswer,
    summary="Ask for the least work that puts the newest setup right",
    description="It is put on record, and whoever is told of `work.requested` gets its steps, parts, tools and "
    "cautions. Nothing else is changed: a start stays held until a setup as left shows the work done.",
    openapi_extra=taking(WorkSent),
)
def ask(request: Request, caller: Mechanic, unit: UnitId, body: Body) -> Response:
    sent = parsed(WorkSent, body)
    if sent.begins and sent.ends and sent.ends <= sent.begins:
        raise Refusal(422, "Request refused", "ends: it must lie after 'begins'.")
    desk = desk_of(request)
    ready: list[Wanted] = []

    def prepare() -> None:
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            unit_named(work, unit_seen(caller, unit))
            setup = setups.newest(work, unit)
            planner = desk.in_force.planner(work, organisations.read(work).terms.hold_at)
        if setup is None:
            raise _refused(unit, "it has no setup yet")
        try:
            plan = plan_in(desk.remedies.work_out(planner, setup))
        except NoWork as error:
            raise _refused(unit, str(error)) from None
        parties = [{"role": one.role, "name": one.name} for one in sent.parties]
        begins, ends = _moment(sent.begins), _moment(sent.ends)
        ready[:] = [Wanted(setup, planner.rulebook.digest, plan, parties, begins, ends, sent.notes)]

    def work_out(work: Work) -> Answer:
        unit_named(work, unit_seen(caller, unit))
        (wanted,) = ready
        id = ask_for(work, desk.in_force, wanted)
        answer = {
            "id": id, "unit": unit, "setup": wanted.setup.id, "steps": len(wanted.plan["steps"]),
            "minutes": wanted.plan["minutes"], "people": wanted.plan["people"],
        }  # fmt: skip
        return Answer(201, answer)

    return write(request, caller, body, work_out, prepare)


def _moment(at: datetime | None) -> str | None:
    return None if at is None else moment(at.timestamp())


def _refused(unit: str, why: str) -> Refusal:
    return Refusal(409, "No work", f"No work was asked for on {unit}: {why}.")
