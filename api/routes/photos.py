"""/units/{unit}/setups/{setup}/photos and /notes: what was seen beside a setup"""

from __future__ import annotations

from base64 import b64decode
from binascii import Error as NotBase64
from hashlib import sha256
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import Field

from api.errors import Refusal
from api.identity.caller import Caller
from api.record_models import NoteAnswer, PageOf, PhotoAnswer, Sent
from api.record_wire import note_json, photo_json
from api.routes.audits import gathered
from api.routes.desk import Answer, Body, desk_of, page, parsed, tag, taking, unit_seen, write
from api.routes.units import Reader, Recorder, SetupId, UnitId
from api.service.seeing import (
    ENDINGS,
    MOST_BYTES,
    MOST_NOTES,
    MOST_PHOTOS,
    NoPhoto,
    NoSuchSetup,
    TooMany,
    keep_note,
    keep_photo,
)
from api.store import photos, setups
from api.store.database import Work

router = APIRouter(prefix="/units/{unit}/setups/{setup}", tags=["units"])

PhotoId = Annotated[str, Path(pattern=r"^[A-Za-z0-9-]{1,80}$", examples=["photo-5a1c9e0f2b7d4433"])]
QUANTITY = r"^[a-z0-9_.-]{0,120}$"
Quantity = Annotated[
    str, Query(pattern=QUANTITY, description="setting or reading that it shows; none for the whole machine")
]
_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {media: {"schema": {"type": "string", "format": "binary"}} for media in ENDINGS},
    }
}
_PICTURES: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {media: {"schema": {"type": "string", "format": "binary"}} for media in ENDINGS},
        "description": "the photo",
    }
}
APART = {
    "Content-Security-Policy": "default-src 'none'; sandbox; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "private, no-store",
}
"""Headers that keep what a sender called a photo from being anything else in a browser."""


class NoteSent(Sent):
    """A note."""

    quantity: Annotated[str, Field(pattern=QUANTITY)] = ""
    text: Annotated[str, Field(min_length=1, max_length=2000, pattern=r"\S")]


async def read_photo(request: Request) -> bytes:
    """The raw body. Raises Refusal for one that is too large, or not what its Content-Digest (RFC 9530) says."""
    body = await gathered(request, MOST_BYTES, _too_large)
    said = request.headers.get("content-digest")
    if said is not None and not _is_digest(said, body):
        detail = "The bytes that came are not those of the Content-Digest; send the photo again."
        raise Refusal(400, "Damaged on the way", detail)
    return body


def _too_large() -> Refusal:
    return Refusal(413, "Content too large", f"A photo may have at most {MOST_BYTES:,} bytes; send it smaller.")


def _is_digest(said: str, body: bytes) -> bool:
    """Whether a Content-Digest with a SHA-256 is that of the bytes; one without any says nothing, and is refused."""
    for member in said.split(","):
        name, _, value = member.strip().partition("=")
        if name == "sha-256" and value.startswith(":") and value.endswith(":"):
            try:
                return b64decode(value[1:-1], validate=True) == sha256(body).digest()
            except NotBase64:
                return False
    return False


Photo = Annotated[bytes, Depends(read_photo)]


@router.post(
    "/photos",
    status_code=201,
    response_model=PhotoAnswer,
    summary="Put a photo with a setup",
    description=f"JPEG, PNG or WebP, at most {MOST_BYTES:,} bytes, {MOST_PHOTOS} a setup. The same photo of the same "
    "thing is kept once. A Content-Digest (RFC 9530, sha-256) makes sure that it came whole.",
    openapi_extra=_BODY,
)
def add_photo(
    request: Request, caller: Recorder, unit: UnitId, setup: SetupId, body: Photo, quantity: Quantity = ""
) -> Response:
    def work_out(work: Work) -> Answer:
        try:
            row = keep_photo(work, unit_seen(caller, unit), setup, quantity, body)
        except NoSuchSetup:
            raise _no_setup(unit, setup) from None
        except NoPhoto:
            raise Refusal(415, "No photo", "These bytes are no JPEG, PNG or WebP; send one of these.") from None
        except TooMany:
            raise Refusal(409, "Too many photos", f"A setup has at most {MOST_PHOTOS} photos.") from None
        return Answer(201, photo_json(row), {"Location": f"/units/{unit}/setups/{setup}/photos/{row.id}"})

    return write(request, caller, body, work_out)


@router.get("/photos", response_model=PageOf[PhotoAnswer], summary="Photos of a setup")
def list_photos(request: Request, caller: Reader, unit: UnitId, setup: SetupId) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        _must_be_there(work, caller, unit, setup)
        found = photos.of_setup(work, setup)
    return page(request, [photo_json(one) for one in found], MOST_PHOTOS, None)


@router.get("/photos/{photo}", response_class=Response, responses=_PICTURES, summary="A photo")
def get_photo(request: Request, caller: Reader, unit: UnitId, setup: SetupId, photo: PhotoId) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        _must_be_there(work, caller, unit, setup)
        found = photos.bytes_of(work, setup, photo)
    if found is None:
        raise Refusal(404, "No such photo", f"Setup {setup} has no photo {photo} that is whole.")
    row, body = found
    name = f'inline; filename="{row.id}.{ENDINGS[row.media]}"'
    return Response(body, media_type=row.media, headers={**APART, "Content-Disposition": name, "ETag": tag(row.digest)})


@router.post(
    "/notes",
    status_code=201,
    response_model=NoteAnswer,
    summary="Put a note with a setup",
    description=f"At most {MOST_NOTES} a setup.",
    openapi_extra=taking(NoteSent),
)
def add_note(request: Request, caller: Recorder, unit: UnitId, setup: SetupId, body: Body) -> Response:
    sent = parsed(NoteSent, body)

    def work_out(work: Work) -> Answer:
        try:
            row = keep_note(work, unit_seen(caller, unit), setup, sent.quantity, sent.text)
        except NoSuchSetup:
            raise _no_setup(unit, setup) from None
        except TooMany:
            raise Refusal(409, "Too many notes", f"A setup has at most {MOST_NOTES} notes.") from None
        return Answer(201, note_json(row), {"Location": f"/units/{unit}/setups/{setup}/notes"})

    return write(request, caller, body, work_out)


@router.get("/notes", response_model=PageOf[NoteAnswer], summary="Notes of a setup")
def list_notes(request: Request, caller: Reader, unit: UnitId, setup: SetupId) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        _must_be_there(work, caller, unit, setup)
        found = photos.notes_of(work, setup)
    return page(request, [note_json(one) for one in found], MOST_NOTES, None)


def _must_be_there(work: Work, caller: Caller, unit: str, setup: str) -> None:
    if setups.find(work, unit_seen(caller, unit), setup) is None:
        raise _no_setup(unit, setup)


def _no_setup(unit: str, setup: str) -> Refusal:
    return Refusal(404, "No such setup", f"{unit} has no setup {setup}.")
