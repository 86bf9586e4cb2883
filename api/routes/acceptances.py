"""/units/{unit}/acceptances"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.record_models import AcceptanceAnswer, AcceptanceSent, PageOf
from api.record_wire import acceptance_json
from api.routes.desk import Answer, Body, desk_of, page, parsed, taking, unit_seen, write
from api.routes.units import Reader, UnitId
from api.service import accepting
from api.service.recording import unit_named
from api.store import acceptances
from api.store.database import Work

router = APIRouter(prefix="/units/{unit}/acceptances", tags=["acceptances"])

Approver = Annotated[Caller, Depends(needs(Right.ACCEPT))]


@router.post(
    "",
    status_code=201,
    response_model=AcceptanceAnswer,
    summary="Accept one finding, as it was found, for a time",
    description="For the newest setup's job and exactly the values found. Never for danger to people, and never for "
    "what is not known.",
    openapi_extra=taking(AcceptanceSent),
)
def accept(request: Request, caller: Approver, unit: UnitId, body: Body) -> Response:
    sent = parsed(AcceptanceSent, body)
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        row = unit_named(work, unit_seen(caller, unit))
        try:
            one = accepting.accept(
                work, desk.gate, row, sent.setup, sent.rule, sent.on, sent.by, sent.reason, sent.until.timestamp()
            )
        except accepting.NoSuchFinding as error:
            raise Refusal(404, "No such finding", f"The newest setup of {unit} has no finding {error}.") from None
        except accepting.NotAcceptable as error:
            raise Refusal(409, "Not acceptable", f"{error}.") from None
        return Answer(201, acceptance_json(one), {"Location": f"/units/{unit}/acceptances/{one.id}"})

    return write(request, caller, body, work_out)


@router.get(
    "", response_model=PageOf[AcceptanceAnswer], summary="All that was accepted on a unit, also what has lapsed"
)
def list_acceptances(request: Request, unit: UnitId, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        unit_named(work, unit_seen(caller, unit))
        found = acceptances.of_unit(work, unit)
    lines: list[dict[str, Any]] = [acceptance_json(one) for one in found]
    return page(request, lines, len(lines), None)


@router.delete(
    "/{acceptance}",
    response_model=AcceptanceAnswer,
    summary="Take an acceptance back; certificates that stood on it are revoked",
)
def withdraw(
    request: Request,
    unit: UnitId,
    acceptance: Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,80}$", examples=["acceptance-5a1c9e0f2b7d4433"])],
    caller: Approver,
) -> Response:
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        row = unit_named(work, unit_seen(caller, unit))
        try:
            one = accepting.withdraw(work, desk.gate, row, acceptance)
        except accepting.NoSuchAcceptance:
            raise Refusal(404, "No such acceptance", f"{unit} has no acceptance {acceptance}.") from None
        return Answer(200, acceptance_json(one))

    return write(request, caller, b"", work_out)
