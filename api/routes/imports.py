"""/imports: files of farm systems, what came of them, and taking them back"""

from __future__ import annotations

from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from api.errors import Refusal
from api.exchange.reading.files import opened
from api.exchange.reading.nouns import NotRead
from api.exchange.reading.registry import known
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.import_models import ImportAnswer, ImportReport, PlannedTaskAnswer, SourceAnswer, UndoneAnswer
from api.import_wire import import_json, kept_json, report_json, source_json, task_json, undone_json
from api.record_models import PageOf
from api.routes.desk import Answer, Before, Most, desk_of, page, write
from api.routes.state import json_answer
from api.routes.units import Mechanic, Reader
from api.service import import_undo, importing
from api.service.draft import Draft, drawn
from api.service.recording import Moved
from api.store import import_sources, imports, machine_words
from api.store.database import Work
from audit.nouns.rulebook import Rulebook

router = APIRouter(tags=["from farm systems"])

MOST_BYTES = 64 * 1024 * 1024
"""Bytes of one import as it is sent."""
MOST_MAPPING = 64 * 1024
RAW = ("application/xml", "text/xml", "application/json", "application/zip", "application/octet-stream")
MULTIPART = "multipart/form-data"
_BINARY = {"type": "string", "format": "binary"}
_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "the file itself, or a form with the parts file and, for a table, mapping",
        "content": {
            **{kind: {"schema": _BINARY} for kind in RAW},
            MULTIPART: {
                "schema": {"type": "object", "properties": {"file": _BINARY, "mapping": _BINARY}, "required": ["file"]}
            },
        },
    }
}
ImportId = Annotated[str, Path(pattern=r"^import-[0-9a-f]{16}$", examples=["import-5a1c9e0f2b7d4433"])]


@dataclass(frozen=True, slots=True)
class Sent:
    """What was sent: the whole body, and the file and mapping in it."""

    body: bytes
    name: str
    content: bytes
    mapping: bytes


async def read_sent(request: Request) -> Sent:
    """The file that was sent. Raises Refusal for another kind of body."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in (*RAW, MULTIPART):
        takes = ", ".join((*RAW, MULTIPART))
        raise Refusal(415, "Unsupported media type", f"'{kind[:60]}' is not read here; send one of {takes}.")
    if (coding := request.headers.get("content-encoding", "identity").strip().lower()) != "identity":
        raise Refusal(415, "Unsupported media type", f"content coding '{coding[:60]}' is not undone; send it plain.")
    body = await request.body()
    if kind != MULTIPART:
        return Sent(body, "body", body, b"")

    async def once() -> AsyncGenerator[bytes, None]:
        yield body

    try:
        form = await MultiPartParser(request.headers, once(), max_files=2, max_fields=2).parse()
    except (MultiPartException, KeyError, ValueError) as error:
        raise Refusal(400, "Not a form", f"The form can't be read: {str(error)[:200]}") from None
    try:
        if set(form) - {"file", "mapping"} or len(form.multi_items()) != len(form):
            raise Refusal(422, "Request refused", "The form must have one part 'file', and at most one 'mapping'.")
        file, mapping = form.get("file"), form.get("mapping")
        if not isinstance(file, UploadFile):
            raise Refusal(422, "Request refused", "The form has no part 'file' with a file in it.")
        rules = b""
        if mapping is not None:
            rules = await mapping.read() if isinstance(mapping, UploadFile) else mapping.encode("utf-8", "replace")
        if len(rules) > MOST_MAPPING:
            raise Refusal(413, "Content too large", f"A mapping may have at most {MOST_MAPPING:,} bytes.")
        return Sent(body, (file.filename or "file")[:200], await file.read(), rules)
    finally:
        await form.close()


def write_drawn(request: Request, caller: Caller, body: bytes, draw: Callable[[Draft, Rulebook], Answer]) -> Response:
    """Writes what was drafted without keeping others from writing; it is drafted again if what it stood on changed."""
    desk = desk_of(request)
    found: list[tuple[Draft, Answer]] = []

    def prepare() -> None:
        found[:] = [drawn(desk.store, desk.in_force, caller, desk.clock(), draw)]

    def work_out(work: Work) -> Answer:
        if not found:
            raise Moved
        draft, answer = found[0]
        draft.write(work, desk.in_force)
        return answer

    return write(request, caller, body, work_out, prepare)


def of_whole_fleet(caller: Caller) -> None:
    """An import is about every unit. Raises Refusal for a caller who may see only some."""
    if caller.units:
        raise Refusal(403, "Not allowed", "An import is about every unit; this token is kept to some.")


@router.post(
    "/imports",
    status_code=201,
    response_model=ImportReport,
    responses={200: {"model": ImportReport, "description": "a dry run, or all of it was on record already"}},
    summary="Import a file of a farm system",
    description="Machines, engine hours, crops and planned harvests; all rows of it or none, each with its fate. What "
    "can't be decided waits as a question. With dry_run it is shown what would happen. The same again changes nothing.",
    openapi_extra=_BODY,
)
def import_file(
    request: Request,
    caller: Mechanic,
    sent: Annotated[Sent, Depends(read_sent)],
    dry_run: Annotated[bool, Query(description="show what would happen; nothing is put on record")] = False,
    format: Annotated[str, Query(max_length=40, description="its format, where that can't be seen")] = "",
    source: Annotated[str, Query(max_length=80, description="a name for where it comes from")] = "",
    timezone: Annotated[
        str, Query(max_length=60, description="IANA's name of the time zone of times without an offset")
    ] = "",
) -> Response:
    of_whole_fleet(caller)
    desk = desk_of(request)
    try:
        files = opened(sent.name, sent.content)
        prepared = importing.prepare(files, sent.mapping, format, source.strip(), timezone.strip())
    except NotRead as error:
        raise Refusal(422, "Not read", f"{error}.") from None

    def draw(draft: Draft, rulebook: Rulebook) -> Answer:
        report = importing.apply(draft, desk.gate, rulebook, prepared)
        headers = {"Location": f"/imports/{report.row.id}"}
        return Answer(200 if report.repeated else 201, report_json(report, dry_run), headers)

    if dry_run:
        return json_answer(drawn(desk.store, desk.in_force, caller, desk.clock(), draw)[1].content)
    return write_drawn(request, caller, sent.body, draw)


@router.get("/imports", response_model=PageOf[ImportAnswer], summary="Imports, the newest first")
def list_imports(request: Request, caller: Reader, before: Before = None, most: Most = 50) -> Response:
    of_whole_fleet(caller)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = imports.page(work, before, most)
    return page(request, [import_json(one) for one in found], most, {"before": found[-1].number} if found else None)


@router.get("/imports/{id}", response_model=ImportReport, summary="One import with every row's fate")
def get_import(request: Request, caller: Reader, id: ImportId) -> Response:
    of_whole_fleet(caller)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = imports.find(work, id)
        if row is None:
            raise _no_import(id)
        return json_answer(kept_json(row, imports.report(work, id)))


@router.post(
    "/imports/{id}/undo",
    response_model=UndoneAnswer,
    summary="Take an import back",
    description="What it brought goes, as far as nothing newer stands on it; the answer says what stays, and why.",
)
def undo(request: Request, caller: Mechanic, id: ImportId) -> Response:
    of_whole_fleet(caller)
    desk = desk_of(request)

    def draw(draft: Draft, _: Rulebook) -> Answer:
        try:
            return Answer(200, undone_json(import_undo.undo(draft, desk.gate, id)))
        except import_undo.NoSuchImport:
            raise _no_import(id) from None
        except import_undo.UndoneBefore:
            raise Refusal(409, "Undone already", f"{id} was undone before.") from None

    return write_drawn(request, caller, b"", draw)


@router.get("/planned-tasks", response_model=PageOf[PlannedTaskAnswer], summary="Planned harvests, the earliest first")
def list_tasks(
    request: Request,
    caller: Reader,
    unit: Annotated[str | None, Query(max_length=80, description="only its own")] = None,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = machine_words.tasks(work, unit)
    lines = [task_json(one) for one in found if not caller.units or (one.unit and caller.sees(one.unit))]
    return page(request, lines, len(lines), None)


@router.get(
    "/import-sources",
    response_model=PageOf[SourceAnswer],
    summary="Addresses that are asked for snapshots",
    description="They are put on record and polled by commands: only whoever runs the server may say where a token is.",
)
def list_sources(request: Request, caller: Annotated[Caller, Depends(needs(Right.ADMINISTER))]) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = import_sources.every(work)
    return page(request, [source_json(one) for one in found], len(found), None)


@router.get("/import-formats", response_model=dict[str, str], summary="Formats that are read")
def list_formats(_: Reader) -> Response:
    return json_answer({one.name: one.says for one in known().values()})


def _no_import(id: str) -> Refusal:
    return Refusal(404, "No such import", f"There is no import {id}.")
