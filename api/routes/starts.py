"""Clearance and harvest starts"""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from api.certificates.certificate import read
from api.certificates.flaw import Flaw, NotGood
from api.certificates.qr import svg
from api.certificates.short import short_form
from api.errors import MEDIA, Refusal
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.record_models import ClearanceAnswer, HeldProblem, PageOf, StartAnswer, StartSent, VerifyAnswer
from api.record_wire import decision_json, moment, start_json
from api.routes.desk import Answer, Before, Body, Most, answered, desk_of, page, parsed, tag, taking, unit_seen, write
from api.routes.units import Reader, UnitId
from api.service.desk import Desk
from api.service.gate import ClockBehind, Seen
from api.service.recording import unit_named
from api.store import starts
from api.store.database import Work
from api.store.keys import public_keys, signing_key
from api.store.starts import StartRow
from api.store.units import UnitRow
from audit.auditor import Auditor
from audit.nouns.clearance import Job
from audit.nouns.finding import Clearance
from audit.planning.planner import Planner

router = APIRouter(tags=["clearance"])
public = APIRouter(tags=["clearance"])
"""What needs no token."""

Starter = Annotated[Caller, Depends(needs(Right.START))]
StartId = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,80}$", examples=["start-5a1c9e0f2b7d4433"])]
Digest = Annotated[str, Path(pattern=r"^[0-9a-f]{16}$", examples=["8ae61475e8708573"])]
Crop = Annotated[str | None, Query(max_length=80, description="crop to start; else that of the newest setup")]
HELD = "urn:setup-audit:problem:start-held"


@router.get(
    "/units/{unit}/clearance",
    response_model=ClearanceAnswer,
    summary="May this unit start?",
    description="Cleared or held, with every reason and what would clear it. Nothing is written; only a harvest start "
    "counts.",
)
def clearance(
    request: Request,
    unit: UnitId,
    caller: Reader,
    crop: Crop = None,
    header_kind: Annotated[str | None, Query(max_length=80, description="goes with `crop`")] = None,
    plan: Annotated[bool, Query(description="also the work that would clear it")] = True,
) -> Response:
    if (crop is None) != (header_kind is None):
        raise Refusal(422, "Request refused", "Send both crop and header_kind, or neither.")
    job = None if crop is None or header_kind is None else Job(crop, header_kind)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = unit_named(work, unit_seen(caller, unit))
        seen, auditor, planner = _look(desk, work, row, job)
    return answered(request, _content(desk, seen, row, auditor, planner if plan else None), _edition(seen))


@router.post(
    "/units/{unit}/harvest-starts",
    status_code=201,
    response_model=StartAnswer,
    responses={409: {"model": HeldProblem, "description": "held, with the reasons", "content": {MEDIA: {}}}},
    summary="Ask for a harvest start",
    description="Cleared: 201 with a signed certificate. Held: 409 with every reason and the work that would clear it. "
    "Both go on record.",
    openapi_extra=taking(StartSent),
)
def start(request: Request, caller: Starter, unit: UnitId, body: Body) -> Response:
    sent = parsed(StartSent, body)
    desk = desk_of(request)
    job = Job(sent.crop, sent.header_kind)

    def prepare() -> None:
        """Audits and plans before anyone is kept waiting."""
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            row = unit_named(work, unit_seen(caller, unit))
            seen, _, planner = _look(desk, work, row, job)
        if seen.setup is not None and seen.decision.clearance is Clearance.HELD:
            desk.remedies.work_out(planner, seen.setup)

    def work_out(work: Work) -> Answer:
        row = unit_named(work, unit_seen(caller, unit))
        done = start_or_hold(desk, work, row, job, sent.engine_hours)
        if isinstance(done, StartRow):
            return Answer(201, _start(desk, done), {"Location": f"/harvest-starts/{done.id}"})
        auditor = desk.in_force.auditor(work, done.terms.hold_at)
        count = len(done.decision.reasons)
        content = {
            "type": HELD,
            "title": "Start held",
            "status": 409,
            "detail": f"{done.decision.reasons[0].text}" + (f" And {count - 1} more." if count > 1 else ""),
            "decision": _content(desk, done, row, auditor, None),
        }
        return Answer(409, content)

    answer = write(request, caller, body, work_out, prepare)
    request.app.state.meters.start_decided("cleared" if answer.status_code == 201 else "held")
    return answer


@router.get(
    "/units/{unit}/harvest-starts", response_model=PageOf[StartAnswer], summary="Starts of a unit, the latest first"
)
def list_starts(
    request: Request,
    unit: UnitId,
    caller: Reader,
    before: Before = None,
    most: Most = 50,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        unit_named(work, unit_seen(caller, unit))
        found = starts.page(work, unit, before, most)
    return page(request, [_start(desk, one) for one in found], most, {"before": found[-1].number} if found else None)


@router.get("/harvest-starts/{start}", response_model=StartAnswer, summary="One start, and whether it still counts")
def get_start(request: Request, caller: Reader, start: StartId) -> Response:
    found = _found(request, caller, start)
    return answered(request, _start(desk_of(request), found), tag(found.id, "revoked" if found.revoked else "good"))


@router.get(
    "/harvest-starts/{start}/qr",
    response_class=Response,
    responses={200: {"content": {"image/svg+xml": {}}, "description": "the short form as a QR code (ISO/IEC 18004)"}},
    summary="The code for the machine: where to ask whether this start still counts",
)
def qr(request: Request, caller: Reader, start: StartId) -> Response:
    found = _found(request, caller, start)
    image = svg(short_form(f"{desk_of(request).address}/verify", found.id, found.certificate), f"Start {found.id}")
    return Response(image, media_type="image/svg+xml")


@public.get(
    "/verify/{start}/{digest}",
    response_model=VerifyAnswer,
    summary="Whether the start of a short form still counts",
    description="For whoever reads the code on a machine, without a token; the digest shows that they hold it. A "
    "terminal that must be sure checks the certificate itself.",
)
def verify(request: Request, start: StartId, digest: Digest) -> Response:
    desk = desk_of(request)
    with desk.store.connection() as connection:
        found = starts.of_any(connection, start)
        trusted = public_keys(connection)
    if found is None or not short_form("", found.id, found.certificate).endswith(f"/{digest}"):
        raise Refusal(404, "No such start", "No start goes by this code.")
    try:
        read(found.certificate, trusted, desk.clock())
        state = "good" if found.revoked is None else "revoked"
    except NotGood as error:
        state = "expired" if error.flaw is Flaw.EXPIRED and found.revoked is None else "revoked"
    content = {
        "start": found.id, "state": state, "unit": found.unit, "crop": found.crop,
        "header_kind": found.header_kind, "at": moment(found.at), "expires": moment(found.expires),
        "revoked": moment(found.revoked),
    }  # fmt: skip
    return Response(json.dumps(content), media_type="application/json", headers={"Cache-Control": "no-store"})


def start_or_hold(desk: Desk, work: Work, unit: UnitRow, job: Job, hours: float | None) -> StartRow | Seen:
    """A start that is cleared, or what holds it. Raises Refusal (503) while the clock stands behind the record."""
    key = signing_key(work.connection, desk.secret, work.now)
    try:
        return desk.gate.start(work, unit, job, hours, key)
    except ClockBehind as error:
        raise Refusal(503, "Clock behind", f"No start can be cleared: {error}. Set the clock.") from None


def _found(request: Request, caller: Caller, start: str) -> StartRow:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = starts.find(work, start)
    if found is None or not caller.sees(found.unit):
        raise Refusal(404, "No such start", f"There is no start {start}.")
    return found


def _look(desk: Desk, work: Work, unit: UnitRow, job: Job | None) -> tuple[Seen, Auditor, Planner]:
    seen = desk.gate.see(work, unit, job)
    level = seen.terms.hold_at
    return seen, desk.in_force.auditor(work, level), desk.in_force.planner(work, level)


def _content(desk: Desk, seen: Seen, unit: UnitRow, auditor: Auditor, planner: Planner | None) -> dict[str, Any]:
    """The decision; the plan is searched for only if a planner is given, else taken where it is known."""
    steps = None
    if seen.setup is not None and seen.decision.clearance is Clearance.HELD:
        if planner is not None:
            steps = desk.remedies.work_out(planner, seen.setup)
        else:
            steps = desk.remedies.kept(auditor.rulebook.digest, seen.setup)
    return decision_json(seen.decision, unit, auditor.rulebook, steps)


def _edition(seen: Seen) -> str:
    """Changes whenever the answer does; time alone may change it, so it says what is decided too."""
    decision = seen.decision
    whys = "".join(reason.why.value[0] for reason in decision.reasons)
    return tag(
        decision.clearance.value,
        decision.stand.digest[:16] if decision.stand else "none",
        decision.rulebook[:16] or "none",
        f"{whys}{len(decision.accepted)}{len(decision.lapsed)}{decision.job.crop}{decision.job.header_kind}",
    )


def _start(desk: Desk, start: StartRow) -> dict[str, Any]:
    return start_json(start, short_form(f"{desk.address}/verify", start.id, start.certificate))
