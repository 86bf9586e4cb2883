"""Photos and notes in every database."""

from __future__ import annotations

from sqlalchemy import insert

from api.service.seeing import keep_note, keep_photo
from api.store import photos
from api.store.database import Store
from api.store.setups import SetupRow, add
from api.store.tables import organisations
from api.store.units import UnitRow
from api.store.units import add as add_unit
from api.store.verifying import TRACED, row_faults

NOW = 1_790_000_000.0
JPEG = b"\xff\xd8\xff" + bytes(range(256)) * 40
"""Every byte there is: none may be changed on the way."""


def with_setup(store: Store) -> None:
    """An organisation with a unit and a setup that the record does not speak of."""
    with store.connection(writes=True) as connection:
        connection.execute(
            insert(organisations).values(
                id="here", name="here", terms="{}", effects="{}", rulebook="", events=0, head="", clock=0.0, created=NOW
            )
        )
    with store.writing("here", "me", NOW) as work:
        add_unit(work, UnitRow("unit-07", "c", "", None, {}, "", None, None, 1, 0, 1, NOW, None))
        row = SetupRow("unit-07", 1, "setup-1", "", b"{}", "c", "corn", "", "", NOW, "", None, NOW, "me")
        add(work, row)


def test_bytes_come_back_as_they_were(store: Store) -> None:
    with_setup(store)
    with store.writing("here", "me", NOW + 1) as work:
        kept = keep_photo(work, "unit-07", "setup-1", "feeder.drum", JPEG)
        note = keep_note(work, "unit-07", "setup-1", "", "Größe 5/32 in")
    with store.reading("here", NOW + 2) as work:
        assert photos.bytes_of(work, "setup-1", kept.id) == (kept, JPEG)
        assert photos.bytes_of(work, "setup-2", kept.id) is None
        assert photos.of_setup(work, "setup-1") == [kept]
        assert photos.notes_of(work, "setup-1") == [note]
        traced = [one for one in TRACED if one.kind in ("photo", "note")]
        assert [fault for one in traced for fault in row_faults(work, one)] == []
