"""A unit: how it stands, what is wrong and how it is put right, what is not known, what was computed, how it wore."""

from __future__ import annotations

import json
from itertools import groupby
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Depends, Form, Request, Response
from starlette.datastructures import FormData

from api.drawings.drive_train import drive_train
from api.drawings.positions import finding_positions
from api.drawings.side_view import side_view
from api.errors import Refusal
from api.pages.asking import form_of, keyed, plain_of, unit_sent, with_header, written
from api.pages.changed import WAS, Field, changed_meanwhile
from api.pages.door import must_be_own, pages_router, see
from api.pages.sheets.wear import limits_of, wear_plots
from api.pages.standing import Standing, standing
from api.pages.telling import told
from api.pages.view import page, view_of
from api.routes import acceptances as acceptance_doors
from api.routes import histories, identities, starts
from api.routes import units as doors
from api.routes.acceptances import Approver
from api.routes.desk import tag
from api.routes.units import Mechanic, Reader, UnitId
from api.wire import USUAL, report_json
from audit.facts import compute
from audit.nouns.finding import Report
from audit.nouns.machine import MachineCard
from audit.nouns.rule import Verdict
from audit.nouns.vocabulary import on_card
from audit.run import audit_on_sheet

router = pages_router(prefix="/unit/{unit}")

MOST_PLOTS = 6
MOST_SETUPS = 50
Text = Annotated[str, Form(max_length=2000)]


@router.get("")
def unit(request: Request, unit: UnitId, caller: Reader) -> Response:
    """Everything about one unit; without a setup, what to do first."""
    found = standing(request, caller, unit)
    card = found.rulebook.machines.get(found.unit.card)
    held = plain_of(acceptance_doors.list_acceptances(request, unit, caller))["items"]
    around = {
        "unit": found.unit, "newest": found.newest, "unread": found.unread, "card": card,
        "builds": _builds(found, card), "hours": written(found.unit.engine_hours),
        "setups": plain_of(doors.list_setups(request, unit, caller, before=None, most=MOST_SETUPS))["items"],
        "starts": plain_of(starts.list_starts(request, unit, caller, before=None, most=10))["items"],
        "acceptances": held, "key": token_urlsafe(16), "said": _said(request, caller, found, card),
    }  # fmt: skip
    if found.setup is None or found.newest is None:
        return page(request, "unit-new.html", things=around)
    view = view_of(request)
    report = audit_on_sheet(found.sheet, found.setup, found.auditor.hold_at)
    decision = plain_of(
        starts.clearance(request, unit, caller, found.newest.crop, found.newest.header_kind, plan=False)
    )
    plain = told(view, report_json(report, found.rulebook, with_facts=True))
    history = _history(request, unit, caller)
    limits = [] if history is None else limits_of([history])
    values = compute(found.sheet, found.setup).values
    rules = found.rulebook.rules
    return page(
        request, "unit.html", things=around, report=plain, decision=told(view, decision),
        broken=_broken(found, report, plain, values), unknown=_unknown(plain),
        history=None if history is None else told(view, history), plots=wear_plots(limits, view, MOST_PLOTS),
        sides=[side_view(found.sheet.card, report, rules, narrow, keyed=False) for narrow in (False, True)],
        trains=[drive_train(found.sheet, values, report, rules, narrow=narrow) for narrow in (False, True)],
        usual=[view.language.say(found.rulebook.cautions[key]) for key in USUAL],
        shafts=_facts(plain, found),
    )  # fmt: skip


@router.post("/edit")
def edit(request: Request, caller: Mechanic, unit: UnitId, form: Annotated[FormData, Depends(form_of)]) -> Response:
    """Changes what the unit is; only the edition that was seen, else whoever changed it decides field by field."""
    must_be_own(request)
    found = standing(request, caller, unit)
    sent = {**unit_sent(found.unit.card, form), "fitted": _fitted(found, form)}
    if form.get("engine_hours") == form.get(f"{WAS}engine_hours"):
        sent.pop("engine_hours", None)  # they come with setups too, which make no new edition
    try:
        doors.put_unit(_seen(request, str(form.get("edition", ""))), caller, unit, json.dumps(sent).encode())
    except Refusal as error:
        if error.status != 412 or found.unit.retired is not None:
            raise
        return changed_meanwhile(
            request, caller, view_of(request), form, _fields(request, found), subject=f"unit/{unit}", title=unit,
            edition=str(found.unit.edition), done=f"/unit/{unit}",
        )  # fmt: skip
    return see(f"/unit/{unit}")


@router.post("/take-out")
def take_out(request: Request, caller: Mechanic, unit: UnitId, edition: Text) -> Response:
    """Takes the unit out of the fleet; its record stays."""
    must_be_own(request)
    doors.retire_unit(_seen(request, edition), unit, caller)
    return see("/fleet")


@router.post("/accept")
def accept(
    request: Request, caller: Approver, unit: UnitId, setup: Text, rule: Text, by: Text, reason: Text, until: Text,
    key: Annotated[str, Form(max_length=64, pattern=r"^[A-Za-z0-9_-]+$")], on: Text = "",
) -> Response:  # fmt: skip
    """Lets one finding pass as it was found, until the end of a day."""
    must_be_own(request)
    sent = {"setup": setup, "rule": rule, "on": on, "by": by, "reason": reason, "until": f"{until}T23:59:59Z"}
    acceptance_doors.accept(keyed(request, key), caller, unit, json.dumps(sent).encode())
    return see(f"/unit/{unit}#acceptances")


@router.post("/acceptances/{acceptance}/end")
def end_acceptance(request: Request, caller: Approver, unit: UnitId, acceptance: str) -> Response:
    """Takes an acceptance back."""
    must_be_own(request)
    acceptance_doors.withdraw(request, unit, acceptance, caller)
    return see(f"/unit/{unit}#acceptances")


def _said(request: Request, caller: Reader, found: Standing, card: MachineCard | None) -> dict[str, Any]:
    """What the machine says of itself: settings under the meanings that they have on its card, and fault codes."""
    plain = plain_of(identities.from_machine(request, caller, found.unit.id))
    names = {} if card is None else on_card(card, found.rulebook.vocabulary)
    for one in plain["values"]:
        one["meanings"] = [names[name].meaning for name in one["settings"] if name in names]
    return plain


def _broken(found: Standing, report: Report, plain: dict[str, Any], values: Any) -> list[dict[str, Any]]:
    """Broken findings with a picture of each position that is wanted."""
    lines = []
    for one, line in zip(report.findings, plain["findings"], strict=True):
        if one.verdict is Verdict.BROKEN:
            pictures = finding_positions(found.sheet, found.rulebook.vocabulary, values, one)
            lines.append({**line, "pictures": pictures, "acceptable": one.holds_start and not one.risk.people})
    return lines


def _unknown(plain: dict[str, Any]) -> list[tuple[str, list[dict[str, Any]]]]:
    """What is not known by station, each thing to look at once, with the worst that it could be hiding."""
    open_ = [one for one in plain["findings"] if one["verdict"] == "unknown"]
    things: dict[tuple[str, str], dict[str, Any]] = {}
    for one in open_:
        for missing in one["missing"]:
            key = (one["station"]["title"], missing["name"])
            things.setdefault(key, {**missing, "level": one["risk"]["level"], "station": key[0]})
    ordered = list(things.values())
    stations = list(dict.fromkeys(one["station"] for one in ordered))
    ordered.sort(key=lambda one: stations.index(one["station"]))
    return [(name, list(some)) for name, some in groupby(ordered, key=lambda one: one["station"])]


def _facts(plain: dict[str, Any], found: Standing) -> list[tuple[str, list[dict[str, Any]]]]:
    """Computed facts by the part that they are about, those that are known."""
    titles = {component.id: component.title for component in found.sheet.card.components()}
    known = [one for one in plain["facts"] if one["shown"]]
    parts: dict[str, list[dict[str, Any]]] = {}
    for one in known:
        parts.setdefault(one["name"].partition(".")[0], []).append(one)
    return [(titles.get(part, part), some) for part, some in parts.items()]


def _history(request: Request, unit: str, caller: Any) -> dict[str, Any] | None:
    """What the setups say together; None where they say nothing that holds together."""
    try:
        return plain_of(histories.history(request, unit, caller, engine_hours=None))
    except Refusal:
        return None


def _builds(found: Standing, card: MachineCard | None) -> list[dict[str, Any]]:
    """Variants that differ by build, with what is fitted."""
    fitted = dict(found.unit.fitted)
    return [
        {"name": one.name, "meaning": one.meaning, "choices": dict(one.choices), "fitted": fitted.get(one.name, "")}
        for one in (card.builds if card else ())
    ]


def _fitted(found: Standing, form: FormData) -> dict[str, str]:
    """What is fitted by the form; a build that nobody chose is left open."""
    card = found.rulebook.machines.get(found.unit.card)
    chosen = {one.name: str(form.get(f"fitted.{one.name}", "")) for one in (card.builds if card else ())}
    kept = {name: choice for name, choice in found.unit.fitted.items() if name not in chosen}
    return kept | {name: choice for name, choice in chosen.items() if choice}


def _fields(request: Request, found: Standing) -> list[Field]:
    """What can be changed of a unit, as its form would be filled in now."""
    unit, say = found.unit, view_of(request).language.say
    builds = _builds(found, found.rulebook.machines.get(unit.card))
    by_card = say("by serial number and build year, where the card says so")
    return [
        Field("serial", say("Serial number"), unit.serial),
        Field("build_year", say("Build year"), str(unit.build_year or "")),
        Field("owner", say("Farm"), unit.owner),
        Field("engine_hours", say("Engine hours"), written(unit.engine_hours), measure=True),
        *(
            Field(
                f"fitted.{one['name']}", say(one["meaning"]), one["fitted"],
                {"": by_card, **{choice: say(meaning or choice) for choice, meaning in one["choices"].items()}},
            )
            for one in builds
        ),
    ]  # fmt: skip


def _seen(request: Request, edition: str) -> Request:
    """The request of who saw this edition of the unit."""
    return with_header(request, "if-match", tag(edition))
