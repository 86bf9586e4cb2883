"""One database, SQLite or PostgreSQL, and its transactions.

Whoever writes for an organisation is alone in it: SQLite has one writer at a time, in PostgreSQL the organisation's row
is locked first. So what a transaction decides, it decides on what a serial order of the same requests would have shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url, select
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from api.store import machine_tables, photo_tables, visit_tables  # noqa: F401  # their tables are of every store
from api.store.migrations import upgrade
from api.store.tables import organisations

PATIENCE = 10.0
"""Seconds that a transaction waits for another one."""


class NoSuchOrganisation(Exception):
    """There is no organisation of this id."""


class StoreUnavailable(Exception):
    """The database can't be used now: locked, full, read-only, or not reached. Nothing was written."""


class NotAStore(Exception):
    """The address names no database that can be used, and why."""


@dataclass(frozen=True, slots=True)
class Work:
    """One transaction of one organisation.

    Attributes:
        who: the person or program that writes, '' when reading.
        now: s since 1970, never before what is on the record already.
        behind: how far the clock stands before the latest time on the record, s.
    """

    connection: Connection
    organisation: str
    who: str
    now: float
    behind: float = 0.0


class Store:
    """A database with its tables up to date.

    Args:
        address: ``sqlite:///file`` or ``postgresql+psycopg://user@host/name``.

    Raises: NotAStore; StoreUnavailable.
    """

    def __init__(self, address: str) -> None:
        self._turn = Lock()
        self.url = _url(address)
        self.engine = _engine(self.url)
        with self._translated(), self._begun(writes=True) as connection:
            upgrade(connection)

    @property
    def is_sqlite(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    @property
    def file(self) -> Path | None:
        """The database's file, None for PostgreSQL."""
        return Path(str(self.url.database)) if self.is_sqlite else None

    @property
    def address(self) -> str:
        """What opens it again in another process."""
        return self.url.render_as_string(hide_password=False)

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def connection(self, writes: bool = False) -> Iterator[Connection]:
        """A transaction outside any organisation. Raises StoreUnavailable."""
        with self._translated(), self._begun(writes) as connection:
            yield connection

    @contextmanager
    def reading(self, organisation: str, now: float = 0.0) -> Iterator[Work]:
        """One snapshot of an organisation. Raises NoSuchOrganisation, StoreUnavailable."""
        with self._translated(), self._begun(writes=False) as connection:
            clock = connection.scalar(select(organisations.c.clock).where(organisations.c.id == organisation))
            if clock is None:
                raise NoSuchOrganisation(organisation)
            yield Work(connection, organisation, "", max(now, clock), max(clock - now, 0.0))

    @contextmanager
    def writing(self, organisation: str, who: str, now: float) -> Iterator[Work]:
        """A transaction alone in its organisation; all of it is written or none. Raises as ``reading``."""
        with self._translated(), self._begun(writes=True) as connection:
            row = select(organisations.c.clock).where(organisations.c.id == organisation).with_for_update()
            clock = connection.scalar(row)
            if clock is None:
                raise NoSuchOrganisation(organisation)
            yield Work(connection, organisation, who, max(now, clock), max(clock - now, 0.0))

    @contextmanager
    def writing_all(self, who: str, now: float) -> Iterator[tuple[Connection, list[Work]]]:
        """A transaction alone in every organisation there is, for what concerns them all. Raises StoreUnavailable."""
        with self._translated(), self._begun(writes=True) as connection:
            rows = select(organisations.c.id, organisations.c.clock).order_by(organisations.c.id).with_for_update()
            clocks = connection.execute(rows).all()
            works = [Work(connection, id, who, max(now, clock), max(clock - now, 0.0)) for id, clock in clocks]
            yield connection, works

    @contextmanager
    def _begun(self, writes: bool) -> Iterator[Connection]:
        with self._in_turn(writes), self.engine.connect() as raw:
            if self.is_sqlite:
                connection = raw.execution_options(writes=writes)
            elif writes:
                connection = raw.execution_options(isolation_level="READ COMMITTED")
            else:
                connection = raw.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                yield connection

    @contextmanager
    def _in_turn(self, writes: bool) -> Iterator[None]:
        """Lets those of this process who write to SQLite queue: it has them look again and again, and some for long."""
        if not (writes and self.is_sqlite):
            yield
            return
        if not self._turn.acquire(timeout=PATIENCE):
            raise StoreUnavailable("others of this process have been writing for too long")
        try:
            yield
        finally:
            self._turn.release()

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except (DBAPIError, PoolTimeout) as error:
            if isinstance(error, DBAPIError) and not _is_trouble(error):
                raise
            said = str(getattr(error, "orig", None) or error).strip().splitlines()
            raise StoreUnavailable(said[0] if said else type(error).__name__) from error


def _is_trouble(error: DBAPIError) -> bool:
    """Whether the database is the trouble, rather than what it was asked."""
    return error.connection_invalidated or type(error).__name__ in ("OperationalError", "InterfaceError")


def _url(address: str) -> URL:
    try:
        url = make_url(address)
    except ArgumentError as error:
        raise NotAStore(
            f"'{address}' is no database address; write sqlite:///file.db or postgresql+psycopg://…"
        ) from error
    if url.drivername not in ("sqlite", "postgresql", "postgresql+psycopg"):
        raise NotAStore(f"{url.drivername} is not supported; use sqlite or postgresql+psycopg")
    if url.drivername.startswith("sqlite") and url.database in (None, "", ":memory:"):
        raise NotAStore("a store in memory forgets everything; name a file: sqlite:///file.db")
    return url.set(drivername="postgresql+psycopg") if url.drivername == "postgresql" else url


def _engine(url: URL) -> Engine:
    try:
        if url.drivername == "sqlite":
            engine = create_engine(url, connect_args={"timeout": PATIENCE}, pool_size=8, pool_timeout=PATIENCE)
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
            return engine
        milliseconds = int(PATIENCE * 1000)
        options = f"-c lock_timeout={milliseconds} -c statement_timeout={3 * milliseconds} -c timezone=UTC"
        return create_engine(
            url,
            connect_args={"options": options, "connect_timeout": int(PATIENCE)},
            pool_size=8,
            pool_timeout=PATIENCE,
            pool_pre_ping=True,
        )
    except (NoSuchModuleError, ModuleNotFoundError) as error:
        raise NotAStore(
            f"the driver for {url.drivername} is not installed: pip install 'combine-setup-audit[postgresql]'"
        ) from error


def _prepare_sqlite(connection: Any, _: object) -> None:
    connection.isolation_level = None  # transactions begin when we say so, not when the driver thinks
    for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {setting}")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
