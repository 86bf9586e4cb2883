"""Tables of planned visits and of the plans that made them.

They belong to the metadata of ``tables``, which has the words on keys, times and JSON.
"""

from __future__ import annotations

from sqlalchemy import Column, Double, ForeignKeyConstraint, Index, Integer, LargeBinary, Table, Text

from api.store.tables import metadata

visit_plans = Table(
    "visit_plans", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("number", Integer, nullable=False, comment="1 for the first plan of an organisation"),
    Column("fleet_audit", Text, nullable=False, comment="the fleet audit whose work it places"),
    Column("rulebook", Text, nullable=False, comment="digest of the rulebook that judged the fleet"),
    Column("digest", Text, nullable=False, comment="SHA-256 of the text"),
    Column("text", LargeBinary, nullable=False, comment="canonical JSON: what was asked, and what is in no visit"),
    Column("at", Double, nullable=False),
    Column("by", Text, nullable=False),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_visit_plans_number", "organisation", "number", unique=True),
)  # fmt: skip

visits = Table(
    "visits", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("plan", Text, nullable=False, comment="the plan that made it, '' for a visit put by hand"),
    Column("technician", Text, nullable=False),
    Column("farm", Text, nullable=False),
    Column("arrives", Text, nullable=False, comment="local time without an offset, 2026-09-15T08:15"),
    Column("begins", Text, nullable=False),
    Column("leaves", Text, nullable=False),
    Column("work", Text, nullable=False, comment="JSON array: what is done on which unit"),
    Column("edition", Integer, nullable=False, comment="counts changes of the visit; its ETag"),
    Column("created", Double, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("changed", Double, nullable=False),
    Column("cancelled", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_visits_begins", "organisation", "begins", "id"),
)  # fmt: skip
