"""Fault codes that machines tell, and whether times of what machines and farm systems say came without an offset"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "machine_faults"
down_revision = "visits"


def upgrade() -> None:
    """Applies the change. Of rows that are there nobody can tell any more; they stay as they were read, in UTC."""
    for table in ("hour_readings", "machine_values", "planned_tasks"):
        op.add_column(table, _local())
    op.create_table(
        "machine_faults",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False, comment="hash of import, unit, code, source and time"),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False, comment="as the sender writes it"),
        sa.Column("says", sa.Text(), nullable=False, comment="what the sender says of it"),
        sa.Column("severity", sa.Text(), nullable=False, comment="as the sender writes it; never a verdict of ours"),
        sa.Column(
            "source", sa.Text(), nullable=False, comment="what part of the machine told it, as the sender writes it"
        ),
        sa.Column("taken", sa.Double(), nullable=True, comment="when the machine said so; empty for not known"),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that brought it"),
        sa.Column("at", sa.Double(), nullable=False),
        _local(),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_machine_faults_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_machine_faults")),
    )
    if op.get_bind().dialect.name == "postgresql":  # SQLite keeps no comments
        said = "pin, serial, isobus-name, system-id or fleet-number"
        op.alter_column(
            "identities", "scheme", comment=said, existing_comment="pin, serial, isobus-name or fleet-number",
            existing_type=sa.Text(), existing_nullable=False,
        )  # fmt: skip
    op.create_index("ix_machine_faults_unit", "machine_faults", ["organisation", "unit", "at"])
    op.create_index("ix_machine_faults_origin", "machine_faults", ["organisation", "origin"])


def _local() -> sa.Column[bool]:
    return sa.Column(
        "local", sa.Boolean(), nullable=False, server_default=sa.false(), comment="its times came without an offset"
    )
