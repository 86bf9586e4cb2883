"""Visits: who goes to which farm when; planned from a fleet audit by a form, changed and cancelled one by one."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Depends, Form, Query, Request, Response
from starlette.datastructures import FormData

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import form_of, keyed, plain_of, with_header
from api.pages.changed import Field, changed_meanwhile
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import teller_of
from api.pages.view import page, view_of
from api.routes import visits as doors
from api.routes.desk import desk_of, tag
from api.routes.fleet_audits import AuditId
from api.routes.units import Reader
from api.routes.visits import Scheduler, VisitId
from api.service import visiting
from api.service.visiting import EFFORT, NotPlanned
from api.store import fleet_audits, units, visits
from api.store.database import Work
from audit.nouns.problem import BadInput, Problem

router = pages_router()

MOST = 200
"""Visits on a page."""
FIELDS = ("technician", "farm", "day", "begins", "leaves")
"""What the form of a visit holds."""


@router.get("/fleet/visits")
def every(
    request: Request, caller: Reader, first: doors.Day = "",
    technician: Annotated[str, Query(max_length=120)] = "", after: Annotated[str, Query(max_length=60)] = "",
) -> Response:  # fmt: skip
    """Visits day by day from today on, or from a day; and what the newest plan left out."""
    desk, now = desk_of(request), desk_of(request).clock()
    since = first or _day_of(now).isoformat()
    found = plain_of(doors.list_visits(request, caller, since, "", technician, "", "", False, after, MOST))
    with desk.store.reading(caller.organisation, now) as work:
        there = {one.id for one in units.of_fleet(work) if caller.sees(one.id)}
        names = sorted({one.technician for one in visits.every(work, since)}) if not caller.units else []
        plan = next(iter(visits.plans(work, None, 1)), None) if not caller.units else None
        visited = {unit for one in visits.every(work, _day_of(now).isoformat()) for unit in one.units}
    tell = teller_of(view_of(request)).text
    left = visiting.result_of(plan)["left_out"] if plan else []
    lines = found["items"]
    further = f"&after={lines[-1]['begins']}.{lines[-1]['id']}" if found["next"] else ""
    return page(
        request, "visits.html", days=[(day, list(some)) for day, some in groupby(lines, key=lambda one: one["day"])],
        since=since, technician=technician, technicians=names, further=further, plan=plan, known=there,
        left_out=[{**one, "why": tell(one["why"])} for one in left if one["unit"] not in visited],
    )  # fmt: skip


@router.get("/fleet/visits/{visit}")
def one(request: Request, caller: Reader, visit: VisitId) -> Response:
    """One visit with its work; for who plans, the form that changes it."""
    found = plain_of(doors.get_visit(request, visit, caller))
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        there = {piece["unit"] for piece in found["work"] if units.find(work, piece["unit"]) is not None}
    return page(request, "visit.html", visit=found, values=_values(found), known=there)


@router.post("/fleet/visits/{visit}")
def change(
    request: Request, caller: Scheduler, visit: VisitId, form: Annotated[FormData, Depends(form_of)]
) -> Response:
    """Changes when and by whom; only the edition that was seen, else whoever changed it decides field by field."""
    must_be_own(request)
    found = plain_of(doors.get_visit(request, visit, caller))
    said = {name: str(form.get(name, "")).strip() for name in FIELDS}
    sent = {
        "technician": said["technician"], "farm": said["farm"], "begins": f"{said['day']}T{said['begins']}",
        "leaves": f"{said['day']}T{said['leaves']}", "work": found["work"],
    }  # fmt: skip
    if sent["begins"] == found["begins"]:
        sent["arrives"] = found["arrives"]
    if sent["leaves"] < sent["begins"] and (then := _read(said["day"])):  # it goes on past midnight
        sent["leaves"] = f"{then + timedelta(days=1)}T{said['leaves']}"
    try:
        seen = with_header(request, "if-match", tag(str(form.get("edition", ""))))
        doors.put_visit(seen, visit, caller, json.dumps(sent).encode())
    except Refusal as error:
        if error.status != 412:
            raise
        return changed_meanwhile(
            request, caller, view_of(request), form, _fields(request, found), subject=f"visit/{visit}",
            title=found["farm"], edition=str(found["edition"]), done=f"/fleet/visits/{visit}",
        )  # fmt: skip
    return see(f"/fleet/visits/{visit}")


@router.post("/fleet/visits/{visit}/cancel")
def cancel(
    request: Request, caller: Scheduler, visit: VisitId, edition: Annotated[str, Form(max_length=20)]
) -> Response:
    """Cancels a visit; it stays on record."""
    must_be_own(request)
    doors.cancel_visit(with_header(request, "if-match", tag(edition)), visit, caller)
    return see(f"/fleet/visits/{visit}")


@router.get("/fleet/audits/{audit}/visits")
def form(request: Request, caller: Scheduler, audit: AuditId) -> Response:
    """The form that plans the visits which do the work of a fleet audit."""
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        last = next(iter(visits.plans(work, None, 1)), None)
    asked = str(visiting.result_of(last)["asked"]) if last else ""
    return _form(request, caller, audit, asked, token_urlsafe(16))


@router.post("/fleet/audits/{audit}/visits")
def make(
    request: Request, caller: Scheduler, audit: AuditId, asked: Annotated[str, Form(max_length=500_000)],
    key: Annotated[str, Form(max_length=64, pattern=r"^[A-Za-z0-9_-]+$")],
    edition: Annotated[str, Form(max_length=40, pattern=r"^[0-9-]*$")] = "",
) -> Response:  # fmt: skip
    """Plans the visits; what is wrong is shown beside what was written."""
    must_be_own(request)
    text = asked.replace("\r\n", "\n")
    wanted = keyed(request, key)
    if edition:
        wanted = with_header(wanted, "if-match", tag("visits", edition))
    try:
        doors.plan_of(wanted, caller, text, audit, EFFORT)
    except BadInput as error:
        return _form(request, caller, audit, text, token_urlsafe(16), 422, problems=error.problems)
    except Refusal as error:
        if error.status not in (409, 412, 428, 503):
            raise
        why = view_of(request).language.say(
            "Visits were planned or changed since you opened this page. Look at them, then plan again."
        )
        why = why if error.status in (412, 428) else teller_of(view_of(request)).refusal(error.detail)
        return _form(request, caller, audit, text, token_urlsafe(16), error.status, why=why)
    return see("/fleet/visits")


def _form(
    request: Request, caller: Caller, audit: str, asked: str, key: str, status: int = 200, *,
    problems: Sequence[Problem] = (), why: str = "",
) -> Response:  # fmt: skip
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        job = fleet_audits.find(work, audit)
        edition = visits.edition(work)
        planned = _ahead(work)
    if job is None:
        raise Refusal(404, "No such fleet audit", f"There is no fleet audit {audit}.")
    try:
        farms = visiting.farms_of(desk, caller.organisation, job)
    except NotPlanned as error:
        raise Refusal(409, "Not planned", f"No visits were planned: {error}.") from None
    text = asked or _skeleton(farms, _day_of(desk.clock()) + timedelta(days=1))
    return page(
        request, "visits-plan.html", status, audit=job, asked=text, key=key, edition=edition, farms=farms,
        planned=planned, problems=teller_of(view_of(request)).problems(problems), why=why,
    )  # fmt: skip


def _ahead(work: Work) -> int:
    """Planned visits that a plan from today on would take the place of."""
    return sum(1 for one in visits.every(work, _day_of(work.now).isoformat()) if one.plan)


def _skeleton(farms: Mapping[str, int], start: date) -> str:
    """A visits file with the farms of an audit, to be filled in."""
    lines = [
        f"start: {start}", 'leaves_at: "07:00"', "hours_a_day: 9", "road: {speed: 50 km/h, detour: 1.3}", "",
        "technicians:", "  - name:", "    from: {name: workshop, x_km: 0, y_km: 0}", "    days: 5", "", "farms:",
    ]  # fmt: skip
    for farm in filter(None, farms):
        lines += [f"  - name: {json.dumps(farm, ensure_ascii=False)}", "    harvest:", "    place: {x_km: , y_km: }"]
    return "\n".join(lines) + "\n"


def _fields(request: Request, found: dict[str, Any]) -> list[Field]:
    say, now = view_of(request).language.say, _values(found)
    labels = {
        "technician": say("Technician"), "farm": say("Farm"), "day": say("Day"), "begins": say("Begins"),
        "leaves": say("Ends"),
    }  # fmt: skip
    return [Field(name, labels[name], now[name]) for name in FIELDS]


def _values(found: dict[str, Any]) -> dict[str, str]:
    """What the form of a visit shows."""
    return {
        "technician": found["technician"], "farm": found["farm"], "day": found["day"],
        "begins": found["begins"][11:], "leaves": found["leaves"][11:],
    }  # fmt: skip


def _read(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _day_of(at: float) -> date:
    return datetime.fromtimestamp(at, UTC).date()
