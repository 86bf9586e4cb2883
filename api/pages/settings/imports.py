"""Imports from farm systems: what was read, what came of each row, taking one back; questions; addresses polled."""

from __future__ import annotations

import json
from collections import Counter
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Depends, File, Form, Request, Response, UploadFile
from starlette.datastructures import FormData

from api.errors import Refusal
from api.identity.rights import Right
from api.pages.asking import form_of, keyed, plain_of
from api.pages.door import must_be_own, pages_router, see
from api.pages.telling import Teller, teller_of
from api.pages.view import page, view_of
from api.routes import identities
from api.routes import imports as doors
from api.routes.desk import Before
from api.routes.identities import QuestionId
from api.routes.imports import MOST_MAPPING, ImportId, Sent
from api.routes.units import Mechanic, Reader
from api.service.placing import METER, WHICH_CARD

router = pages_router(prefix="/settings/imports")

MOST = 50
"""Imports on a page."""
MOST_QUESTIONS = 100
MOST_LINES = 500
"""Rows of an import that its page lists; its JSON has all."""
Text = Annotated[str, Form(max_length=200)]


@router.get("")
def imports(request: Request, caller: Reader, before: Before = None) -> Response:
    """The imports, the newest first; what waits for an answer; for an owner, the addresses that are polled."""
    found = plain_of(doors.list_imports(request, caller, before, MOST))
    lines = found["items"]
    owner, tell = caller.may(Right.ADMINISTER), teller_of(view_of(request))
    open_ = plain_of(identities.list_questions(request, caller, 0, False, MOST_QUESTIONS))["items"]
    return page(
        request, "settings-imports.html", imports=lines, first=before is None,
        further=f"/settings/imports?before={lines[-1]['number']}" if found["next"] else "",
        sources=plain_of(doors.list_sources(request, caller))["items"] if owner else None,
        questions=[{**one, "text": tell.text(one["text"])} for one in open_],
        formats=plain_of(doors.list_formats(caller)), key=token_urlsafe(16),
    )  # fmt: skip


@router.post("")
def take(
    request: Request, caller: Mechanic, file: Annotated[UploadFile, File()],
    key: Annotated[str, Form(pattern=r"^[A-Za-z0-9_-]{1,64}$")], mapping: Annotated[UploadFile | None, File()] = None,
    format: Text = "", source: Text = "", timezone: Text = "", dry_run: Text = "",
) -> Response:  # fmt: skip
    """Imports a file, all rows of it or none; or only shows what would happen."""
    must_be_own(request)
    content, rules = file.file.read(), mapping.file.read(MOST_MAPPING + 1) if mapping is not None else b""
    if not content:
        raise Refusal(422, "Not taken", "Choose the file that is to be imported; the one that came is empty.")
    if len(rules) > MOST_MAPPING:
        raise Refusal(413, "Not taken", f"A mapping may have at most {MOST_MAPPING:,} bytes.")
    told = {"format": format, "source": source, "timezone": timezone}
    sent = Sent(b"".join((content, rules, *(one.encode() for one in told.values()))), _name(file), content, rules)
    if dry_run:
        return _page(request, plain_of(doors.import_file(request, caller, sent, dry_run=True, **told)))
    answer = doors.import_file(keyed(request, key), caller, sent, dry_run=False, **told)
    return see(f"/settings/imports/{plain_of(answer)['id']}")


@router.post("/questions/{id}")
def answer(request: Request, caller: Mechanic, id: QuestionId, form: Annotated[FormData, Depends(form_of)]) -> Response:
    """Answers what an import could not decide; the rows that waited are put on record."""
    must_be_own(request)
    said = {name: str(value).strip() for name, value in form.items()}
    kind = said.get("kind", "")
    says: dict[str, Any] = {}
    if kind == METER:
        says["replaced"] = said.get("replaced") == "yes"
    elif kind == WHICH_CARD:
        says["card"] = said.get("card", "")
        says |= {"only": True} if said.get("only") else {}
        says |= {name: said[name] for name in ("serial_from", "serial_to") if said.get(name)}
    else:
        says |= {"new": True} if said.get("new") else {"unit": said.get("unit", "")}
    found = plain_of(identities.answer(request, caller, id, json.dumps(says).encode()))
    return see(f"/settings/imports/{found['question']['origin']}")


@router.get("/{id}")
def one(request: Request, caller: Reader, id: ImportId) -> Response:
    """One import with what came of its rows."""
    return _page(request, plain_of(doors.get_import(request, caller, id)))


@router.post("/{id}/undo")
def undo(request: Request, caller: Mechanic, id: ImportId) -> Response:
    """Takes an import back; the page that is answered says what went, and what stays and why."""
    must_be_own(request)
    plain = plain_of(doors.undo(request, caller, id))
    undone = {name: plain[name] for name in ("done", "left", "revoked")}
    return _page(request, plain_of(doors.get_import(request, caller, id)), undone)


def _page(request: Request, found: dict[str, Any], undone: dict[str, list[str]] | None = None) -> Response:
    rows, tell = found["lines"], teller_of(view_of(request))
    shown = rows[:MOST_LINES]
    lines = [{**one, "text": tell.series(one["text"]), "advice": tell.refusal(one["advice"])} for one in shown]
    found["notes"] = [_note(tell, one) for one in found["notes"]]
    if undone is not None:
        undone |= {name: [tell.text(one) for one in undone[name]] for name in ("done", "left")}
    return page(
        request, "settings-import.html", found=found, lines=lines, more=max(0, len(rows) - MOST_LINES),
        fates=Counter(one["fate"] for one in rows), undone=undone,
    )  # fmt: skip


def _note(tell: Teller, note: str) -> str:
    """A note of an import told; one of a row begins with its place, which stays."""
    said = tell.refusal(note)
    place, parted, text = note.partition(": ")
    if said != note or not parted:
        return said
    return f"{place}: {tell.series(text.removesuffix('.'))}."


def _name(file: UploadFile) -> str:
    return (file.filename or "file")[-200:]
