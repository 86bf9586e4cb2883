"""/fleet-audits: a whole fleet in one request, worked off while the server goes on"""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import AsyncIterable
from hashlib import sha256
from pathlib import Path as File
from typing import Annotated, Any, BinaryIO, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.responses import FileResponse
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from api.errors import Refusal
from api.identity.caller import Caller, for_all_units, needs
from api.identity.rights import Right
from api.record_models import PageOf
from api.record_wire import moment
from api.routes.desk import Answer, Before, Most, answered, desk_of, page, tag, write
from api.routes.state import json_answer
from api.service import fleet_jobs
from api.service.desk import Desk
from api.service.fleet_jobs import NoFolder, at_work, progress_of
from api.store import events, fleet_audits, organisations, setups
from api.store.database import Work
from api.store.fleet_audits import DONE, RUNNING, FleetAudit

router = APIRouter(prefix="/fleet-audits", tags=["fleet audits"])

MOST_BYTES = 4 * 1024**3
"""Most bytes of one upload; a longer log comes in parts, or is audited by the command where it lies."""
KINDS = {
    "application/x-ndjson": "ndjson",
    "application/json": "json",
    "text/csv": "csv",
    "application/vnd.apache.parquet": "parquet",
}
CODINGS = {"identity": "", "": "", "gzip": ".gz", "zstd": ".zst"}
LISTS = Literal["units", "findings", "set-aside"]
FORMS = {"ndjson": "application/x-ndjson", "parquet": "application/vnd.apache.parquet"}


def reader(caller: Annotated[Caller, Depends(needs(Right.READ))]) -> Caller:
    """A reader of every unit."""
    return for_all_units(caller, "A fleet audit is of all units")


def recorder(caller: Annotated[Caller, Depends(needs(Right.RECORD))]) -> Caller:
    """A recorder of every unit."""
    return for_all_units(caller, "A fleet audit is of all units")


Reader = Annotated[Caller, Depends(reader)]
Recorder = Annotated[Caller, Depends(recorder)]
AuditId = Annotated[str, Path(pattern=r"^fleet-[0-9a-f]{16}$", examples=["fleet-5a1c9e0f2b7d4433"])]


class FleetProgress(BaseModel):
    """How far a running audit is."""

    setups: int
    set_aside: int
    held: int
    read: int = Field(description="bytes of the input")
    size: int | None
    setups_per_second: float


class FleetAuditAnswer(BaseModel):
    """A fleet audit that was asked for."""

    id: str
    number: int
    name: str
    input: str
    rulebook: str
    hold_at: Literal["high", "serious", "medium", "low"]
    plan: bool
    state: Literal["running", "done", "failed", "cancelled"]
    why: str
    begun: str
    begun_by: str
    ended: str | None
    progress: FleetProgress | None
    summary: dict[str, Any] | None


@router.post(
    "",
    status_code=202,
    response_model=FleetAuditAnswer,
    summary="Audit a fleet",
    description="The body is the fleet, as the command `fleet` takes it: one setup a line, a JSON array, CSV or "
    "Parquet, also in gzip or zstd; or with `of=record` the newest setup of every unit on record. It is worked off "
    "while the server goes on, and goes on itself after a restart.",
    openapi_extra={
        "requestBody": {
            "content": {
                kind: {"schema": {} if kind == "application/json" else {"type": "string", "format": "binary"}}
                for kind in KINDS
            },
            "required": False,
        }
    },
)  # fmt: skip
async def begin(
    request: Request,
    caller: Recorder,
    name: Annotated[str, Query(max_length=200, description="what people call it")] = "",
    of: Annotated[Literal["body", "record"], Query(description="where the setups are")] = "body",
    plan: Annotated[bool, Query(description="also plan the work for every unit")] = False,
) -> Response:
    if of == "record":
        return await run_in_threadpool(begin_of_record, request, caller, name, plan)
    return await begin_of_stream(request, caller, request.stream(), _ending(request), name, plan)


@router.get("", response_model=PageOf[FleetAuditAnswer], summary="Fleet audits, the last begun first")
def list_audits(
    request: Request,
    caller: Reader,
    before: Before = None,
    most: Most = 50,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = fleet_audits.page(work, before, most)
    lines = [_audit_json(desk, one) for one in found]
    return page(request, lines, most, {"before": found[-1].number} if found else None)


@router.get("/{audit}", response_model=FleetAuditAnswer, summary="How far a fleet audit is, and what came of it")
def get_audit(request: Request, caller: Reader, audit: AuditId) -> Response:
    desk = desk_of(request)
    found = _found(desk, caller, audit)
    if found.state == RUNNING:  # whoever looks at it gets it going again, if nobody is at work on it
        desk.jobs.take_up(desk.store)
        return json_answer(_audit_json(desk, found))
    return answered(request, _audit_json(desk, found), tag(found.id, found.state))


@router.delete("/{audit}", response_model=FleetAuditAnswer, summary="Cancel a running fleet audit")
def cancel_audit(request: Request, caller: Recorder, audit: AuditId) -> Response:
    desk = desk_of(request)
    found = _found(desk, caller, audit)
    place = desk.jobs.place(caller.organisation, audit)
    if not fleet_jobs.cancel(desk.store, place, caller.organisation, audit, caller.who, desk.clock()):
        raise Refusal(409, "Ended before", f"The fleet audit is {found.state} already.")
    return json_answer(_audit_json(desk, _found(desk, caller, audit)))


@router.get(
    "/{audit}/{lines}",
    response_class=FileResponse,
    responses={
        200: {"content": {form: {} for form in FORMS.values()}, "description": "the list, as the command writes it"}
    },
    summary="The lists of a fleet audit that is done",
)
def get_lines(
    request: Request,
    caller: Reader,
    audit: AuditId,
    lines: LISTS,
    form: Annotated[Literal["ndjson", "parquet"], Query(description="one line a row, or columns")] = "ndjson",
) -> Response:
    desk = desk_of(request)
    found = _found(desk, caller, audit)
    if found.state != DONE:
        raise Refusal(409, "Not done", f"The fleet audit is {found.state}.")
    if lines == "set-aside" and form == "parquet":
        raise Refusal(422, "Request refused", "What was set aside is there as ndjson only.")
    file = desk.jobs.place(caller.organisation, audit) / fleet_jobs.OUT / f"{lines}.{form}"
    if not file.is_file():
        raise Refusal(404, "No such list", "The files of this fleet audit are not on this server.")
    return FileResponse(file, media_type=FORMS[form], filename=f"{audit}-{lines}.{form}")


async def begin_of_stream(
    request: Request, caller: Caller, stream: AsyncIterable[bytes], ending: str, name: str, plan: bool
) -> Response:
    """Begins an audit of a fleet that comes in pieces; what it is is seen by its content, ``ending`` names the file."""
    id, place = _new(request, caller)
    await run_in_threadpool(place.mkdir, parents=True, exist_ok=True)
    try:
        digest = await _save(stream, place / f"fleet.{ending}")
    except BaseException:
        await run_in_threadpool(shutil.rmtree, place, True)
        raise
    return await run_in_threadpool(_begin, request, caller, id, place, f"fleet.{ending}", digest, name, plan)


def begin_of_record(request: Request, caller: Caller, name: str, plan: bool) -> Response:
    """Begins an audit of the newest setup of every unit on record."""
    id, place = _new(request, caller)
    desk = desk_of(request)
    place.mkdir(parents=True, exist_ok=True)
    try:
        with desk.store.reading(caller.organisation, desk.clock()) as work, (place / "fleet.ndjson").open("wb") as out:
            count = 0
            for setup in setups.of_all_units(work):
                out.write(setup.text + b"\n")
                count += 1
        if not count:
            raise Refusal(409, "Nothing to audit", "No unit on record has a setup.")
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    return _begin(request, caller, id, place, "fleet.ndjson", "of the record", name, plan)


def _new(request: Request, caller: Caller) -> tuple[str, File]:
    """Id and folder of an audit to be begun. Raises Refusal (503) where there is no place for files."""
    id = f"fleet-{secrets.token_hex(8)}"
    try:
        return id, desk_of(request).jobs.place(caller.organisation, id)
    except NoFolder as error:
        raise Refusal(503, "No place for files", f"{error}.") from None


def _ending(request: Request) -> str:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    coding = request.headers.get("content-encoding", "").strip().lower()
    if kind not in KINDS:
        raise Refusal(415, "Unsupported media type", f"'{kind[:60]}' is none of {', '.join(KINDS)}.")
    if coding not in CODINGS:
        raise Refusal(
            415, "Unsupported media type", f"content coding '{coding[:60]}' is not undone; send gzip or zstd."
        )
    return KINDS[kind] + CODINGS[coding]


async def _save(stream: AsyncIterable[bytes], file: File) -> str:
    """Writes what comes to a file; its SHA-256."""
    found, size = sha256(), 0
    out: BinaryIO = await run_in_threadpool(file.open, "wb")
    try:
        async for part in stream:
            size += len(part)
            if size > MOST_BYTES:
                raise Refusal(413, "Content too large", f"a fleet sent here may have at most {MOST_BYTES:,} bytes.")
            found.update(part)
            await run_in_threadpool(out.write, part)
    finally:
        await run_in_threadpool(out.close)
    if not size:
        raise Refusal(422, "Request refused", "The body is empty; send the fleet, or ask for of=record.")
    return found.hexdigest()


def _begin(
    request: Request, caller: Caller, id: str, place: File, file: str, digest: str, name: str, plan: bool
) -> Response:
    """Puts the audit on record and starts it; the files go where the record says nothing of them."""
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        level = organisations.read(work).terms.hold_at
        desk.in_force.auditor(work, level)  # so that it is on record what judges
        job = FleetAudit(
            organisation=work.organisation, id=id, number=fleet_audits.next_number(work), name=name, input=file,
            rulebook=desk.in_force.digest(work), hold_at=level.name, plan=plan, state=RUNNING, why="", summary="",
            begun=work.now, begun_by=work.who,
        )  # fmt: skip
        fleet_audits.add(work, job)
        content = {"number": job.number, "name": name, "input": digest, "rulebook": job.rulebook, "plan": plan}
        events.append(work, "fleet-audit.begun", f"fleet-audit/{id}", content)
        return Answer(202, _audit_json(desk, job), {"Location": f"/fleet-audits/{id}"})

    try:
        answer = write(request, caller, digest.encode(), work_out)
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    if answer.headers.get("location") != f"/fleet-audits/{id}":  # it was begun before, by a request sent twice
        shutil.rmtree(place, ignore_errors=True)
    desk.jobs.take_up(desk.store)
    return answer


def _found(desk: Desk, caller: Caller, id: str) -> FleetAudit:
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = fleet_audits.find(work, id)
    if found is None:
        raise Refusal(404, "No such fleet audit", f"There is no fleet audit {id}.")
    return found


def _audit_json(desk: Desk, one: FleetAudit) -> dict[str, Any]:
    place = desk.jobs.place(one.organisation, one.id)
    progress = progress_of(place) if one.state == RUNNING and at_work(place) else None
    return {
        "id": one.id, "number": one.number, "name": one.name, "input": one.input, "rulebook": one.rulebook,
        "hold_at": one.hold_at.lower(), "plan": one.plan, "state": one.state, "why": one.why,
        "begun": moment(one.begun), "begun_by": one.begun_by, "ended": moment(one.ended), "progress": progress,
        "summary": json.loads(one.summary) if one.summary else None,
    }  # fmt: skip
