"""Browser sessions that somebody signed out of before they ran out"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "ended_sessions"
down_revision = "walk_photos"


def upgrade() -> None:
    """Applies the change."""
    op.create_table(
        "ended_sessions",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("until", sa.Double(), nullable=False, comment="when the session would have run out by itself"),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_ended_sessions_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_ended_sessions")),
    )
