"""The database's own history: every change of the tables, in order."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, text

_LOCK = 7_412_090_221


def upgrade(connection: Connection) -> None:
    """Brings the tables up to date within the connection's transaction; several processes take turns."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
    command.upgrade(settings(connection), "head")


def settings(connection: Connection) -> Config:
    """What alembic needs to run on a connection."""
    found = Config()
    found.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    found.set_main_option("path_separator", "os")
    found.attributes["connection"] = connection
    return found
