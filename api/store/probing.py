"""Whether a store can be used now: reached, written to, with room left, by a clock that is right."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from sqlalchemy import func, select, text
from sqlalchemy.exc import DBAPIError

from api.store.database import PATIENCE, Store, StoreUnavailable
from api.store.tables import organisations

LEAST_ROOM = 64 * 1024 * 1024
"""Bytes that must be free beside a SQLite store: a few thousand setups, and time to make room."""
WAIT = 1.0
"""Seconds that a probe waits for whoever is writing."""
CLOCK_BEHIND = 60.0
"""Seconds by which the clock may stand behind the record before something must be wrong with it."""
_NOTHING = "UPDATE organisations SET clock = clock WHERE id IS NULL"
"""A write that writes nothing, but is refused where nothing may be written."""


def troubles(store: Store, now: float) -> dict[str, str]:
    """What is out of order: a sentence for anyone, and what is known of it for the log.

    Args:
        now: s since 1970.
    """
    try:
        if store.file is None:
            with store.connection(writes=True) as connection:
                connection.execute(text(f"SET LOCAL lock_timeout = {int(WAIT * 1000)}"))
                connection.execute(text(_NOTHING))
        else:
            _probe_file(store)
        with store.connection() as connection:
            latest = connection.scalar(select(func.max(organisations.c.clock))) or 0.0
    except (StoreUnavailable, DBAPIError, sqlite3.Error) as error:
        return {"The store can't be written to.": str(error).partition("\n")[0]}
    found = {}
    if store.file is not None and (free := _room(store.file)) < LEAST_ROOM:
        found["The store's disk is nearly full."] = f"{free:,} bytes are free"
    if latest - now > CLOCK_BEHIND:
        found["The clock is behind the record."] = f"{latest - now:.0f} s"
    return found


def _probe_file(store: Store) -> None:
    """Takes the write lock and gives it back, without waiting as long as a request would. Raises sqlite3.Error."""
    raw = store.engine.raw_connection()
    try:
        connection = raw.driver_connection
        assert isinstance(connection, sqlite3.Connection)
        connection.execute(f"PRAGMA busy_timeout = {int(WAIT * 1000)}")
        try:
            connection.execute("BEGIN IMMEDIATE")
            try:
                connection.execute(_NOTHING)
            finally:
                connection.execute("ROLLBACK")
        finally:
            connection.execute(f"PRAGMA busy_timeout = {int(PATIENCE * 1000)}")
    finally:
        raw.close()


def _room(file: Path) -> int:
    return shutil.disk_usage(file.absolute().parent).free
