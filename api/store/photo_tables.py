"""Tables of what was seen beside a setup: photos and notes.

They belong to the metadata of ``tables``, which has the words on keys and times.
"""

from __future__ import annotations

from sqlalchemy import Column, Double, ForeignKeyConstraint, Index, LargeBinary, Table, Text

from api.store.tables import metadata

photos = Table(
    "photos", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("unit", Text, nullable=False),
    Column("setup", Text, nullable=False),
    Column("quantity", Text, nullable=False, comment="setting or reading that it shows, '' for the whole machine"),
    Column("media", Text, nullable=False, comment="media type, found out from the first bytes"),
    Column("digest", Text, nullable=False, comment="SHA-256 of the body"),
    Column("body", LargeBinary, nullable=False),
    Column("at", Double, nullable=False),
    Column("by", Text, nullable=False),
    ForeignKeyConstraint(["organisation", "setup"], ["setups.organisation", "setups.id"]),
    Index("ix_photos_setup", "organisation", "setup"),
)  # fmt: skip

notes = Table(
    "notes", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("unit", Text, nullable=False),
    Column("setup", Text, nullable=False),
    Column("quantity", Text, nullable=False, comment="setting or reading that it is about, '' for the whole machine"),
    Column("text", Text, nullable=False),
    Column("at", Double, nullable=False),
    Column("by", Text, nullable=False),
    ForeignKeyConstraint(["organisation", "setup"], ["setups.organisation", "setups.id"]),
    Index("ix_notes_setup", "organisation", "setup"),
)  # fmt: skip
