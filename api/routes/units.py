"""/units, their setups and findings"""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller, must, needs
from api.identity.rights import Right
from api.models import Audit
from api.record_models import PageOf, SetupAnswer, SetupLine, SetupRecorded, UnitAnswer, UnitSent
from api.record_wire import moment, setup_json, unit_json
from api.routes.audits import EXAMPLE, SETUP
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
    unit_seen,
    write,
)
from api.service import recording
from api.store import audits, organisations, setups, units
from api.store.database import Work

router = APIRouter(prefix="/units", tags=["units"])

Reader = Annotated[Caller, Depends(needs(Right.READ))]
Recorder = Annotated[Caller, Depends(needs(Right.RECORD))]
Mechanic = Annotated[Caller, Depends(needs(Right.CORRECT))]
UnitId = Annotated[str, Path(pattern=r"^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$", examples=["unit-07"])]
SetupId = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,80}$", examples=["setup-5a1c9e0f2b7d4433"])]

_PROPERTIES: dict[str, Any] = SETUP["properties"]  # type: ignore[assignment]
_OF_A_UNIT: dict[str, Any] = {
    **dict(SETUP),
    "description": "As POST /audits takes it; of `unit`, what is on record may be left out.",
    "required": ["job"],
    "properties": {**_PROPERTIES, "unit": {"type": ["object", "null"]}},
    "examples": [{**{key: value for key, value in EXAMPLE.items() if key != "unit"}, "unit": {"engine_hours": 1841.5}}],
}


@router.get("", response_model=PageOf[UnitAnswer], summary="Units, in order of id")
def list_units(
    request: Request,
    caller: Reader,
    after: Annotated[str, Query(max_length=80, description="id of the last one seen")] = "",
    card: Annotated[str, Query(max_length=80)] = "",
    owner: Annotated[str, Query(max_length=300)] = "",
    most: Most = 100,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = units.page(work, after, most, card, owner, sorted(caller.units))
    return page(request, [unit_json(one) for one in found], most, {"after": found[-1].id} if found else None)


@router.put(
    "/{unit}",
    response_model=UnitAnswer,
    responses={201: {"model": UnitAnswer, "description": "a new unit"}},
    summary="Put a unit on record, or change it",
    description="A new unit needs no If-Match (If-None-Match: * makes sure that it is new); a change needs the ETag "
    "last seen. If what the unit is changes, its setups no longer clear it.",
    openapi_extra=taking(UnitSent),
)
def put_unit(request: Request, caller: Mechanic, unit: UnitId, body: Body) -> Response:
    sent = parsed(UnitSent, body).model_dump()
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        unit_seen(caller, unit)
        before = units.find(work, unit)
        if before is not None:
            if request.headers.get("if-none-match", "").strip() == "*":
                raise Refusal(412, "Already there", f"{unit} is on record already.")
            same_edition(request, tag(before.edition))
        elif "if-match" in request.headers:
            raise Refusal(412, "Not there", f"{unit} is not on record.")
        rulebook = desk.in_force.auditor(work, organisations.read(work).terms.hold_at).rulebook
        after, new = recording.put_unit(work, rulebook, unit, sent)
        if not new:
            desk.gate.recheck(work, unit)
        return Answer(201 if new else 200, unit_json(after), {"ETag": tag(after.edition), "Location": f"/units/{unit}"})

    return write(request, caller, body, work_out)


@router.get("/{unit}", response_model=UnitAnswer, summary="One unit")
def get_unit(request: Request, unit: UnitId, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = recording.unit_named(work, unit_seen(caller, unit))
    return answered(request, unit_json(found), tag(found.edition))


@router.delete("/{unit}", response_model=UnitAnswer, summary="Take a unit out of the fleet; its record stays")
def retire_unit(request: Request, unit: UnitId, caller: Mechanic) -> Response:
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        found = recording.unit_named(work, unit_seen(caller, unit))
        same_edition(request, tag(found.edition))
        if found.retired is None:
            found = recording.retire_unit(work, found)
            desk.gate.recheck(work, unit)
        return Answer(200, unit_json(found), {"ETag": tag(found.edition)})

    return write(request, caller, b"", work_out)


@router.post(
    "/{unit}/setups",
    status_code=201,
    response_model=SetupRecorded,
    summary="Record a setup as found or as left",
    description="It is audited by the rulebook in force and kept for ever; a newer one only follows it. Certificates "
    "that are no longer true are revoked.",
    openapi_extra={"requestBody": {"required": True, "content": {"application/json": {"schema": _OF_A_UNIT}}}},
)
def record_setup(request: Request, caller: Recorder, unit: UnitId, body: Body) -> Response:
    desk = desk_of(request)
    prepared: list[recording.Prepared] = []

    def prepare() -> None:
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            found = recording.unit_named(work, unit_seen(caller, unit))
            auditor = desk.in_force.auditor(work, organisations.read(work).terms.hold_at)
        prepared[:] = [recording.prepare(found, auditor, body)]
        if prepared[0].state == "as-left":
            must(caller, Right.CORRECT)

    def work_out(work: Work) -> Answer:
        row = recording.record(work, prepared[0], desk.in_force.digest(work))
        gone = [start.id for start in desk.gate.recheck(work, unit)]
        content = {"setup": setup_json(row), "audit": json.loads(prepared[0].answer), "revoked": gone}
        return Answer(201, content, {"Location": f"/units/{unit}/setups/{row.id}"})

    answer = write(request, caller, body, work_out, prepare)
    if prepared:
        request.app.state.meters.audited(prepared[0].report.clearance.value)
    return answer


@router.get("/{unit}/setups", response_model=PageOf[SetupLine], summary="Setups of a unit, the last recorded first")
def list_setups(
    request: Request,
    unit: UnitId,
    caller: Reader,
    before: Before = None,
    most: Most = 50,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        recording.unit_named(work, unit_seen(caller, unit))
        found = setups.page(work, unit, before, most)
    return page(request, [setup_json(one) for one in found], most, {"before": found[-1].number} if found else None)


@router.get("/{unit}/setups/{setup}", response_model=SetupAnswer, summary="A setup as it is kept, and its audits")
def get_setup(request: Request, unit: UnitId, setup: SetupId, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = setups.find(work, unit_seen(caller, unit), setup)
        if found is None:
            raise Refusal(404, "No such setup", f"{unit} has no setup {setup}.")
        done = audits.of_setup(work, setup)
    lines = [
        {
            "rulebook": {"digest": one.rulebook}, "hold_at": one.hold_at.lower(), "clearance": one.clearance,
            "holding": one.holding, "at": moment(one.at),
        }
        for one in done
    ]  # fmt: skip
    content = {**setup_json(found), "content": json.loads(found.text), "audits": lines}
    return answered(request, content, tag(found.digest[:16], len(lines)))


@router.get(
    "/{unit}/findings",
    response_model=Audit,
    summary="What is wrong with a unit now",
    description="The audit of its newest setup by the rulebook in force, ranked by risk of damage.",
)
def findings(request: Request, unit: UnitId, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        recording.unit_named(work, unit_seen(caller, unit))
        newest = setups.newest(work, unit)
        if newest is None:
            raise Refusal(404, "No setup", f"No setup of {unit} is on record.")
        auditor = desk.in_force.auditor(work, organisations.read(work).terms.hold_at)
        kept = audits.find(work, newest.id, auditor.rulebook.digest, auditor.hold_at.name)
    etag = tag(newest.digest[:16], auditor.rulebook.digest[:16], auditor.hold_at.name.lower())
    if kept is not None:
        return answered(request, json.loads(kept.report), etag)
    return answered(request, recording.answer_of(auditor, newest), etag)
