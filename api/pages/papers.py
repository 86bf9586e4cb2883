"""Sheets over HTTP: which there are for a unit, and each as HTML, PDF, workbook or CSV in its reader's language."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import Query, Request, Response

from api.errors import Refusal
from api.fleet_wire import fleet_json
from api.pages.cards import crops_of
from api.pages.door import pages_router, see
from api.pages.fleet_audits import result
from api.pages.sheets.cab_sheet import cab_sheet
from api.pages.sheets.fleet_report import Beside, fleet_report
from api.pages.sheets.on_record import Newest, history
from api.pages.sheets.press import Busy, LacksLayout
from api.pages.sheets.printout import MEDIA, PAPERS, Printing, Printout, printed
from api.pages.sheets.unit_sheet import Machine, about_unit, unit_sheet
from api.pages.sheets.wear import limits_of
from api.pages.sheets.work_order import work_order
from api.pages.standing import Standing, standing
from api.pages.telling import told
from api.pages.view import HEADERS, html, page, view_of
from api.pages.work import changed_over, in_time
from api.plan_wire import out_of_time_after
from api.routes.desk import desk_of
from api.routes.fleet_audits import AuditId
from api.routes.fleet_audits import Reader as FleetReader
from api.routes.plans import SECONDS
from api.routes.units import Reader, UnitId
from audit.nouns.plan import Locks
from audit.nouns.vocabulary import on_card
from audit.run import audit_on_sheet

router = pages_router()

Ending = Literal["html", "pdf", "xlsx", "csv"]
Paper = Annotated[Literal["", "a4", "letter"], Query(description="A4 or US Letter")]
Word = Annotated[str, Query(max_length=80)]


@router.get("/unit/{unit}/sheets")
def sheets(request: Request, unit: UnitId, caller: Reader, paper: Paper = "") -> Response:
    """The sheets that there are for a unit."""
    found = standing(request, caller, unit)
    setup, rulebook = found.read, found.rulebook
    card = rulebook.machines[setup.unit.card]
    crops = [one for one in rulebook.crops if one in crops_of(card, rulebook) and one != setup.crop]
    kinds = [word for word, _ in on_card(card, rulebook.vocabulary)["job.header_kind"].words]
    chosen = _printing(request, paper).paper
    return page(
        request, "sheets.html", unit=found.unit, crops=crops, kinds=kinds, paper=chosen, endings=tuple(MEDIA)
    )  # fmt: skip


@router.get("/unit/{unit}/sheets/unit-sheet.{ending}")
def a_unit(request: Request, unit: UnitId, caller: Reader, ending: Ending, paper: Paper = "") -> Response:
    """The sheet of a unit as its newest setup has it."""
    found = standing(request, caller, unit)
    machine, printing, desk = _machine(found), _printing(request, paper), desk_of(request)
    past = history(desk, caller, unit, found.auditor, desk.clock())
    limits = limits_of([told(printing.view, past)]) if past else []
    return _answer(request, unit_sheet(machine, printing, limits), printing, ending)


@router.get("/unit/{unit}/sheets/work-order.{ending}")
def order(request: Request, unit: UnitId, caller: Reader, ending: Ending, paper: Paper = "") -> Response:
    """The work that puts the newest setup right."""
    found = standing(request, caller, unit)
    machine, printing = _machine(found), _printing(request, paper)
    planned = in_time(lambda: found.planner.plan(machine.setup, Locks(), out_of_time_after(SECONDS)))
    return _answer(request, work_order(machine, planned, printing), printing, ending)


@router.get("/unit/{unit}/sheets/changeover.{ending}")
def cab(
    request: Request, unit: UnitId, caller: Reader, ending: Ending, to: Word = "", header: Word = "", paper: Paper = ""
) -> Response:
    """The changeover to another crop, for the cab; without a crop, where to choose one."""
    if not to:
        return see(f"/unit/{unit}/sheets")
    found = standing(request, caller, unit)
    machine, printing = _machine(found), _printing(request, paper)
    planned = changed_over(found, to, header, Locks())
    sheet = found.auditor.sheet(machine.setup.unit.card, planned.before.crop)
    about = about_unit(machine, printing.view)
    printout = cab_sheet(machine, planned, machine.setup.crop, sheet, about, printing)
    return _answer(request, printout, printing, ending)


@router.get("/fleet/report.{ending}")
def newest(request: Request, caller: Reader, ending: Ending, paper: Paper = "") -> Response:
    """The fleet as the newest setups on record have it."""
    printing = _printing(request, paper)
    view = printing.view
    found = Newest(desk_of(request), caller)
    fleet, rulebook = found.planned(), found.auditor.rulebook
    past = [told(view, one) for one in found.histories()]
    speeds = {} if ending == "csv" else found.speeds(view.units)  # its one table is of units
    beside = Beside(view.language.say("Newest setups on record"), speeds, limits_of(past), found.unread)
    answer = fleet_json(fleet, rulebook, {})
    return _answer(request, fleet_report(answer, fleet, rulebook, beside, printing), printing, ending)


@router.get("/fleet/audits/{audit}/report.{ending}")
def audited(request: Request, caller: FleetReader, audit: AuditId, ending: Ending, paper: Paper = "") -> Response:
    """The fleet as a fleet audit found it."""
    printing = _printing(request, paper)
    job, fleet, rulebook = result(request, caller, audit)
    source = job["name"] or printing.view.language.say("Fleet audit {number}", number=job["number"])
    answer = fleet_json(fleet, rulebook, {})
    return _answer(request, fleet_report(answer, fleet, rulebook, Beside(source), printing), printing, ending)


def _machine(found: Standing) -> Machine:
    setup = found.read
    sheet = found.sheet
    return Machine(sheet, setup, audit_on_sheet(sheet, setup, found.auditor.hold_at), found.rulebook)


def _printing(request: Request, paper: str) -> Printing:
    """Letter where US units are wanted, else A4."""
    view, desk = view_of(request), desk_of(request)
    usual = PAPERS[1] if view.units == "us" else PAPERS[0]
    return Printing(view, desk.clock(), view.caller.who if view.caller else "", desk.address, paper or usual)


def _answer(request: Request, printout: Printout, printing: Printing, ending: str) -> Response:
    """A sheet as it is sent."""
    if ending == "html":
        return html(request, printed(printout, printing, ending, _others(request, printing)).decode("utf-8"))
    body = _made(lambda: printed(printout, printing, ending))
    shows = "inline" if ending == "pdf" else "attachment"
    headers = {**HEADERS, "Content-Disposition": f'{shows}; filename="{printout.name}.{ending}"'}
    return Response(body, 200, headers, MEDIA[ending])


def _others(request: Request, printing: Printing) -> dict[str, str]:
    """The other forms and the other paper of a sheet, by their words."""
    say = printing.view.language.say
    asked = {name: value for name, value in request.query_params.items() if name != "paper"}
    stem = request.url.path.removesuffix("html")
    words = {"pdf": say("PDF to print"), "xlsx": say("Workbook"), "csv": say("CSV table")}
    with_paper = {**asked, "paper": printing.paper}
    found = {word: f"{stem}{ending}?{urlencode(with_paper)}" for ending, word in words.items()}
    other = next(one for one in PAPERS if one != printing.paper)
    word = {"a4": say("on A4 paper"), "letter": say("on US Letter paper")}[other]
    return {**found, word: f"{stem}html?{urlencode({**asked, 'paper': other})}", **_back(request, say)}


def _back(request: Request, say: Callable[[str], str]) -> dict[str, str]:
    parts = request.url.path.split("/")
    return (
        {say("back to the fleet"): "/fleet"} if parts[1] == "fleet" else {say("back to the unit"): f"/unit/{parts[2]}"}
    )


def _made(make: Callable[[], bytes]) -> bytes:
    try:
        return make()
    except LacksLayout as error:
        raise Refusal(503, "No PDF here", str(error)) from None
    except Busy as error:
        raise Refusal(503, "Try again", str(error)) from None
