"""The fleet, worst first, and the first visit to an empty service."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Form, Query, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller, must
from api.identity.rights import Right
from api.pages.asking import plain_of, unit_sent, with_header
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import teller_of
from api.pages.view import View, page, view_of
from api.routes import fleet_audits
from api.routes import units as doors
from api.routes.desk import desk_of, tag
from api.routes.units import Mechanic, Reader
from api.service.fleet_standing import Stood
from api.store import units
from api.store.fleet_audits import RUNNING
from audit.nouns.finding import Finding
from audit.nouns.risk import Level
from audit.nouns.rule import Rule, Verdict

router = pages_router()

MOST = 100
"""Units on a page."""
INVENTED = "demo-"
"""What the ids of the demo's invented units begin with."""
DEMO = Path(__file__).parents[1] / "demo" / "before-corn.ndjson"
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,79}", re.ASCII)
Word = Annotated[str, Query(max_length=200)]


@router.get("/")
def first(request: Request, caller: Reader) -> Response:
    """The fleet; where there is none, what to do first."""
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        some = units.page(work, "", 1, only=sorted(caller.units))
        cards = desk.in_force.rulebook(work).machines.values()
    if some:
        return see("/fleet")
    return page(request, "welcome.html", cards=[(one.id, one.title) for one in cards])


@router.get("/fleet")
def fleet(
    request: Request, caller: Reader, text: Word = "", farm: Word = "", card: Word = "", state: Word = "",
    level: Word = "", crop: Word = "", at: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> Response:  # fmt: skip
    """Units worst first, filtered."""
    desk, view = desk_of(request), view_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        every = desk.standings.of(work, caller)
        rulebook = desk.in_force.rulebook(work)
    asked = {"text": text, "farm": farm, "card": card, "state": state, "level": level, "crop": crop}
    found = [one for one in every if _fits(one, asked)]
    lines = [_line(one, rulebook.rules, view) for one in found[at : at + MOST]]
    running = [] if caller.units else _running(request, caller)
    kept = {key: value for key, value in asked.items() if value}
    return page(
        request, "fleet.html", lines=lines, count=len(found), of=len(every), held=sum(one.held for one in every),
        asked=asked, at=at, most=MOST, cards=[(one.id, one.title) for one in rulebook.machines.values()],
        farms=sorted({one.unit.owner for one in every if one.unit.owner}),
        crops=sorted({one.newest.crop for one in every if one.newest}),
        before=_link(kept, at - MOST) if at > 0 else "", after=_link(kept, at + MOST) if at + MOST < len(found) else "",
        running=running, levels=[one.name.lower() for one in Level],
        invented=any(one.unit.id.startswith(INVENTED) for one in every),
    )  # fmt: skip


@router.post("/fleet/units")
def add_unit(
    request: Request, caller: Mechanic, id: Annotated[str, Form(max_length=80)], card: Annotated[str, Form()],
    serial: Annotated[str, Form()] = "", build_year: Annotated[str, Form()] = "", owner: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Puts a new unit on record."""
    must_be_own(request)
    if not _ID.fullmatch(id.strip()):
        raise Refusal(422, "Not taken", "An id begins with a letter or digit and has letters, digits and . _ : - only.")
    sent = unit_sent(card.strip(), {"serial": serial, "build_year": build_year, "owner": owner})
    asked = with_header(request, "if-none-match", "*")  # so that a unit of this id is never overwritten
    doors.put_unit(asked, caller, id.strip(), json.dumps(sent).encode())
    return see(f"/unit/{id.strip()}")


@router.post("/fleet/demo")
def load_demo(request: Request, caller: Mechanic) -> Response:
    """Puts the demo's invented machines on record, each with a setup as if it was taken just now."""
    must_be_own(request)
    must(caller, Right.RECORD)
    for line in DEMO.read_bytes().splitlines():
        setup = json.loads(line)
        unit = setup.pop("unit")
        id = INVENTED + unit.pop("id")
        hours = unit.get("engine_hours")
        if not _is_there(request, caller.organisation, id):
            doors.put_unit(request, caller, id, json.dumps(unit).encode())
            setup["taken"]["at"] = datetime.fromtimestamp(desk_of(request).clock(), UTC).isoformat()
            doors.record_setup(request, caller, id, json.dumps(setup | {"unit": {"engine_hours": hours}}).encode())
    return see("/fleet")


@router.post("/fleet/demo/take-out")
def take_demo_out(request: Request, caller: Mechanic) -> Response:
    """Takes the demo's machines out of the fleet; as everything, they stay on the record."""
    must_be_own(request)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = [one for one in units.of_fleet(work) if one.id.startswith(INVENTED)]
    for one in found:
        doors.retire_unit(with_header(request, "if-match", tag(one.edition)), one.id, caller)
    return see("/")


def _running(request: Request, caller: Caller) -> list[dict[str, Any]]:
    """Fleet audits that are at work."""
    lately = plain_of(fleet_audits.list_audits(request, caller, before=None, most=3))["items"]
    return [one for one in lately if one["state"] == RUNNING]


def _fits(one: Stood, asked: dict[str, str]) -> bool:
    unit, newest = one.unit, one.newest
    shown = f"{unit.id} {unit.serial} {unit.owner}".casefold()
    return (
        all(word in shown for word in asked["text"].casefold().split())
        and asked["farm"] in ("", unit.owner)
        and asked["card"] in ("", unit.card)
        and asked["state"] in ("", "held" if one.held else "cleared")
        and asked["crop"] in ("", newest.crop if newest else "-")
        and asked["level"] in ("", _level(one))
    )


def _level(one: Stood) -> str:
    worst = _worst(one)
    return worst.risk.level.name.lower() if worst else ""


def _worst(one: Stood) -> Finding | None:
    """The worst finding that holds it, else the worst of all."""
    holding = (reason.finding for reason in one.decision.reasons if reason.finding is not None)
    return next(holding, one.short.worst if one.short else None)


def _line(one: Stood, titles: Mapping[str, Rule], view: View) -> dict[str, Any]:
    """What a line of the list shows."""
    tell, worst = teller_of(view).text, _worst(one)
    return {
        "unit": one.unit, "newest": one.newest, "short": one.short, "clearance": one.decision.clearance.value,
        "level": _level(one), "worst": tell(titles[worst.rule].title) if worst else "",
        "unknown": worst is not None and worst.verdict is Verdict.UNKNOWN,
        "holding": sum(reason.finding is not None for reason in one.decision.reasons),
        "other": [tell(reason.text) for reason in one.decision.reasons if reason.finding is None],
    }  # fmt: skip


def _link(kept: dict[str, str], at: int) -> str:
    return f"/fleet?{urlencode({**kept, 'at': max(at, 0)})}"


def _is_there(request: Request, organisation: str, id: str) -> bool:
    desk = desk_of(request)
    with desk.store.reading(organisation, desk.clock()) as work:
        return units.find(work, id) is not None
