"""Tables of what machines and farm systems say of units. See ``tables`` for what all tables have in common."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Double, ForeignKeyConstraint, Index, Table, Text, false

from api.store.tables import metadata

hour_readings = Table(
    "hour_readings", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True, comment="hash of import, unit, hours and time"),
    Column("unit", Text, nullable=False),
    Column("hours", Double, nullable=False),
    Column("taken", Double, comment="when the machine said so; empty for not known"),
    Column("fate", Text, nullable=False, comment="counts, older, replaced, wrong or undone"),
    Column("origin", Text, nullable=False, comment="import that brought it"),
    Column("hours_before", Double, comment="of the unit, before this one counted"),
    Column("hours_at_before", Double),
    Column("at", Double, nullable=False),
    Column("local", Boolean, nullable=False, server_default=false(), comment="its times came without an offset"),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_hour_readings_unit", "organisation", "unit", "at"),
    Index("ix_hour_readings_origin", "organisation", "origin"),
)  # fmt: skip

machine_values = Table(
    "machine_values", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True, comment="hash of import, unit, code, role and part"),
    Column("unit", Text, nullable=False),
    Column("quantity", Text, nullable=False, comment="setting or reading that it would fill"),
    Column("code", Text, nullable=False, comment="what it was called where it was read"),
    Column("role", Text, nullable=False, comment="wanted, actual or fixed"),
    Column("part", Text, nullable=False, comment="the machine's own name of the part"),
    Column("value", Double, nullable=False),
    Column("measure", Text, nullable=False, comment="unit of measure"),
    Column("taken", Double, comment="when the machine said so; empty for not known"),
    Column("origin", Text, nullable=False, comment="import that brought it"),
    Column("at", Double, nullable=False),
    Column("local", Boolean, nullable=False, server_default=false(), comment="its times came without an offset"),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_machine_values_unit", "organisation", "unit", "at"),
    Index("ix_machine_values_origin", "organisation", "origin"),
)  # fmt: skip

machine_faults = Table(
    "machine_faults", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True, comment="hash of import, unit, code, source and time"),
    Column("unit", Text, nullable=False),
    Column("code", Text, nullable=False, comment="as the sender writes it"),
    Column("says", Text, nullable=False, comment="what the sender says of it"),
    Column("severity", Text, nullable=False, comment="as the sender writes it; never a verdict of ours"),
    Column("source", Text, nullable=False, comment="what part of the machine told it, as the sender writes it"),
    Column("taken", Double, comment="when the machine said so; empty for not known"),
    Column("origin", Text, nullable=False, comment="import that brought it"),
    Column("at", Double, nullable=False),
    Column("local", Boolean, nullable=False, server_default=false(), comment="its times came without an offset"),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_machine_faults_unit", "organisation", "unit", "at"),
    Index("ix_machine_faults_origin", "organisation", "origin"),
)  # fmt: skip

planned_tasks = Table(
    "planned_tasks", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True, comment="hash of import and key"),
    Column("key", Text, nullable=False, comment="where it comes from, and its own id there"),
    Column("unit", Text, nullable=False, comment="'' while no machine is named, or it is not known"),
    Column("name", Text, nullable=False),
    Column("field", Text, nullable=False),
    Column("crop", Text, nullable=False, comment="crop card, '' where it was not recognised"),
    Column("crop_said", Text, nullable=False),
    Column("begins", Double),
    Column("ends", Double),
    Column("state", Text, nullable=False),
    Column("origin", Text, nullable=False, comment="import that brought it; the newest of a key holds"),
    Column("at", Double, nullable=False),
    Column("local", Boolean, nullable=False, server_default=false(), comment="its times came without an offset"),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_planned_tasks_unit", "organisation", "unit"),
    Index("ix_planned_tasks_key", "organisation", "key"),
    Index("ix_planned_tasks_origin", "organisation", "origin"),
)  # fmt: skip
