"""Photos and notes that belong to a setup. They are only ever added."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from sqlalchemy import insert, select

from api.store.database import Work
from api.store.photo_tables import notes, photos


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A photo without its bytes.

    Attributes:
        quantity: full name of what it shows, '' for the whole machine.   media: media type of the bytes.
        digest: SHA-256 of the bytes.   at: s since 1970, when it reached us.
    """

    id: str
    unit: str
    setup: str
    quantity: str
    media: str
    digest: str
    at: float
    by: str


@dataclass(frozen=True, slots=True)
class NoteRow:
    """A note; ``quantity`` and ``at`` as of a photo."""

    id: str
    unit: str
    setup: str
    quantity: str
    text: str
    at: float
    by: str


def add(work: Work, photo: PhotoRow, body: bytes) -> None:
    """Keeps a photo."""
    work.connection.execute(insert(photos).values(organisation=work.organisation, body=body, **_values(photo)))


def add_note(work: Work, note: NoteRow) -> None:
    """Keeps a note."""
    work.connection.execute(insert(notes).values(organisation=work.organisation, **_values(note)))


def of_setup(work: Work, setup: str) -> list[PhotoRow]:
    """The photos of a setup, in the order in which they came."""
    columns = [photos.c[name] for name in PhotoRow.__slots__]
    wanted = select(*columns).where(photos.c.organisation == work.organisation, photos.c.setup == setup)
    return [PhotoRow(*row) for row in work.connection.execute(wanted.order_by(photos.c.at, photos.c.id))]


def notes_of(work: Work, setup: str) -> list[NoteRow]:
    """The notes of a setup, in the order in which they came."""
    columns = [notes.c[name] for name in NoteRow.__slots__]
    wanted = select(*columns).where(notes.c.organisation == work.organisation, notes.c.setup == setup)
    return [NoteRow(*row) for row in work.connection.execute(wanted.order_by(notes.c.at, notes.c.id))]


def bytes_of(work: Work, setup: str, id: str) -> tuple[PhotoRow, bytes] | None:
    """A photo of a setup with its bytes, None if there is none, or if they are not those that were kept."""
    columns = [photos.c[name] for name in PhotoRow.__slots__]
    wanted = select(*columns, photos.c.body).where(
        photos.c.organisation == work.organisation, photos.c.setup == setup, photos.c.id == id
    )
    row = work.connection.execute(wanted).one_or_none()
    if row is None:
        return None
    found = PhotoRow(*row[:-1])
    return (found, row.body) if sha256(row.body).hexdigest() == found.digest else None


def _values(row: PhotoRow | NoteRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in row.__slots__}
