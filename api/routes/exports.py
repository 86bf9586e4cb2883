"""/exports: lists of what is on record, for other programs"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path as File
from tempfile import TemporaryDirectory
from typing import Annotated, Any, BinaryIO, Literal

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import StreamingResponse
from pydantic import BaseModel, ConfigDict
from starlette.background import BackgroundTask

from api.exchange.out.adapt import MEDIA as ADAPT_MEDIA
from api.exchange.out.tables import write_csv, write_json, write_lines
from api.routes.desk import desk_of
from api.routes.state import json_answer
from api.routes.units import Reader
from api.service.adapt_documents import adapt_document
from api.service.desk import Desk
from api.service.exporting import TABLES, rows_of
from api.store.database import Work

router = APIRouter(prefix="/exports", tags=["telling other systems"])

FORMS = {"csv": "text/csv; charset=utf-8; header=present", "json": "application/json",
         "parquet": "application/vnd.apache.parquet"}  # fmt: skip
_PART = 64 * 1024


class AdaptAnswer(BaseModel):
    """An ADAPT document."""

    model_config = ConfigDict(extra="allow")


@router.get(
    "/adapt.json",
    response_model=AdaptAnswer,
    summary="Units with their settings, and the work that is wanted, as an ADAPT document",
)
def get_adapt(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        content = adapt_document(desk, work, sorted(caller.units))
    answer = json_answer(content)
    answer.headers["Content-Type"] = ADAPT_MEDIA
    return answer


@router.get(
    "/{what}.{form}",
    response_class=StreamingResponse,
    responses={200: {"content": {media.partition(";")[0]: {} for media in FORMS.values()}, "description": "the list"}},
    summary="A list of the units that the caller sees",
    description="`findings` are those of the newest setup of each unit by the rulebook in force; `due` is what is to "
    "be looked at again. In CSV a text that a spreadsheet would take for a formula has an apostrophe in front.",
)
def get_list(
    request: Request,
    caller: Reader,
    what: Annotated[Literal["units", "findings", "starts", "due"], Path()],
    form: Annotated[Literal["csv", "json", "parquet"], Path()],
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        stream = _written(desk, work, sorted(caller.units), what, form)
    headers = {"Content-Disposition": f'attachment; filename="{what}.{form}"', "Cache-Control": "private, no-cache"}
    return StreamingResponse(
        _parts(stream), media_type=FORMS[form], headers=headers, background=BackgroundTask(stream.close)
    )


def _written(desk: Desk, work: Work, only: Sequence[str], what: str, form: str) -> BinaryIO:
    """The list in a file without a name: memory stays bounded, and a slow reader keeps no transaction open."""
    table = TABLES[what]
    rows = rows_of(table, desk, work, only)
    with TemporaryDirectory(prefix="export-") as folder:
        file = File(folder) / "list"
        with file.open("w", encoding="utf-8", errors="replace", newline="") as text:
            if form == "csv":
                write_csv(rows, tuple(table.columns), text)
            elif form == "json":
                write_json(({name: row.get(name) for name in table.columns} for row in rows), text)
            else:
                write_lines(rows, text)
        if form == "parquet":
            from api.fleet import parquet  # it takes a part of a second, and only this needs it

            with file.open("rb") as lines:
                file = file.with_suffix(".parquet")
                parquet.write(lines, file, parquet.columns(table.columns))
        return file.open("rb")


def _parts(stream: BinaryIO) -> Iterator[Any]:
    while part := stream.read(_PART):
        yield part
