"""Entering a setup by a plain form, and the setup as it is on record."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass, field
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Depends, File, Form, Query, Request, Response, UploadFile
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from api.errors import Refusal
from api.pages.asking import form_of, keyed, plain_of
from api.pages.cards import crops_of
from api.pages.door import pages_router, see
from api.pages.standing import Standing, standing
from api.pages.telling import teller_of, told
from api.pages.view import View, page, view_of
from api.pages.walk_round import newest_known, unit_of
from api.pages.walking.checklist import Known, Thing, checklist, thing_shown, things
from api.pages.walking.entry import saved_walk, setup_of
from api.pages.walking.published import right_by
from api.record_wire import note_json, photo_json
from api.routes import photos as seen
from api.routes import units as doors
from api.routes.cards import crop_named
from api.routes.desk import desk_of
from api.routes.units import Reader, Recorder, SetupId, UnitId
from api.service import recording
from api.store import photos, setups
from audit.builds import decide
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput, Problem
from audit.nouns.vocabulary import on_card

router = pages_router(prefix="/unit/{unit}")

Word = Annotated[str, Query(max_length=80)]


@dataclass
class Entered:
    """A form as it came back.

    Attributes:
        values: what was written in it, by field.
        problems: by field, and under '' those that stand at no field.
    """

    values: dict[str, str] = field(default_factory=dict)
    problems: dict[str, list[Problem]] = field(default_factory=dict)
    changed: bool = False


@router.get("/setup")
def enter(request: Request, unit: UnitId, caller: Reader, crop: Word = "", header_kind: Word = "") -> Response:
    """The form, once crop and header are chosen."""
    found = standing(request, caller, unit)
    grown = crop_named(request, crop).id if crop else ""
    known = newest_known(request, found, caller.organisation, grown) if grown else {}
    return _page(request, found, grown, header_kind, known, Entered())


@router.post("/setup")
async def record(
    request: Request, unit: UnitId, caller: Recorder, form: Annotated[FormData, Depends(form_of)]
) -> Response:
    """Records what the form says; what can't be taken comes back with the form, beside the field."""
    values = {name: value for name, value in form.items() if isinstance(value, str)}
    return await run_in_threadpool(_record, request, unit, caller, values)


def _record(request: Request, unit: str, caller: Any, values: dict[str, str]) -> Response:
    found = standing(request, caller, unit)
    crop, header_kind = crop_named(request, values.get("crop", "")).id, values.get("header_kind", "")
    known = newest_known(request, found, caller.organisation, crop)
    if values.get("edition") != _edition(found):
        kept = {name: value for name, value in values.items() if not name.endswith(":same")}
        return _page(request, found, crop, header_kind, known, Entered(kept, changed=True), 412)
    asked = _things(found, crop)
    body = json.dumps(setup_of(values, asked, known, crop, header_kind), ensure_ascii=False).encode("utf-8", "replace")
    try:
        answer = doors.record_setup(keyed(request, values.get("key", "")), caller, unit, body)
    except BadInput as error:
        problems = teller_of(view_of(request)).problems(error.problems)
        return _page(request, found, crop, header_kind, known, Entered(values, _beside(problems, asked)), 422)
    return see(f"/unit/{unit}/setups/{plain_of(answer)['setup']['id']}")


@router.post("/setup/file")
def record_file(
    request: Request, unit: UnitId, caller: Recorder, setup: Annotated[UploadFile, File()],
    key: Annotated[str, Form(max_length=64, pattern=r"^[A-Za-z0-9_-]+$")],
) -> Response:  # fmt: skip
    """Records a whole setup out of a file of JSON, or a walk that a device saved to a file, notes and photos too."""
    text = setup.file.read()
    walk = saved_walk(text)
    body = text if walk is None else walk.setup
    made = plain_of(doors.record_setup(keyed(request, key), caller, unit, body))["setup"]["id"]
    for number, (quantity, note) in enumerate(walk.notes if walk else ()):
        sent = json.dumps({"quantity": quantity, "text": note}).encode()
        seen.add_note(keyed(request, f"{key}-n{number}"), caller, unit, made, sent)
    for number, (quantity, photo) in enumerate(walk.photos if walk else ()):
        seen.add_photo(keyed(request, f"{key}-p{number}"), caller, unit, made, photo, quantity)
    return see(f"/unit/{unit}/setups/{made}")


@router.get("/setups/{setup}")
def on_record(request: Request, unit: UnitId, setup: SetupId, caller: Reader) -> Response:
    """One setup: what was taken, what was seen, how it was judged."""
    plain = plain_of(doors.get_setup(request, unit, setup, caller))
    found, desk = standing(request, caller, unit), desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = setups.find(work, unit, setup)
        pictures = [photo_json(one) for one in photos.of_setup(work, setup)]
        notes = [note_json(one) for one in photos.notes_of(work, setup)]
    view = view_of(request)
    if row is None:
        raise Refusal(404, "No such setup", f"{unit} has no setup {setup}.")
    report, stations = None, []
    try:
        read = read_setup(row.text, "", found.rulebook)
        report = told(view, recording.answer_of(found.auditor, row))
        sheet = found.auditor.sheet(read.unit.card, read.crop)
        stations = [
            (
                told(view, {"title": title})["title"],
                [thing_shown(view, one, sheet, found.rulebook, read) for one in some],
            )
            for _, title, some in things(sheet, read.unit)
        ]
    except BadInput:
        pass  # it was taken by a rulebook that has other names; it is shown as it is kept
    names = {one["name"]: one for _, some in stations for one in some}
    return page(
        request, "setup.html", unit=found.unit, setup=plain, photos=pictures, notes=notes, report=report, names=names,
        stations=stations, raw=json.dumps(plain["content"], indent=1, ensure_ascii=False),
        newest=found.newest is not None and found.newest.id == setup,
    )  # fmt: skip


def _page(
    request: Request, found: Standing, crop: str, header_kind: str, known: dict[str, Known], entered: Entered,
    status: int = 200,
) -> Response:  # fmt: skip
    card = found.rulebook.machines.get(found.unit.card)
    crops = [one for one in found.rulebook.crops if card and one in crops_of(card, found.rulebook)]
    words = on_card(card, found.rulebook.vocabulary)["job.header_kind"].words if card else ()
    newest = found.newest
    view = view_of(request)
    plain = checklist(view, found.auditor, unit_of(found.unit), crop, known) if crop and card else None
    return page(
        request, "setup-entry.html", status, unit=found.unit, card=card, crops=crops, kinds=[one for one, _ in words],
        crop=crop, header_kind=header_kind, usual=(newest.crop, newest.header_kind) if newest else ("", ""),
        list=plain, right=_right(view, found, crop, header_kind) if plain else {},
        entered=entered, edition=_edition(found), key=token_urlsafe(16),
    )  # fmt: skip


def _right(view: View, found: Standing, crop: str, header_kind: str) -> dict[str, list[str]]:
    """What is right for each thing for this crop and header, in words."""
    unit = unit_of(found.unit)
    sheet = found.auditor.sheet(unit.card, crop)
    settled = {**decide(sheet.card, unit), "job.crop": crop, "job.header_kind": header_kind or None}
    return {name: told(view, {"wanted": texts})["wanted"] for name, texts in right_by(sheet, settled).items()}


def _edition(found: Standing) -> str:
    """Stands for what the form was filled in from: the unit and its newest setup."""
    return f"{found.unit.edition}-{found.newest.id if found.newest else 'none'}"


def _things(found: Standing, crop: str) -> list[Thing]:
    if found.unit.card not in found.rulebook.machines:
        raise Refusal(409, "No card", f"The rulebook in force has no card {found.unit.card}.")
    sheet = found.auditor.sheet(found.unit.card, crop)
    return [one for _, _, some in things(sheet, unit_of(found.unit)) for one in some]


def _beside(problems: list[Problem], asked: list[Thing]) -> dict[str, list[Problem]]:
    """Problems by the field they are about."""
    paths = {f"{_SECTIONS.get(one.section, one.section)}/{one.key}": one.quantity.name for one in asked}
    paths |= {"unit/engine_hours": "engine_hours", "taken/by": "by", "taken/state": "state"}
    found: dict[str, list[Problem]] = defaultdict(list)
    for problem in problems:
        path = problem.place.path.removesuffix("/left").removesuffix("/right")
        found[paths.get(path, "")].append(problem)
    return dict(found)


_SECTIONS = {"header": "job/header", "fitted": "unit/fitted"}
