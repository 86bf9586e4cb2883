"""/may-start: may this unit start this job? The gate's decision in one small answer for a terminal or farm system."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request, Response

from api.errors import Refusal
from api.exchange.identifiers import claims
from api.exchange.reading.nouns import ReadUnit
from api.identity.caller import Caller
from api.question_models import MayStart, MayStartSent
from api.record_wire import moment
from api.routes.desk import Answer, Body, answered, desk_of, parsed, tag, taking, write
from api.routes.starts import Starter, start_or_hold
from api.routes.units import Reader
from api.service.desk import Desk
from api.service.gate import Seen
from api.service.recording import NoSuchUnit, unit_named, with_hours
from api.store import identities, organisations, units
from api.store.database import Work
from api.store.starts import StartRow
from api.store.units import UnitRow
from audit.clearing import CLOCKS_DIFFER
from audit.intake.setups import find_crop
from audit.nearest import did_you_mean
from audit.nouns.clearance import Decision, Job
from audit.nouns.finding import Clearance
from audit.nouns.rulebook import Rulebook

CONTRACT = Path(__file__).parents[1] / "may-this-unit-start.md"
"""The page that an integrator reads."""

router = APIRouter(prefix="/may-start", tags=["may it start"])
public = APIRouter(prefix="/may-start", tags=["may it start"])
"""What needs no token."""

_TEXT = Query(min_length=1, max_length=80)
_LINKED: dict[str, Any] = {"externalDocs": {"description": "the contract, one page", "url": "/may-start/contract"}}


@public.get(
    "/contract",
    response_class=Response,
    responses={200: {"content": {"text/markdown": {}}, "description": "the page"}},
    summary="The contract in one page: the question, when an answer counts, and how to check a certificate offline",
)
def contract() -> Response:
    return Response(CONTRACT.read_bytes(), media_type="text/markdown; charset=utf-8")


@router.get(
    "",
    response_model=MayStart,
    summary="May this unit start this job?",
    description="Only asks: nothing is written, and no certificate is given. Anything but status 200 with `answer` "
    "`cleared` is a held start.",
    openapi_extra=_LINKED,
)
def ask(
    request: Request,
    caller: Reader,
    unit: Annotated[str, _TEXT],
    crop: Annotated[str, Query(min_length=1, max_length=80, description="our name, a synonym, or the EPPO code")],
    header_kind: Annotated[str, _TEXT],
    engine_hours: Annotated[float | None, Query(ge=0, le=60000, allow_inf_nan=False)] = None,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = unit_asked(work, caller, unit)
        job = _job(_rulebook(desk, work), crop, header_kind)
        seen = desk.gate.see(work, with_hours(row, engine_hours, work.now), job)
        if work.behind > CLOCKS_DIFFER:
            raise Refusal(503, "Clock behind", "The server's clock stands before its own record. Set the clock.")
        content = {**_told(seen.decision, row, work.now), **_whose(desk, work)}
    return answered(request, content, _edition(content))


@router.post(
    "",
    response_model=MayStart,
    summary="Start this job, if it may",
    description="Asks for a harvest start. Cleared: with a signed certificate. Held: with every reason. Both go on "
    "record, and both are status 200; send an Idempotency-Key, so that a question sent twice is one start.",
    openapi_extra={**taking(MayStartSent), **_LINKED},
)
def start(request: Request, caller: Starter, body: Body) -> Response:
    sent = parsed(MayStartSent, body)
    desk = desk_of(request)

    def judge() -> None:
        """Judges before anyone is kept waiting."""
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            row = unit_asked(work, caller, sent.unit)
            desk.gate.see(work, row, _job(_rulebook(desk, work), sent.crop, sent.header_kind))

    def work_out(work: Work) -> Answer:
        row = unit_asked(work, caller, sent.unit)
        job = _job(_rulebook(desk, work), sent.crop, sent.header_kind)
        done = start_or_hold(desk, work, row, job, sent.engine_hours)
        if isinstance(done, Seen):
            return Answer(200, {**_told(done.decision, row, work.now), **_whose(desk, work)})
        return Answer(
            200, {**_cleared(done, work.now), **_whose(desk, work)}, {"Location": f"/harvest-starts/{done.id}"}
        )

    answer = write(request, caller, body, work_out, judge)
    request.app.state.meters.start_decided(json.loads(bytes(answer.body))["answer"])
    return answer


def unit_asked(work: Work, caller: Caller, text: str) -> UnitRow:
    """The unit that a caller means, by its id or PIN. Raises NoSuchUnit, also for one that the caller may not see.

    Of all that a machine is known by, a PIN alone proves it wherever it is written: a serial number needs its maker and
    type, and a fleet number or the NAME of a device may be another machine's tomorrow.
    """
    if not text.isprintable():  # not every database takes such a text, and no unit is called so
        raise NoSuchUnit(repr(text))
    id = text
    if units.find(work, text) is None:
        for claim in claims(ReadUnit("", pin=text), "")[0]:
            held = identities.held(work, claim.scheme.value, claim.issuer, claim.value)
            id = text if held is None else held.unit
    if not caller.sees(id):
        raise NoSuchUnit(text)
    return unit_named(work, id)


def _rulebook(desk: Desk, work: Work) -> Rulebook:
    return desk.in_force.auditor(work, organisations.read(work).terms.hold_at).rulebook


def _job(rulebook: Rulebook, crop: str, header_kind: str) -> Job:
    """The job in the rulebook's words. Raises Refusal (422): nothing is guessed."""
    found = find_crop(crop, rulebook)
    if not found:
        advice = did_you_mean(crop, rulebook.crops, f"Known: {', '.join(rulebook.crops)}.")
        raise Refusal(422, "Unknown crop", f"crop: no crop card is called '{crop}'. {advice}")
    kinds = [word for word, _ in rulebook.vocabulary.fixed["job.header_kind"].words]
    if header_kind not in kinds:
        advice = did_you_mean(header_kind, kinds, f"Known: {', '.join(kinds)}.")
        raise Refusal(422, "Unknown header", f"header_kind: no kind of header is called '{header_kind}'. {advice}")
    return Job(found, header_kind)


def _whose(desk: Desk, work: Work) -> dict[str, str]:
    return {"issuer": desk.gate.issuer, "organisation": work.organisation}


def _told(decision: Decision, unit: UnitRow, now: float) -> dict[str, Any]:
    """A decision without a certificate."""
    job = decision.job
    cleared = decision.clearance is Clearance.CLEARED
    may = "may" if cleared else "may not"
    count = len(decision.reasons)
    why = "" if cleared else f": {decision.reasons[0].text}" + (f" And {count - 1} more." if count > 1 else "")
    return {
        "answer": decision.clearance.value,
        "unit": unit.id,
        "crop": job.crop,
        "header_kind": job.header_kind,
        "say": f"{decision.clearance.value.upper()}: {unit.id} {may} start {job.crop} with {job.header_kind}{why}",
        "reasons": [
            {
                "text": reason.text,
                "why": reason.why.value,
                "rule": reason.finding.rule if reason.finding else None,
                "on": (reason.finding.on or None) if reason.finding else None,
            }
            for reason in decision.reasons
        ],
        "asked_at": moment(now),
        "start": None,
        "expires": None,
        "certificate": None,
        "details": f"/units/{quote(unit.id)}/clearance?{urlencode({'crop': job.crop, 'header_kind': job.header_kind})}",
    }


def _cleared(start: StartRow, now: float) -> dict[str, Any]:
    """A start with its certificate."""
    return {
        "answer": Clearance.CLEARED.value,
        "unit": start.unit,
        "crop": start.crop,
        "header_kind": start.header_kind,
        "say": f"CLEARED: {start.unit} may start {start.crop} with {start.header_kind}",
        "reasons": [],
        "asked_at": moment(now),
        "start": start.id,
        "expires": moment(start.expires),
        "certificate": start.certificate,
        "details": f"/harvest-starts/{start.id}",
    }


def _edition(content: dict[str, Any]) -> str:
    """Changes whenever the answer does, but for the time it was given."""
    said = {name: value for name, value in content.items() if name != "asked_at"}
    return tag(content["answer"], sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:32])
