"""Fleet audits: those that were asked for, how far one is, and what came of it."""

from __future__ import annotations

from collections.abc import AsyncIterator
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Query, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from api.errors import Refusal
from api.fleet_lines import read_fleet
from api.fleet_wire import fleet_json
from api.identity.caller import Caller
from api.pages.asking import keyed, plain_of
from api.pages.door import must_be_own, pages_router, see
from api.pages.sheets.fleet_report import group_text
from api.pages.telling import teller_of, told
from api.pages.view import View, page, view_of
from api.routes import fleet_audits as doors
from api.routes.desk import desk_of
from api.routes.fleet_audits import CODINGS, KINDS, AuditId, Reader, Recorder
from api.service.fleet_jobs import OUT
from api.store import units
from api.store.fleet_audits import DONE, RUNNING
from audit.fleet.units import Fleet
from audit.nouns.rulebook import Rulebook

router = pages_router(prefix="/fleet/audits")

MOST = 50
"""Audits on a page."""
WORST, FAULTS = 20, 20
"""Units and faults that a result shows; its report and lists have all."""
MOST_READ = 5_000
"""Setups up to which a result's lists are read for its page; a larger one is read for its report alone."""
PIECE = 1024 * 1024
ENDINGS = {
    f".{kind}{packed}": f"{known}{packed}"
    for kind, known in [*((one, one) for one in KINDS.values()), ("jsonl", "ndjson")]
    for packed in CODINGS.values()
}
"""How a file that holds a fleet may be called at its end."""


@router.get("")
def audits(request: Request, caller: Reader, before: Annotated[int | None, Query(ge=1, le=2**31)] = None) -> Response:
    """The audits, the last begun first, and the form that begins one."""
    found = plain_of(doors.list_audits(request, caller, before, MOST))
    lines = found["items"]
    further = f"/fleet/audits?before={lines[-1]['number']}" if found["next"] else ""
    return page(
        request, "fleet-audits.html", audits=lines, further=further, first=before is None,
        key=token_urlsafe(16), endings=sorted(ENDINGS),
    )  # fmt: skip


@router.post("")
async def begin(request: Request, caller: Recorder) -> Response:
    """Begins an audit, of a file or of what is on record; the key makes sure that a form sent twice begins one."""
    must_be_own(request)  # before a byte of the file is taken
    try:
        async with request.form(max_files=1, max_fields=8) as form:
            answer = await _begun(request, caller, form)
    except HTTPException as error:
        raise Refusal(error.status_code, "Not taken", f"{error.detail}") from None
    return see(f"/fleet/audits/{plain_of(answer)['id']}")


@router.get("/{audit}")
def one(request: Request, caller: Reader, audit: AuditId) -> Response:
    """How far an audit is; once it is done, its result."""
    job = plain_of(doors.get_audit(request, caller, audit))
    if job["state"] == RUNNING:
        return page(request, "fleet-audit.html", audit=job, why=[], result=None)
    # who watched it run has a piece of the page only; the whole of it is something else now
    headers = {"HX-Refresh": "true"} if "hx-request" in request.headers else {}
    shown = _result(request, caller, job) if job["state"] == DONE else None
    tell = teller_of(view_of(request))
    why = [tell.text(line) for line in (job["why"] or "").splitlines()]
    return page(request, "fleet-audit.html", headers=headers, audit=job, why=why, result=shown)


@router.post("/{audit}/cancel")
def cancel(request: Request, caller: Recorder, audit: AuditId) -> Response:
    """Ends one that runs."""
    must_be_own(request)
    doors.cancel_audit(request, caller, audit)
    return see(f"/fleet/audits/{audit}")


def result(request: Request, caller: Caller, audit: str) -> tuple[dict[str, Any], Fleet, Rulebook]:
    """An audit that is done, the fleet as it found it, and what judged. Raises Refusal (404, 409), BadInput."""
    desk = desk_of(request)
    job = plain_of(doors.get_audit(request, caller, audit))
    if job["state"] != DONE:
        raise Refusal(409, "Not done", f"The fleet audit is {job['state']}.")
    folder = desk.jobs.place(caller.organisation, audit) / OUT
    if not folder.is_dir():
        raise Refusal(404, "No such list", "The files of this fleet audit are not on this server.")
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        rulebook = desk.in_force.version(work, job["rulebook"]).rulebook
    return job, read_fleet(folder), rulebook


async def _begun(request: Request, caller: Caller, form: FormData) -> Response:
    name, plan = str(form.get("name", ""))[:200].strip(), form.get("plan") == "yes"
    asked = keyed(request, str(form.get("key", "")))
    file = form.get("fleet")
    sent = file if isinstance(file, UploadFile) and file.filename else None
    if form.get("of") == "record":
        if sent is not None:
            raise Refusal(422, "Not taken", "A file was chosen and the setups on record too; choose one of them.")
        return await run_in_threadpool(doors.begin_of_record, asked, caller, name, plan)
    if sent is None or sent.filename is None:
        raise Refusal(422, "Not taken", "Choose the file that holds the fleet, or the setups on record.")
    return await doors.begin_of_stream(asked, caller, _pieces(sent), _ending(sent.filename), name, plan)


async def _pieces(file: UploadFile) -> AsyncIterator[bytes]:
    while piece := await file.read(PIECE):
        yield piece


def _ending(name: str) -> str:
    """What the kept file is called at its end. Raises Refusal (415)."""
    for ending, known in ENDINGS.items():
        if name.lower().endswith(ending):
            return known
    raise Refusal(415, "Not taken", f"'{name[-60:]}' does not end in any of {', '.join(sorted(ENDINGS))}.")


def _result(request: Request, caller: Caller, job: dict[str, Any]) -> dict[str, Any]:
    """What the page shows of a result beside its summary: ``gone`` and ``large`` say why there is no more."""
    if job["summary"]["setups"] > MOST_READ:
        return {"large": True, "gone": False}
    try:
        _, fleet, rulebook = result(request, caller, job["id"])
    except Refusal as error:
        if error.status != 404:
            raise
        return {"large": False, "gone": True}
    return {"large": False, "gone": False, **_in_short(request, caller, fleet, rulebook)}


def _in_short(request: Request, caller: Caller, fleet: Fleet, rulebook: Rulebook) -> dict[str, Any]:
    """The worst units and what they have in common, as the report has it."""
    view: View = view_of(request)
    answer = fleet_json(fleet, rulebook, {})
    alike = answer["systematic"]
    shown = {
        "worst": [line for line in answer["worst_first"] if line["findings"]][:WORST],
        "common": alike["common"][:FAULTS], "concentrated": alike["concentrated"][:FAULTS],
        **{name: answer[name] for name in ("units", "held", "danger_to_people", "hours_at_risk")},
    }  # fmt: skip
    plain = told(view, shown)
    plain["concentrated"] = [
        {**one, "where": "; ".join(group_text(group, view) for group in one["groups"])} for one in plain["concentrated"]
    ]
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        plain["on_record"] = [one["unit"] for one in plain["worst"] if units.find(work, one["unit"]) is not None]
    return plain
