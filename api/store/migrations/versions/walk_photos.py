"""What was seen beside a setup: photos and notes"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "walk_photos"
down_revision = "events_out"


def upgrade() -> None:
    """Applies the change."""
    op.create_table(
        "photos",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False),
        sa.Column(
            "quantity", sa.Text(), nullable=False, comment="setting or reading that it shows, '' for the whole machine"
        ),
        sa.Column("media", sa.Text(), nullable=False, comment="media type, found out from the first bytes"),
        sa.Column("digest", sa.Text(), nullable=False, comment="SHA-256 of the body"),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "setup"], ["setups.organisation", "setups.id"], name=op.f("fk_photos_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_photos")),
    )
    op.create_index("ix_photos_setup", "photos", ["organisation", "setup"], unique=False)
    op.create_table(
        "notes",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False),
        sa.Column(
            "quantity",
            sa.Text(),
            nullable=False,
            comment="setting or reading that it is about, '' for the whole machine",
        ),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "setup"], ["setups.organisation", "setups.id"], name=op.f("fk_notes_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_notes")),
    )
    op.create_index("ix_notes_setup", "notes", ["organisation", "setup"], unique=False)
