"""What was seen beside a setup: photos and notes that go on its record."""

from __future__ import annotations

import secrets
from hashlib import sha256

from api.store import events, photos, setups
from api.store.database import Work
from api.store.photos import NoteRow, PhotoRow

MOST_BYTES = 4 * 1024 * 1024
"""Most bytes of a photo. One of 2048 pixels is well below it."""
MOST_PHOTOS = 400
"""Most photos of one setup."""
MOST_NOTES = 1000
"""Most notes of one setup."""
ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}
"""What a photo may be, with the ending of a file's name."""


class NoSuchSetup(Exception):
    """The unit has no such setup."""


class NoPhoto(Exception):
    """The bytes are no photo of a kind that is kept."""


class TooMany(Exception):
    """The setup has as many as it may have."""


def media_of(body: bytes) -> str:
    """The media type by the first bytes: JPEG (ISO/IEC 10918-1), PNG (ISO/IEC 15948), WebP (RFC 9649).

    Raises: NoPhoto. What the sender calls it is of no account, and nothing of it is ever run.
    """
    if body.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if body.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if body[:4] == b"RIFF" and body[8:12] == b"WEBP":
        return "image/webp"
    raise NoPhoto


def keep_photo(work: Work, unit: str, setup: str, quantity: str, body: bytes) -> PhotoRow:
    """Puts a photo on record; the same photo of the same thing is kept once. Raises NoSuchSetup, NoPhoto, TooMany."""
    media, digest = media_of(body), sha256(body).hexdigest()
    if setups.find(work, unit, setup) is None:
        raise NoSuchSetup
    there = photos.of_setup(work, setup)
    for one in there:
        if (one.digest, one.quantity) == (digest, quantity):
            return one
    if len(there) >= MOST_PHOTOS:
        raise TooMany
    row = PhotoRow(f"photo-{secrets.token_hex(8)}", unit, setup, quantity, media, digest, work.now, work.who)
    photos.add(work, row, body)
    said = {"unit": unit, "setup": setup, "quantity": quantity, "media": media, "bytes": len(body)}
    events.append(work, "photo.added", f"photo/{row.id}", said, after=digest)
    return row


def keep_note(work: Work, unit: str, setup: str, quantity: str, text: str) -> NoteRow:
    """Puts a note on record. Raises NoSuchSetup, TooMany."""
    if setups.find(work, unit, setup) is None:
        raise NoSuchSetup
    if len(photos.notes_of(work, setup)) >= MOST_NOTES:
        raise TooMany
    row = NoteRow(f"note-{secrets.token_hex(8)}", unit, setup, quantity, text, work.now, work.who)
    photos.add_note(work, row)
    said = {"unit": unit, "setup": setup, "quantity": quantity, "text": text}
    events.append(work, "note.added", f"note/{row.id}", said, after=sha256(text.encode()).hexdigest())
    return row
