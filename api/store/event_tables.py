"""Tables of what other systems are told: events, who wants them, and how each delivery went; addresses of calendars.

They belong to the metadata of ``tables``, which has the words on keys, times and JSON.
"""

from __future__ import annotations

from sqlalchemy import Column, Double, ForeignKeyConstraint, Index, Integer, LargeBinary, Table, Text

from api.store.tables import metadata

events_out = Table(
    "events_out", metadata,
    Column("organisation", Text, primary_key=True),
    Column("number", Integer, primary_key=True, comment="1 for the first, without gaps"),
    Column("id", Text, nullable=False, comment="as others know it; the same however often it is sent"),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("unit", Text, nullable=False, comment="'' for what is of no unit"),
    Column("at", Double, nullable=False),
    Column("content", Text, nullable=False, comment="canonical JSON"),
    Column("record", Integer, comment="number of the event of the record that it tells of"),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_events_out_id", "organisation", "id", unique=True),
    Index("ix_events_out_kind", "organisation", "kind", "subject"),
)  # fmt: skip

webhooks = Table(
    "webhooks", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("address", Text, nullable=False, comment="without what follows '?'"),
    Column("query", Text, nullable=False, comment="what follows; it may be a secret, so it is not on the record"),
    Column("kinds", Text, nullable=False, comment="JSON array of the kinds it is told; [] for all"),
    Column("units", Text, nullable=False, comment="JSON array of the units it is told of; [] for all"),
    Column("edition", Integer, nullable=False, comment="counts changes by its owner; its ETag"),
    Column("created", Double, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("ended", Double),
    Column("disabled", Double, comment="since when nothing is sent; what happens meanwhile waits"),
    Column("disabled_why", Text, nullable=False),
    Column("failing_since", Double, comment="first failure since the last success"),
    Column("failures", Integer, nullable=False, comment="failures in a row"),
    Column("waits_until", Double, nullable=False, comment="nothing is sent before"),
    Column("leased_until", Double, comment="a sender is at work on it until then"),
    Column("leased_by", Text, nullable=False),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip

webhook_secrets = Table(
    "webhook_secrets", metadata,
    Column("organisation", Text, primary_key=True),
    Column("webhook", Text, primary_key=True),
    Column("number", Integer, primary_key=True, comment="1 for the first"),
    Column("sealed", LargeBinary, nullable=False, comment="both secrets, sealed with the server's secret"),
    Column("public", Text, nullable=False, comment="what checks the signatures of the second"),
    Column("created", Double, nullable=False),
    Column("ends", Double, comment="signs no more from then on"),
    ForeignKeyConstraint(["organisation", "webhook"], ["webhooks.organisation", "webhooks.id"]),
)  # fmt: skip

deliveries = Table(
    "deliveries", metadata,
    Column("organisation", Text, primary_key=True),
    Column("webhook", Text, primary_key=True),
    Column("sequence", Integer, primary_key=True, comment="1 for the first of the webhook, without gaps"),
    Column("event", Integer, nullable=False, comment="number of the event"),
    Column("state", Text, nullable=False, comment="waiting, delivered or dead"),
    Column("attempts", Integer, nullable=False, comment="since it was last asked for"),
    Column("due", Double, nullable=False, comment="not sent before"),
    Column("tried", Double, comment="when it was sent last"),
    Column("status", Integer, comment="of the last answer"),
    Column("why", Text, nullable=False, comment="why the last attempt failed"),
    ForeignKeyConstraint(["organisation", "webhook"], ["webhooks.organisation", "webhooks.id"]),
    ForeignKeyConstraint(
        ["organisation", "event"], ["events_out.organisation", "events_out.number"], name="fk_deliveries_event"
    ),
    Index("ix_deliveries_state", "organisation", "webhook", "state", "due"),
    Index("ix_deliveries_event", "organisation", "webhook", "event", unique=True),
)  # fmt: skip

open_findings = Table(
    "open_findings", metadata,
    Column("organisation", Text, primary_key=True),
    Column("unit", Text, primary_key=True),
    Column("rule", Text, primary_key=True),
    Column("part", Text, primary_key=True),
    Column("setup", Text, nullable=False, comment="the setup that was first found with it"),
    Column("since", Double, nullable=False),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
)  # fmt: skip

calendar_feeds = Table(
    "calendar_feeds", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("hash", Text, nullable=False, unique=True, comment="SHA-256 of the secret in its address"),
    Column("name", Text, nullable=False),
    Column("units", Text, nullable=False, comment="JSON array of the units it shows; [] for all"),
    Column(
        "technician", Text, nullable=False, server_default="",
        comment="the only one whose visits it shows, and nothing else; '' for all there is",
    ),
    Column("created", Double, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("revoked", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip
