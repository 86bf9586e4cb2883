"""The first tables"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "first_tables"
down_revision = None


def upgrade() -> None:
    """Applies the change."""
    _tables()
    for table in ("events", "setups"):
        _never_changed(table)


def _never_changed(table: str) -> None:
    """Makes the database itself refuse to change or delete what was written."""
    said = f"{table} are only added to"
    if op.get_bind().dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{said}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_never_changed() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{said}'; END $$"
    )
    for deed, each in (("UPDATE OR DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        op.execute(
            f"CREATE TRIGGER {table}_no_{deed.split()[0].lower()} BEFORE {deed} ON {table} "
            f"FOR EACH {each} EXECUTE FUNCTION {table}_never_changed()"
        )


def _tables() -> None:
    op.create_table(
        "organisations",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("terms", sa.Text(), nullable=False),
        sa.Column("effects", sa.Text(), nullable=False),
        sa.Column(
            "rulebook", sa.Text(), nullable=False, comment="digest of the rulebook in force; '' for the shipped one"
        ),
        sa.Column(
            "rulebook_key",
            sa.Text(),
            nullable=True,
            comment="public JWK; no rulebook goes in force unless this key has signed it",
        ),
        sa.Column(
            "events", sa.Integer(), nullable=False, comment="how many events there are; locked by whoever writes"
        ),
        sa.Column("head", sa.Text(), nullable=False, comment="hash of the last event"),
        sa.Column(
            "clock",
            sa.Double(),
            nullable=False,
            comment="latest time that was written; time on the record never goes back",
        ),
        sa.Column("created", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_organisations")),
    )
    op.create_table(
        "replies",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("caller", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False, comment="Idempotency-Key"),
        sa.Column("fingerprint", sa.Text(), nullable=False, comment="SHA-256 of method, path and body"),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("organisation", "caller", "key", name=op.f("pk_replies")),
    )
    op.create_index("ix_replies_at", "replies", ["at"], unique=False)
    op.create_table(
        "signing_keys",
        sa.Column("id", sa.Text(), nullable=False, comment="RFC 7638 thumbprint"),
        sa.Column("public", sa.Text(), nullable=False, comment="JWK"),
        sa.Column(
            "sealed", sa.LargeBinary(), nullable=False, comment="the private JWK, sealed with the server's secret"
        ),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("retired", sa.Double(), nullable=True, comment="signs no more; still verifies"),
        sa.Column("compromised", sa.Boolean(), nullable=False, comment="nothing that it signed counts"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signing_keys")),
    )
    op.create_table(
        "events",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="1 for the first, without gaps"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column(
            "before", sa.Text(), nullable=False, comment="SHA-256 of the subject before, '' where there was none"
        ),
        sa.Column("after", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False, comment="canonical JSON"),
        sa.Column("previous", sa.Text(), nullable=False, comment="hash of the event before"),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_events_organisation")),
        sa.PrimaryKeyConstraint("organisation", "number", name=op.f("pk_events")),
    )
    op.create_index("ix_events_subject", "events", ["organisation", "subject"], unique=False)
    op.create_table(
        "rulebooks",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False, comment="of all files"),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column(
            "files",
            sa.LargeBinary(),
            nullable=False,
            comment="all files, shipped and the site's own, as JSON, compressed",
        ),
        sa.Column(
            "rules",
            sa.Text(),
            nullable=False,
            comment="JSON: what each rule id stands for, so that none is given again",
        ),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("signature", sa.Text(), nullable=False, comment="Ed25519 over the digest, hexadecimal; '' for none"),
        sa.Column("signed_by", sa.Text(), nullable=False, comment="RFC 7638 thumbprint of the key"),
        sa.Column("added", sa.Double(), nullable=False),
        sa.Column("added_by", sa.Text(), nullable=False),
        sa.Column("activated", sa.Double(), nullable=True, comment="when it went in force last"),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_rulebooks_organisation")),
        sa.PrimaryKeyConstraint("organisation", "digest", name=op.f("pk_rulebooks")),
    )
    op.create_index("ix_rulebooks_number", "rulebooks", ["organisation", "number"], unique=True)
    op.create_table(
        "tokens",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False, comment="SHA-256 of the secret"),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("units", sa.Text(), nullable=False, comment="JSON array of the units it is for; [] for all"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("expires", sa.Double(), nullable=True),
        sa.Column("revoked", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_tokens_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("hash", name=op.f("uq_tokens_hash")),
    )
    op.create_table(
        "fleet_audits",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="counts the fleet audits of an organisation"),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("input", sa.Text(), nullable=False, comment="name of the file that is audited"),
        sa.Column("rulebook", sa.Text(), nullable=False),
        sa.Column("hold_at", sa.Text(), nullable=False),
        sa.Column("plan", sa.Boolean(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False, comment="running, done, failed or cancelled"),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False, comment="JSON, '' until it is done"),
        sa.Column("begun", sa.Double(), nullable=False),
        sa.Column("begun_by", sa.Text(), nullable=False),
        sa.Column("ended", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_fleet_audits_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_fleet_audits")),
    )
    op.create_index("ix_fleet_audits_number", "fleet_audits", ["organisation", "number"], unique=True)
    op.create_index("ix_fleet_audits_state", "fleet_audits", ["state"], unique=False)
    op.create_table(
        "units",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("build_year", sa.Integer(), nullable=True),
        sa.Column("fitted", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("engine_hours", sa.Double(), nullable=True),
        sa.Column("hours_at", sa.Double(), nullable=True),
        sa.Column("edition", sa.Integer(), nullable=False, comment="counts changes of the unit; its ETag"),
        sa.Column(
            "changed_after",
            sa.Integer(),
            nullable=False,
            comment="setups there were when what the unit is last changed",
        ),
        sa.Column("setups", sa.Integer(), nullable=False, comment="how many setups there are"),
        sa.Column("created", sa.Double(), nullable=False),
        sa.Column("retired", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_units_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_units")),
    )
    op.create_table(
        "acceptances",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False, comment="the setup whose finding was accepted"),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("header_kind", sa.Text(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("until", sa.Double(), nullable=False),
        sa.Column("withdrawn", sa.Double(), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_acceptances_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_acceptances")),
    )
    op.create_index("ix_acceptances_unit", "acceptances", ["organisation", "unit"], unique=False)
    op.create_table(
        "setups",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="1 for the first recorded of the unit"),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False, comment="SHA-256 of the text"),
        sa.Column("text", sa.LargeBinary(), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("header_kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("taken", sa.Double(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("engine_hours", sa.Double(), nullable=True),
        sa.Column("recorded", sa.Double(), nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_setups_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "unit", "number", name=op.f("pk_setups")),
    )
    op.create_index("ix_setups_id", "setups", ["organisation", "id"], unique=True)
    op.create_index("ix_setups_taken", "setups", ["organisation", "unit", "taken", "number"], unique=False)
    op.create_table(
        "starts",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="counts the starts of a unit"),
        sa.Column("setup", sa.Text(), nullable=False),
        sa.Column("rulebook", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False),
        sa.Column("header_kind", sa.Text(), nullable=False),
        sa.Column("certificate", sa.Text(), nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("expires", sa.Double(), nullable=False),
        sa.Column("revoked", sa.Double(), nullable=True),
        sa.Column("revoked_why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_starts_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_starts")),
    )
    op.create_index("ix_starts_unit", "starts", ["organisation", "unit", "number"], unique=True)
    op.create_table(
        "audits",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False),
        sa.Column("rulebook", sa.Text(), nullable=False, comment="digest of the rulebook that judged"),
        sa.Column("hold_at", sa.Text(), nullable=False),
        sa.Column("clearance", sa.Text(), nullable=False),
        sa.Column("holding", sa.Integer(), nullable=False, comment="open findings that hold"),
        sa.Column("report", sa.LargeBinary(), nullable=False, comment="the answer as JSON, compressed"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "setup"], ["setups.organisation", "setups.id"], name=op.f("fk_audits_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "setup", "rulebook", "hold_at", name=op.f("pk_audits")),
    )
