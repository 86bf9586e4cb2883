"""What is read from farm systems: imports, identities, questions, hours, planned tasks, sources"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "imports"
down_revision = "first_tables"


def upgrade() -> None:
    """Applies the change."""
    _imports()
    _identities()
    _import_questions()
    _type_cards()
    _hour_readings()
    _machine_values()
    _planned_tasks()
    _import_sources()


def _imports() -> None:
    op.create_table(
        "imports",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="counts the imports of an organisation"),
        sa.Column("format", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False, comment="of the file or address, as it was sent"),
        sa.Column("source", sa.Text(), nullable=False, comment="the source that was polled, '' for none"),
        sa.Column(
            "digest", sa.Text(), nullable=False, comment="SHA-256 of what was sent, and of how it was to be read"
        ),
        sa.Column("report", sa.LargeBinary(), nullable=False, comment="every row's fate as JSON, compressed"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("undone", sa.Double(), nullable=True),
        sa.Column("undone_by", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_imports_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_imports")),
    )
    op.create_index("ix_imports_digest", "imports", ["organisation", "digest"], unique=False)
    op.create_index("ix_imports_number", "imports", ["organisation", "number"], unique=True)


def _identities() -> None:
    op.create_table(
        "identities",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("scheme", sa.Text(), nullable=False, comment="pin, serial, isobus-name or fleet-number"),
        sa.Column(
            "issuer", sa.Text(), nullable=False, comment="within what the value is unique: maker and type, or a source"
        ),
        sa.Column("value", sa.Text(), nullable=False, comment="in the form in which values are compared"),
        sa.Column("shown", sa.Text(), nullable=False, comment="as it was written"),
        sa.Column("proof", sa.Text(), nullable=False, comment="why it is taken to be this unit's"),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that brought it, '' for none"),
        sa.Column("added", sa.Double(), nullable=False),
        sa.Column("ended", sa.Double(), nullable=True, comment="split off; stands for this unit no more"),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_identities_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_identities")),
    )
    op.create_index("ix_identities_unit", "identities", ["organisation", "unit"], unique=False)
    op.create_index("ix_identities_value", "identities", ["organisation", "scheme", "issuer", "value"], unique=False)


def _import_questions() -> None:
    op.create_table(
        "import_questions",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False, comment="counts the questions of an organisation"),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that asks"),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False, comment="what is asked about; asked once while it is open"),
        sa.Column("content", sa.Text(), nullable=False, comment="JSON: the row that waits, and what may be answered"),
        sa.Column("asked", sa.Double(), nullable=False),
        sa.Column("answered", sa.Double(), nullable=True),
        sa.Column("answered_by", sa.Text(), nullable=True),
        sa.Column("answer", sa.Text(), nullable=True, comment="JSON"),
        sa.ForeignKeyConstraint(
            ["organisation", "origin"],
            ["imports.organisation", "imports.id"],
            name=op.f("fk_import_questions_organisation"),
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_import_questions")),
    )
    op.create_index("ix_import_questions_about", "import_questions", ["organisation", "about"], unique=False)
    op.create_index("ix_import_questions_number", "import_questions", ["organisation", "number"], unique=True)


def _type_cards() -> None:
    op.create_table(
        "type_cards",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False, comment="as systems write it, case folded"),
        sa.Column("type", sa.Text(), nullable=False, comment="as systems write it, case folded"),
        sa.Column("serial_from", sa.Text(), nullable=False, comment="first serial that it holds for, '' for no limit"),
        sa.Column("serial_to", sa.Text(), nullable=False),
        sa.Column("card", sa.Text(), nullable=False),
        sa.Column("since", sa.Double(), nullable=False),
        sa.Column("ended", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_type_cards_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_type_cards")),
    )
    op.create_index("ix_type_cards_type", "type_cards", ["organisation", "maker", "type"], unique=False)


def _hour_readings() -> None:
    op.create_table(
        "hour_readings",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False, comment="hash of import, unit, hours and time"),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("hours", sa.Double(), nullable=False),
        sa.Column("taken", sa.Double(), nullable=True, comment="when the machine said so; empty for not known"),
        sa.Column("fate", sa.Text(), nullable=False, comment="counts, older, replaced, wrong or undone"),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that brought it"),
        sa.Column("hours_before", sa.Double(), nullable=True, comment="of the unit, before this one counted"),
        sa.Column("hours_at_before", sa.Double(), nullable=True),
        sa.Column("at", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_hour_readings_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_hour_readings")),
    )
    op.create_index("ix_hour_readings_origin", "hour_readings", ["organisation", "origin"], unique=False)
    op.create_index("ix_hour_readings_unit", "hour_readings", ["organisation", "unit", "at"], unique=False)


def _machine_values() -> None:
    op.create_table(
        "machine_values",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False, comment="hash of import, unit, code, role and part"),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False, comment="setting or reading that it would fill"),
        sa.Column("code", sa.Text(), nullable=False, comment="what it was called where it was read"),
        sa.Column("role", sa.Text(), nullable=False, comment="wanted, actual or fixed"),
        sa.Column("part", sa.Text(), nullable=False, comment="the machine's own name of the part"),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("measure", sa.Text(), nullable=False, comment="unit of measure"),
        sa.Column("taken", sa.Double(), nullable=True, comment="when the machine said so; empty for not known"),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that brought it"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["organisation", "unit"], ["units.organisation", "units.id"], name=op.f("fk_machine_values_organisation")
        ),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_machine_values")),
    )
    op.create_index("ix_machine_values_origin", "machine_values", ["organisation", "origin"], unique=False)
    op.create_index("ix_machine_values_unit", "machine_values", ["organisation", "unit", "at"], unique=False)


def _planned_tasks() -> None:
    op.create_table(
        "planned_tasks",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False, comment="hash of import and key"),
        sa.Column("key", sa.Text(), nullable=False, comment="where it comes from, and its own id there"),
        sa.Column("unit", sa.Text(), nullable=False, comment="'' while no machine is named, or it is not known"),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("crop", sa.Text(), nullable=False, comment="crop card, '' where it was not recognised"),
        sa.Column("crop_said", sa.Text(), nullable=False),
        sa.Column("begins", sa.Double(), nullable=True),
        sa.Column("ends", sa.Double(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False, comment="import that brought it; the newest of a key holds"),
        sa.Column("at", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_planned_tasks_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_planned_tasks")),
    )
    op.create_index("ix_planned_tasks_key", "planned_tasks", ["organisation", "key"], unique=False)
    op.create_index("ix_planned_tasks_origin", "planned_tasks", ["organisation", "origin"], unique=False)
    op.create_index("ix_planned_tasks_unit", "planned_tasks", ["organisation", "unit"], unique=False)


def _import_sources() -> None:
    op.create_table(
        "import_sources",
        sa.Column("organisation", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("format", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("period", sa.Double(), nullable=False, comment="shortest time between two polls, s"),
        sa.Column("token", sa.Text(), nullable=False, comment="where the token is: env:NAME or file:PATH, '' for none"),
        sa.Column("added", sa.Double(), nullable=False),
        sa.Column("polled", sa.Double(), nullable=True, comment="when it was asked last, with whatever outcome"),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("ended", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["organisation"], ["organisations.id"], name=op.f("fk_import_sources_organisation")),
        sa.PrimaryKeyConstraint("organisation", "id", name=op.f("pk_import_sources")),
    )
