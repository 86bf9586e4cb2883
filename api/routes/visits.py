"""/visits and /visit-plans: who goes to which farm when, planned from a fleet audit's work or put by hand"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller, for_all_units, needs
from api.identity.rights import Right
from api.record_models import PageOf
from api.record_wire import moment
from api.routes.audits import bytes_of
from api.routes.desk import (
    Answer,
    Before,
    Body,
    Most,
    answered,
    desk_of,
    page,
    parsed,
    same_edition,
    tag,
    taking,
    write,
)
from api.routes.units import Reader
from api.service import visiting
from api.service.visiting import EFFORT, MOST_EFFORT, NotPlanned, Planned
from api.store import units, visits
from api.store.database import Work
from api.store.visits import Visit, VisitPlan
from api.visit_models import VisitAnswer, VisitPlanAnswer, VisitPlanLine, VisitSent

router = APIRouter(tags=["visits"])

FILES = ("application/yaml", "application/json")
"""What a visits file is sent as: RFC 9512 and RFC 8259."""


def scheduler(caller: Annotated[Caller, Depends(needs(Right.CORRECT))]) -> Caller:
    """Somebody who may plan visits to every unit."""
    return for_all_units(caller, "Visits are planned for all units")


def overseer(caller: Annotated[Caller, Depends(needs(Right.READ))]) -> Caller:
    """A reader of every unit."""
    return for_all_units(caller, "A plan of visits is for all units")


async def visits_file(request: Request) -> bytes:
    """The visits file in the body."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in FILES:
        raise Refusal(415, "Unsupported media type", f"'{kind[:60]}' is none of {', '.join(FILES)}.")
    return await bytes_of(request)


Scheduler = Annotated[Caller, Depends(scheduler)]
Overseer = Annotated[Caller, Depends(overseer)]
File = Annotated[bytes, Depends(visits_file)]
VisitId = Annotated[str, Path(pattern=r"^visit-[0-9a-f]{16}$", examples=["visit-5a1c9e0f2b7d4433"])]
PlanId = Annotated[str, Path(pattern=r"^plan-[0-9a-f]{16}$", examples=["plan-5a1c9e0f2b7d4433"])]
Day = Annotated[str, Query(pattern=r"^([0-9]{4}-[0-9]{2}-[0-9]{2})?$", examples=["2026-09-15"])]
OfAudit = Annotated[str, Query(pattern=r"^fleet-[0-9a-f]{16}$", examples=["fleet-5a1c9e0f2b7d4433"])]
Effort = Annotated[float, Query(gt=0, le=MOST_EFFORT, description="how long to look for better visits, about seconds")]


@router.get(
    "/visits",
    response_model=PageOf[VisitAnswer],
    summary="Visits in the order in which they begin",
    description="The ETag is that of all visits together; a new plan is sent with it. Who is kept to some units sees "
    "the visits to those, with the work on those.",
)
def list_visits(
    request: Request,
    caller: Reader,
    first: Day = "",
    last: Day = "",
    technician: Annotated[str, Query(max_length=120)] = "",
    farm: Annotated[str, Query(max_length=120)] = "",
    unit: Annotated[str, Query(max_length=80)] = "",
    cancelled: Annotated[bool, Query(description="also those that are off")] = False,
    after: Annotated[
        str,
        Query(pattern=r"^([0-9T:-]{16}\.visit-[0-9a-f]{16})?$", description="beginning and id of the last one seen"),
    ] = "",
    most: Most = 100,
) -> Response:
    desk = desk_of(request)
    begins, _, id = after.partition(".")
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        fitting = (
            one
            for one in visits.every(work, first, last, (begins, id), cancelled)
            if technician in ("", one.technician) and farm in ("", one.farm) and (not unit or unit in one.units)
        )
        found = list(islice(_seen(caller, fitting), most))
        edition = visits.edition(work)
    next = {"after": f"{found[-1]['begins']}.{found[-1]['id']}"} if found else None
    answer = page(request, found, most, next)
    answer.headers["ETag"] = tag("visits", edition)
    return answer


@router.get("/visits/{visit}", response_model=VisitAnswer, summary="One visit")
def get_visit(request: Request, visit: VisitId, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = _one(work, caller, visit)
    return answered(request, found, tag(found["edition"]))


@router.put(
    "/visits/{visit}",
    response_model=VisitAnswer,
    responses={201: {"model": VisitAnswer, "description": "a new visit"}},
    summary="Put a visit by hand, or change one",
    description="A new visit needs no If-Match (If-None-Match: * makes sure that it is new); a change needs the ETag "
    "last seen. One put by hand stays when visits are planned anew; a planned one gives way to the next plan of its "
    "farm, changed or not. A unit must be on record.",
    openapi_extra=taking(VisitSent),
)
def put_visit(request: Request, visit: VisitId, caller: Scheduler, body: Body) -> Response:
    sent = parsed(VisitSent, body)
    said = {
        **sent.model_dump(), "arrives": sent.arrives or sent.begins,
        "work": tuple(piece.model_dump() for piece in sent.work),
    }  # fmt: skip

    def work_out(work: Work) -> Answer:
        before = visits.find(work, visit)
        if before is not None:
            if request.headers.get("if-none-match", "").strip() == "*":
                raise Refusal(412, "Already there", f"{visit} is on record already.")
            same_edition(request, tag(before.edition))
            _must_stand(before)
        elif "if-match" in request.headers:
            raise Refusal(412, "Not there", f"{visit} is not on record.")
        known = before.units if before else ()
        unknown = [one.unit for one in sent.work if one.unit not in known and units.find(work, one.unit) is None]
        if unknown:
            raise Refusal(422, "Request refused", f"work: there is no unit {', '.join(dict.fromkeys(unknown))}.")
        after = visiting.put_visit(work, visit, before, said)
        headers = {"ETag": tag(after.edition), "Location": f"/visits/{visit}"}
        return Answer(201 if before is None else 200, visit_json(after), headers)

    return write(request, caller, body, work_out)


@router.delete("/visits/{visit}", response_model=VisitAnswer, summary="Cancel a visit; it stays on record")
def cancel_visit(request: Request, visit: VisitId, caller: Scheduler) -> Response:
    def work_out(work: Work) -> Answer:
        found = visits.find(work, visit)
        if found is None:
            raise _no_visit(visit)
        same_edition(request, tag(found.edition))
        _must_stand(found)
        (after,) = visits.cancel(work, [found], f"{work.who} cancelled it")
        return Answer(200, visit_json(after), {"ETag": tag(after.edition)})

    return write(request, caller, b"", work_out)


@router.post(
    "/visit-plans",
    status_code=201,
    response_model=VisitPlanAnswer,
    summary="Plan the visits that do the work of a fleet audit",
    description="The body is a visits file, as `fleet-report --visits` takes it: technicians, farms, harvest dates, "
    "the way between them. The fleet audit must be done and have planned the work. The plan takes the place of the "
    "planned visits to its farms from its first day on: those of the same technician, farm and day stay the same "
    "visits, the rest are cancelled; so it needs the ETag of `GET /visits` as If-Match where there are visits already. "
    "What is in no visit is told with the reason.",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {FILES[0]: {"schema": {"type": "string"}}, FILES[1]: {"schema": {"type": "object"}}},
        }
    },
)
def make_plan(
    request: Request, caller: Scheduler, file: File, fleet_audit: OfAudit, effort: Effort = EFFORT
) -> Response:
    try:
        asked = file.decode()
    except UnicodeDecodeError:
        raise Refusal(400, "Not UTF-8", "A visits file is UTF-8.") from None
    return plan_of(request, caller, asked, fleet_audit, effort)


@router.get("/visit-plans", response_model=PageOf[VisitPlanLine], summary="Plans of visits, the last first")
def list_plans(request: Request, caller: Overseer, before: Before = None, most: Most = 50) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = visits.plans(work, before, most)
    return page(request, [_line(one) for one in found], most, {"before": found[-1].number} if found else None)


@router.get("/visit-plans/{plan}", response_model=VisitPlanAnswer, summary="One plan, with what it left out")
def get_plan(request: Request, plan: PlanId, caller: Overseer) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = visits.find_plan(work, plan)
    if found is None:
        raise Refusal(404, "No such plan", f"There is no plan {plan}.")
    return answered(request, plan_json(found), tag(found.digest[:32]))


def plan_of(request: Request, caller: Caller, asked: str, audit: str, effort: float) -> Response:
    """Plans and puts the plan on record. Raises Refusal; BadInput for what is wrong in the visits file."""
    desk = desk_of(request)
    ready: list[Planned] = []

    def prepare() -> None:
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            _same_visits(request, work)  # before any time is spent
        try:
            ready[:] = [visiting.plan_visits(desk, caller.organisation, audit, asked, effort)]
        except NotPlanned as error:
            status, title = (503, "Can't plan") if str(error) == visiting.LACKS_SOLVER else (409, "Not planned")
            raise Refusal(status, title, f"No visits were planned: {error}.") from None

    def work_out(work: Work) -> Answer:
        _same_visits(request, work)
        made = visiting.put_plan(work, ready[0])
        return Answer(201, plan_json(made), {"Location": f"/visit-plans/{made.id}"})

    return write(request, caller, asked.encode(), work_out, prepare)


def visit_json(one: Visit) -> dict[str, Any]:
    """A visit as plain values."""
    return {
        "id": one.id, "plan": one.plan, "technician": one.technician, "farm": one.farm, "day": one.day,
        "arrives": one.arrives, "begins": one.begins, "leaves": one.leaves,
        "minutes": sum(piece["minutes"] for piece in one.work), "work": [dict(piece) for piece in one.work],
        "edition": one.edition, "created": moment(one.created), "created_by": one.created_by,
        "changed": moment(one.changed), "cancelled": moment(one.cancelled),
    }  # fmt: skip


def plan_json(one: VisitPlan) -> dict[str, Any]:
    """A plan as plain values."""
    return {**_line(one), **visiting.result_of(one)}


def _line(one: VisitPlan) -> dict[str, Any]:
    return {
        "id": one.id, "number": one.number, "fleet_audit": one.fleet_audit, "rulebook": one.rulebook,
        "made": moment(one.at), "made_by": one.by,
    }  # fmt: skip


def _seen(caller: Caller, some: Iterator[Visit]) -> Iterator[dict[str, Any]]:
    """Visits as the caller may see them: of several units, with the work on theirs only."""
    for one in some:
        theirs = [piece for piece in one.work if caller.sees(piece["unit"])]
        if theirs:
            minutes = sum(piece["minutes"] for piece in theirs)
            yield {**visit_json(one), "work": [dict(piece) for piece in theirs], "minutes": minutes}


def _one(work: Work, caller: Caller, id: str) -> dict[str, Any]:
    found = visits.find(work, id)
    seen = next(_seen(caller, iter([found])), None) if found is not None else None
    if seen is None:
        raise _no_visit(id)
    return seen


def _no_visit(id: str) -> Refusal:
    return Refusal(404, "No such visit", f"There is no visit {id}.")


def _must_stand(found: Visit) -> None:
    if found.cancelled is not None:
        raise Refusal(409, "Cancelled", f"{found.id} was cancelled; put another one.")


def _same_visits(request: Request, work: Work) -> None:
    """Refuses to plan anew over visits that the caller has not seen."""
    edition = visits.edition(work)
    if edition:
        same_edition(request, tag("visits", edition))
