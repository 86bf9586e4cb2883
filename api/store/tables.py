"""Every table. Times are seconds since 1970 in UTC; JSON is stored as text in canonical form, so that it can be hashed.

All rows but signing keys belong to an organisation, which is the first part of every key.
"""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Double,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)

organisations = Table(
    "organisations", metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("terms", Text, nullable=False),
    Column("effects", Text, nullable=False),
    Column("rulebook", Text, nullable=False, comment="digest of the rulebook in force; '' for the shipped one"),
    Column("rulebook_key", Text, comment="public JWK; no rulebook goes in force unless this key has signed it"),
    Column("events", Integer, nullable=False, comment="how many events there are; locked by whoever writes"),
    Column("head", Text, nullable=False, comment="hash of the last event"),
    Column("clock", Double, nullable=False, comment="latest time that was written; time on the record never goes back"),
    Column("created", Double, nullable=False),
)  # fmt: skip

units = Table(
    "units", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("card", Text, nullable=False),
    Column("serial", Text, nullable=False),
    Column("build_year", Integer),
    Column("fitted", Text, nullable=False),
    Column("owner", Text, nullable=False),
    Column("engine_hours", Double),
    Column("hours_at", Double),
    Column("edition", Integer, nullable=False, comment="counts changes of the unit; its ETag"),
    Column("changed_after", Integer, nullable=False, comment="setups there were when what the unit is last changed"),
    Column("setups", Integer, nullable=False, comment="how many setups there are"),
    Column("created", Double, nullable=False),
    Column("retired", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip

setups = Table(
    "setups", metadata,
    Column("organisation", Text, primary_key=True),
    Column("unit", Text, primary_key=True),
    Column("number", Integer, primary_key=True, comment="1 for the first recorded of the unit"),
    Column("id", Text, nullable=False),
    Column("digest", Text, nullable=False, comment="SHA-256 of the text"),
    Column("text", LargeBinary, nullable=False),
    Column("card", Text, nullable=False),
    Column("crop", Text, nullable=False),
    Column("header_kind", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("taken", Double, nullable=False),
    Column("taken_by", Text, nullable=False),
    Column("engine_hours", Double),
    Column("recorded", Double, nullable=False),
    Column("recorded_by", Text, nullable=False),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_setups_id", "organisation", "id", unique=True),
    Index("ix_setups_taken", "organisation", "unit", "taken", "number"),
)  # fmt: skip

audits = Table(
    "audits", metadata,
    Column("organisation", Text, primary_key=True),
    Column("setup", Text, primary_key=True),
    Column("rulebook", Text, primary_key=True, comment="digest of the rulebook that judged"),
    Column("hold_at", Text, primary_key=True),
    Column("clearance", Text, nullable=False),
    Column("holding", Integer, nullable=False, comment="open findings that hold"),
    Column("report", LargeBinary, nullable=False, comment="the answer as JSON, compressed"),
    Column("at", Double, nullable=False),
    ForeignKeyConstraint(["organisation", "setup"], ["setups.organisation", "setups.id"]),
)  # fmt: skip

acceptances = Table(
    "acceptances", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("unit", Text, nullable=False),
    Column("setup", Text, nullable=False, comment="the setup whose finding was accepted"),
    Column("rule", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("crop", Text, nullable=False),
    Column("header_kind", Text, nullable=False),
    Column("found", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("at", Double, nullable=False),
    Column("until", Double, nullable=False),
    Column("withdrawn", Double),
    Column("withdrawn_by", Text),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_acceptances_unit", "organisation", "unit"),
)  # fmt: skip

starts = Table(
    "starts", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("unit", Text, nullable=False),
    Column("number", Integer, nullable=False, comment="counts the starts of a unit"),
    Column("setup", Text, nullable=False),
    Column("rulebook", Text, nullable=False),
    Column("crop", Text, nullable=False),
    Column("header_kind", Text, nullable=False),
    Column("certificate", Text, nullable=False),
    Column("at", Double, nullable=False),
    Column("by", Text, nullable=False),
    Column("expires", Double, nullable=False),
    Column("revoked", Double),
    Column("revoked_why", Text),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_starts_unit", "organisation", "unit", "number", unique=True),
)  # fmt: skip

rulebooks = Table(
    "rulebooks", metadata,
    Column("organisation", Text, primary_key=True),
    Column("digest", Text, primary_key=True, comment="of all files"),
    Column("number", Integer, nullable=False),
    Column("files", LargeBinary, nullable=False, comment="all files, shipped and the site's own, as JSON, compressed"),
    Column("rules", Text, nullable=False, comment="JSON: what each rule id stands for, so that none is given again"),
    Column("note", Text, nullable=False),
    Column("signature", Text, nullable=False, comment="Ed25519 over the digest, hexadecimal; '' for none"),
    Column("signed_by", Text, nullable=False, comment="RFC 7638 thumbprint of the key"),
    Column("added", Double, nullable=False),
    Column("added_by", Text, nullable=False),
    Column("activated", Double, comment="when it went in force last"),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_rulebooks_number", "organisation", "number", unique=True),
)  # fmt: skip

tokens = Table(
    "tokens", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("hash", Text, nullable=False, unique=True, comment="SHA-256 of the secret"),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("units", Text, nullable=False, comment="JSON array of the units it is for; [] for all"),
    Column("created", Double, nullable=False),
    Column("created_by", Text, nullable=False),
    Column("expires", Double),
    Column("revoked", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip

ended_sessions = Table(
    "ended_sessions", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("until", Double, nullable=False, comment="when the session would have run out by itself"),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip

events = Table(
    "events", metadata,
    Column("organisation", Text, primary_key=True),
    Column("number", Integer, primary_key=True, comment="1 for the first, without gaps"),
    Column("at", Double, nullable=False),
    Column("who", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("before", Text, nullable=False, comment="SHA-256 of the subject before, '' where there was none"),
    Column("after", Text, nullable=False),
    Column("content", Text, nullable=False, comment="canonical JSON"),
    Column("previous", Text, nullable=False, comment="hash of the event before"),
    Column("hash", Text, nullable=False),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_events_subject", "organisation", "subject"),
)  # fmt: skip

replies = Table(
    "replies", metadata,
    Column("organisation", Text, primary_key=True),
    Column("caller", Text, primary_key=True),
    Column("key", Text, primary_key=True, comment="Idempotency-Key"),
    Column("fingerprint", Text, nullable=False, comment="SHA-256 of method, path and body"),
    Column("status", Integer, nullable=False),
    Column("headers", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("at", Double, nullable=False),
    Index("ix_replies_at", "at"),
)  # fmt: skip

fleet_audits = Table(
    "fleet_audits", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("number", Integer, nullable=False, comment="counts the fleet audits of an organisation"),
    Column("name", Text, nullable=False),
    Column("input", Text, nullable=False, comment="name of the file that is audited"),
    Column("rulebook", Text, nullable=False),
    Column("hold_at", Text, nullable=False),
    Column("plan", Boolean, nullable=False),
    Column("state", Text, nullable=False, comment="running, done, failed or cancelled"),
    Column("why", Text, nullable=False),
    Column("summary", Text, nullable=False, comment="JSON, '' until it is done"),
    Column("begun", Double, nullable=False),
    Column("begun_by", Text, nullable=False),
    Column("ended", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_fleet_audits_number", "organisation", "number", unique=True),
    Index("ix_fleet_audits_state", "state"),
)  # fmt: skip

signing_keys = Table(
    "signing_keys", metadata,
    Column("id", Text, primary_key=True, comment="RFC 7638 thumbprint"),
    Column("public", Text, nullable=False, comment="JWK"),
    Column("sealed", LargeBinary, nullable=False, comment="the private JWK, sealed with the server's secret"),
    Column("created", Double, nullable=False),
    Column("retired", Double, comment="signs no more; still verifies"),
    Column("compromised", Boolean, nullable=False, comment="nothing that it signed counts"),
)  # fmt: skip


# What was read from farm systems: imports, who a unit is elsewhere, and what an import could not decide.

imports = Table(
    "imports", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("number", Integer, nullable=False, comment="counts the imports of an organisation"),
    Column("format", Text, nullable=False),
    Column("name", Text, nullable=False, comment="of the file or address, as it was sent"),
    Column("source", Text, nullable=False, comment="the source that was polled, '' for none"),
    Column("digest", Text, nullable=False, comment="SHA-256 of what was sent, and of how it was to be read"),
    Column("report", LargeBinary, nullable=False, comment="every row's fate as JSON, compressed"),
    Column("at", Double, nullable=False),
    Column("by", Text, nullable=False),
    Column("undone", Double),
    Column("undone_by", Text),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_imports_number", "organisation", "number", unique=True),
    Index("ix_imports_digest", "organisation", "digest"),
)  # fmt: skip

identities = Table(
    "identities", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("unit", Text, nullable=False),
    Column("scheme", Text, nullable=False, comment="pin, serial, isobus-name, system-id or fleet-number"),
    Column("issuer", Text, nullable=False, comment="within what the value is unique: maker and type, or a source"),
    Column("value", Text, nullable=False, comment="in the form in which values are compared"),
    Column("shown", Text, nullable=False, comment="as it was written"),
    Column("proof", Text, nullable=False, comment="why it is taken to be this unit's"),
    Column("origin", Text, nullable=False, comment="import that brought it, '' for none"),
    Column("added", Double, nullable=False),
    Column("ended", Double, comment="split off; stands for this unit no more"),
    ForeignKeyConstraint(["organisation", "unit"], ["units.organisation", "units.id"]),
    Index("ix_identities_value", "organisation", "scheme", "issuer", "value"),
    Index("ix_identities_unit", "organisation", "unit"),
)  # fmt: skip

import_questions = Table(
    "import_questions", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("number", Integer, nullable=False, comment="counts the questions of an organisation"),
    Column("origin", Text, nullable=False, comment="import that asks"),
    Column("kind", Text, nullable=False),
    Column("about", Text, nullable=False, comment="what is asked about; asked once while it is open"),
    Column("content", Text, nullable=False, comment="JSON: the row that waits, and what may be answered"),
    Column("asked", Double, nullable=False),
    Column("answered", Double),
    Column("answered_by", Text),
    Column("answer", Text, comment="JSON"),
    ForeignKeyConstraint(["organisation", "origin"], ["imports.organisation", "imports.id"]),
    Index("ix_import_questions_number", "organisation", "number", unique=True),
    Index("ix_import_questions_about", "organisation", "about"),
)  # fmt: skip

type_cards = Table(
    "type_cards", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("maker", Text, nullable=False, comment="as systems write it, case folded"),
    Column("type", Text, nullable=False, comment="as systems write it, case folded"),
    Column("serial_from", Text, nullable=False, comment="first serial that it holds for, '' for no limit"),
    Column("serial_to", Text, nullable=False),
    Column("card", Text, nullable=False),
    Column("since", Double, nullable=False),
    Column("ended", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
    Index("ix_type_cards_type", "organisation", "maker", "type"),
)  # fmt: skip

import_sources = Table(
    "import_sources", metadata,
    Column("organisation", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("format", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("period", Double, nullable=False, comment="shortest time between two polls, s"),
    Column("token", Text, nullable=False, comment="where the token is: env:NAME or file:PATH, '' for none"),
    Column("added", Double, nullable=False),
    Column("polled", Double, comment="when it was asked last, with whatever outcome"),
    Column("outcome", Text, nullable=False),
    Column("ended", Double),
    ForeignKeyConstraint(["organisation"], ["organisations.id"]),
)  # fmt: skip
