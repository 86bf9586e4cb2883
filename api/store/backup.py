"""Backup and restore. A backup of any store is one SQLite file, so that one way to verify and to restore is enough.

A store on SQLite is copied by SQLite's online backup, one on PostgreSQL table by table inside one snapshot; both may be
written to meanwhile. Nothing becomes a backup, and nothing takes the place of a store, before it was verified.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from alembic.util.exc import CommandError
from sqlalchemy import Connection, exists, insert, make_url, select
from sqlalchemy.exc import ArgumentError

from api.store import events
from api.store.database import NotAStore, Store, StoreUnavailable, Work
from api.store.events import Fault
from api.store.tables import metadata, organisations
from api.store.verifying import faults

MOST_ROWS = 500
"""Rows that are copied at once."""
MOST_SAID = 100
"""Most characters of a database's own words; they may hold what is stored."""


class Refused(Exception):
    """It was not done, and why; nothing was changed."""


class Faulty(Refused):
    """What was copied is not as it was written: faults by organisation."""

    def __init__(self, found: list[tuple[str, Fault]]) -> None:
        super().__init__("it is not as it was written")
        self.found = found


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy holds.

    Attributes:
        heads: by organisation, number and hash of its last event.
        aside: where the store that was replaced is now.
    """

    heads: dict[str, tuple[int, str]]
    aside: Path | None = None


def back_up(store: Store, file: Path) -> Copied:
    """Copies a store into a new file that only its owner can read. Raises Refused, Faulty, StoreUnavailable."""
    if file.exists():
        raise Refused(f"{file} is there already, and a backup is never overwritten")
    with _unfinished(file) as part:
        if store.file is not None:
            _copy_file(store.file, part)
        else:
            _copy_out(store, part)
        heads = verify(part)
        _finish(part)
        if file.exists():
            raise Refused(f"{file} was made by someone else meanwhile")
        os.rename(part, file)
        _sync_folder(file)
    return Copied(heads)


def restore(file: Path, address: str, replace: bool, now: float) -> Copied:
    """Makes a store of a backup, with an event on each record that says so.

    Args:
        address: where to: a SQLite file, or an empty PostgreSQL database.
        replace: whether a SQLite store that is there may be replaced; it is kept beside the new one.
        now: s since 1970.

    Raises: Refused, Faulty, NotAStore, StoreUnavailable.
    """
    if not file.is_file():
        raise Refused(f"there is no file {file}")
    target = file_of(address)
    if target is None:
        return _restore_rows(file, address, now)
    if target.exists() and target.stat().st_size and not replace:
        raise Refused(f"{target} is there already; --replace puts it aside")
    with _unfinished(target) as part:
        _copy_file(file, part)
        heads = verify(part)
        with closing(_opened(part)) as copy, copy.connection(writes=True) as connection:
            _note(connection, heads, now)
        _finish(part)
        aside = _put_in_place(part, target, now)
    return Copied(heads, aside)


def verify(file: Path) -> dict[str, tuple[int, str]]:
    """Numbers and hashes of the last events in a SQLite store. Raises Faulty, Refused."""
    try:
        with closing(sqlite3.connect(file)) as connection:
            names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            said = [row[0] for row in connection.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
            loose = connection.execute("PRAGMA foreign_key_check").fetchall()
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise Refused(f"it is no database, or a broken one: {error}") from error
    if "alembic_version" not in names or organisations.name not in names:
        raise Refused("it is no store of ours")
    said += [f"a row of {row[0]} names a row of {row[2]} that is not there" for row in loose]
    if said:
        raise Faulty([("", Fault(0, text)) for text in said])
    try:
        with closing(_opened(file)) as store, store.connection() as connection:
            ids = list(connection.scalars(select(organisations.c.id).order_by(organisations.c.id)))
            found = [(id, fault) for id in ids for fault in faults(Work(connection, id, "", 0.0))]
            if found:
                raise Faulty(found)
            return {id: events.head(Work(connection, id, "", 0.0)) for id in ids}
    except (StoreUnavailable, UnicodeDecodeError) as error:
        raise Refused(f"it can't be read: {str(error)[:MOST_SAID]}") from error


def _opened(file: Path) -> Store:
    """The file as a store, its tables brought up to date. Raises Refused."""
    try:
        return Store(f"sqlite:///{file}")
    except (NotAStore, StoreUnavailable) as error:
        raise Refused(str(error)) from error
    except CommandError as error:
        raise Refused(f"its tables are of another edition of this program: {error}") from error


def file_of(address: str) -> Path | None:
    """The file of a SQLite address, None for any other."""
    try:
        url = make_url(address)
    except ArgumentError:
        return None
    return Path(url.database) if url.drivername == "sqlite" and url.database not in (None, "", ":memory:") else None


@contextmanager
def _unfinished(file: Path) -> Iterator[Path]:
    """A new file beside the one that is to be; nothing of it stays."""
    part = file.with_name(f"{file.name}.{os.getpid()}.part")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except OSError as error:
        raise Refused(f"{file} can't be written: {error.strerror}") from error
    try:
        yield part
    except (OSError, sqlite3.Error) as error:
        raise Refused(f"{file} can't be written: {error}") from error
    finally:
        for rest in ("", "-wal", "-shm", "-journal"):
            part.with_name(part.name + rest).unlink(missing_ok=True)


def _copy_file(source: Path, part: Path) -> None:
    """The source as it is at one moment; in one step, so that a writer can't make it begin again."""
    try:
        with (
            closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as old,
            closing(sqlite3.connect(part)) as new,
        ):
            old.backup(new, pages=-1)
    except sqlite3.Error as error:
        raise Refused(f"{source} can't be copied: {error}") from error


def _copy_out(store: Store, part: Path) -> None:
    with closing(_opened(part)) as copy, store.connection() as old, copy.connection(writes=True) as new:
        _copy_rows(old, new)


def _restore_rows(file: Path, address: str, now: float) -> Copied:
    """Into an empty store, all or nothing. The file is copied first: opening it as a store may change it."""
    with closing(Store(address)) as store, _unfinished(file) as part:
        _copy_file(file, part)
        heads = verify(part)
        with closing(_opened(part)) as copy, copy.connection() as old, store.connection(writes=True) as new:
            if new.scalar(select(exists().select_from(organisations))):
                raise Refused("the store there is not empty; make a new database to restore into")
            _copy_rows(old, new)
            _note(new, heads, now)
            if lost := [(id, fault) for id in heads for fault in faults(Work(new, id, "", 0.0))]:
                raise Faulty(lost)
    return Copied(heads)


def _copy_rows(old: Connection, new: Connection) -> None:
    """Every row of every table, those first that others name."""
    for table in metadata.sorted_tables:
        found = old.execute(select(table), execution_options={"yield_per": MOST_ROWS, "stream_results": True})
        for some in found.mappings().partitions():
            new.execute(insert(table), [dict(row) for row in some])


def _note(connection: Connection, heads: dict[str, tuple[int, str]], now: float) -> None:
    """Puts on each record that what was written after the backup is lost."""
    for id, (number, hash) in heads.items():
        clock = connection.scalar(select(organisations.c.clock).where(organisations.c.id == id))
        work = Work(connection, id, "restore", max(now, clock or 0.0))
        events.append(work, "record.restored", f"organisation/{id}", {"events": number, "head": hash})


def _finish(part: Path) -> None:
    """One file that needs no other, on the disk."""
    with closing(sqlite3.connect(part)) as connection:
        mode = connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    if mode != "delete":
        raise Refused(f"{part} is held open by something else")
    with part.open("rb") as written:
        os.fsync(written.fileno())


def _put_in_place(part: Path, target: Path, now: float) -> Path | None:
    """Renames the copy to the target, which is put aside first. Raises Refused while anything has the target open."""
    aside = None
    if target.exists():
        aside = target.with_name(f"{target.name}.before-{int(now)}")
        with closing(sqlite3.connect(target, timeout=1.0, isolation_level=None)) as held:
            try:
                # leaving write-ahead mode takes the file alone and empties its log, which must not meet the new file
                held.execute("PRAGMA journal_mode = DELETE")
                held.execute("BEGIN EXCLUSIVE")
            except sqlite3.OperationalError as error:
                raise Refused(f"{target} is in use ({error}); stop the server first") from error
            except sqlite3.DatabaseError:
                pass  # not a database, so nothing can be using it
            _refuse_leavings(target)
            _same_owner(target, part)
            os.link(target, aside)
            os.rename(part, target)
    else:
        _refuse_leavings(target)
        os.rename(part, target)
    _sync_folder(target)
    return aside


def _refuse_leavings(target: Path) -> None:
    """A log that was left by another file of this name would be played into the new one."""
    for name in ("-wal", "-journal"):
        if (left := target.with_name(target.name + name)).exists():
            raise Refused(f"{left} belongs to the store that was there; move it away first")


def _same_owner(target: Path, part: Path) -> None:
    """The service must be able to open what an administrator restored."""
    was = target.stat()
    os.chmod(part, was.st_mode & 0o777)
    if os.geteuid() == 0:
        os.chown(part, was.st_uid, was.st_gid)


def _sync_folder(file: Path) -> None:
    """The new name itself reaches the disk."""
    folder = os.open(file.absolute().parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
