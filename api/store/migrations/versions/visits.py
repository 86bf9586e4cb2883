"""Planned visits, the plans that made them, and addresses of one technician's calendar"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "visits"
down_revision = "ended_sessions"


def upgrade() -> None:
    """Applies the change."""
    _visit_plans()
    _visits()
    op.add_column(
        "calendar_feeds",
        sa.Column(
            "technician",
            sa.Text(),
            nullable=False,
            server_default="",
            comment="the only one whose visits it shows, and nothing else; '' for all there is",
        ),
    )


def _visit_plans() -> None:
    op.create_table(
        "visit_plans",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="1 for the first plan of an organisation"),
        sa.Column("fleet_audit", sa.Text(), nullable=False, comment="the fleet audit whose work it places"),
        sa.Column("rulebook", sa.Text(), nullable=False, comment="digest of the rulebook that judged the fleet"),
        sa.Column("digest", sa.Text(), nullable=False, comment="SHA-256 of the text"),
        sa.Column(
            "text",
            sa.LargeBinary(),
            nullable=False,
            comment="canonical JSON: what was asked, and what is in no visit",
        ),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_visit_plans_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_visit_plans")),
    )
    op.create_index("ix_visit_plans_number", "visit_plans", ["organisation", "number"], unique=True)


def _visits() -> None:
    op.create_table(
        "visits",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False, comment="the plan that made it, '' for a visit put by hand"),
        sa.Column("technician", sa.Text(), nullable=False),
        sa.Column("farm", sa.Text(), nullable=False),
        sa.Column("arrives", sa.Text(), nullable=False, comment="local time without an offset, 2026-09-15T08:15"),
        sa.Column("begins", sa.Text(), nullable=False),
        sa.Column("leaves", sa.Text(), nullable=False),
        sa.Column("work", sa.Text(), nullable=False, comment="JSON array: what is done on which unit"),
        sa.Column("edition", sa.Integer(), nullable=False, comment="counts changes of the visit; its ETag"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("changed", sa.Double(), nullable=False),
        sa.Column("cancelled", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_visits_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_visits")),
    )
    op.create_index("ix_visits_begins", "visits", ["organisation", "begins", "id"], unique=False)
