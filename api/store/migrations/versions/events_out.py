"""What other systems are told: events, webhooks, deliveries, open findings, addresses of calendars"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "events_out"
down_revision = "imports"


def upgrade() -> None:
    """Applies the change."""
    _events_out()
    _webhooks()
    _webhook_secrets()
    _deliveries()
    _open_findings()
    _calendar_feeds()


def _events_out() -> None:
    op.create_table(
        "events_out",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="1 for the first, without gaps"),
        sa.Column("id", sa.Text(), nullable=False, comment="as others know it; the same however often it is sent"),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False, comment="'' for what is of no unit"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False, comment="canonical JSON"),
        sa.Column("record", sa.Integer(), nullable=True, comment="number of the event of the record that it tells of"),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_events_out_organisation")),
        sa.PrimaryKeyConstraint("organisation", "number", name=op.f("pk_events_out")),
    )
    op.create_index("ix_events_out_id", "events_out", ["organisation", "id"], unique=True)
    op.create_index("ix_events_out_kind", "events_out", ["organisation", "kind", "subject"], unique=False)


def _webhooks() -> None:
    op.create_table(
        "webhooks",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False, comment="without what follows '?'"),
        sa.Column(
            "query", sa.Text(), nullable=False, comment="what follows; it may be a secret, so it is not on the record"
        ),
        sa.Column("kinds", sa.Text(), nullable=False, comment="JSON array of the kinds it is told; [] for all"),
        sa.Column("units", sa.Text(), nullable=False, comment="JSON array of the units it is told of; [] for all"),
        sa.Column("edition", sa.Integer(), nullable=False, comment="counts changes by its owner; its ETag"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("ended", sa.Double(), nullable=True),
        sa.Column(
            "disabled", sa.Double(), nullable=True, comment="since when nothing is sent; what happens meanwhile waits"
        ),
        sa.Column("disabled_why", sa.Text(), nullable=False),
        sa.Column("failing_since", sa.Double(), nullable=True, comment="first failure since the last success"),
        sa.Column("failures", sa.Integer(), nullable=False, comment="failures in a row"),
        sa.Column("waits_until", sa.Double(), nullable=False, comment="nothing is sent before"),
        sa.Column("leased_until", sa.Double(), nullable=True, comment="a sender is at work on it until then"),
        sa.Column("leased_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_webhooks_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_webhooks")),
    )


def _webhook_secrets() -> None:
    op.create_table(
        "webhook_secrets",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("webhook", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="1 for the first"),
        sa.Column("sealed", sa.LargeBinary(), nullable=False, comment="both secrets, sealed with the server's secret"),
        sa.Column("public", sa.Text(), nullable=False, comment="what checks the signatures of the second"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("ends", sa.Double(), nullable=True, comment="signs no more from then on"),
        sa.ForeignKeyConstraint(
            ["organisation", "webhook"],
            ["webhooks.organisation", "webhooks.id"],
            name=op.f("fk_webhook_secrets_organisation"),
        ),
        sa.PrimaryKeyConstraint("organisation", "webhook", "number", name=op.f("pk_webhook_secrets")),
    )


def _deliveries() -> None:
    op.create_table(
        "deliveries",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("webhook", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False, comment="1 for the first of the webhook, without gaps"),
        sa.Column("event", sa.Integer(), nullable=False, comment="number of the event"),
        sa.Column("state", sa.Text(), nullable=False, comment="waiting, delivered or dead"),
        sa.Column("attempts", sa.Integer(), nullable=False, comment="since it was last asked for"),
        sa.Column("due", sa.Double(), nullable=False, comment="not sent before"),
        sa.Column("tried", sa.Double(), nullable=True, comment="when it was sent last"),
        sa.Column("status", sa.Integer(), nullable=True, comment="of the last answer"),
        sa.Column("why", sa.Text(), nullable=False, comment="why the last attempt failed"),
        sa.ForeignKeyConstraint(
            ["organisation", "event"],
            ["events_out.organisation", "events_out.number"],
            name=op.f("fk_deliveries_event"),
        ),
        sa.ForeignKeyConstraint(
            ["organisation", "webhook"],
            ["webhooks.organisation", "webhooks.id"],
            name=op.f("fk_deliveries_organisation"),
        ),
        sa.PrimaryKeyConstraint("organisation", "webhook", "sequence", name=op.f("pk_deliveries")),
    )
    op.create_index("ix_deliveries_event", "deliveries", ["organisation", "webhook", "event"], unique=True)
    op.create_index("ix_deliveries_state", "deliveries", ["organisation", "webhook", "state", "due"], unique=False)


def _open_findings() -> None:
    op.create_table(
        "open_findings",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False, comment="the setup that was first found with it"),
        sa.Column("since", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_open_findings_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "unit", "rule", "part", name=op.f("pk_open_findings")),
    )


def _calendar_feeds() -> None:
    op.create_table(
        "calendar_feeds",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False, comment="SHA-256 of the secret in its address"),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("units", sa.Text(), nullable=False, comment="JSON array of the units it shows; [] for all"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("revoked", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_calendar_feeds_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_calendar_feeds")),
        sa.UniqueConstraint("hash", name=op.f("uq_calendar_feeds_hash")),
    )
