"""Backups: verified, consistent while written to, restored whole or not at all."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from sqlalchemy import select

from api.cli import main
from api.store import backup, events, organisations
from api.store.backup import Faulty, Refused, back_up, restore, verify
from api.store.database import NotAStore, Store
from api.store.tables import metadata
from api.store.verifying import faults

NOW = 1_790_900_000.0


def contents(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table."""
    with store.connection() as connection:
        return {
            table.name: sorted((tuple(row) for row in connection.execute(select(table))), key=repr)
            for table in metadata.sorted_tables
        }


def url(file: Path) -> str:
    return f"sqlite:///{file}"


def leavings(folder: Path) -> list[str]:
    """Files that nobody asked for; those of the store that the test itself holds open are its own."""
    found = [one.name for one in folder.iterdir() if one.name.endswith((".part", "-wal", "-shm", "-journal"))]
    return sorted(name for name in found if not name.startswith("lived.db-"))


def test_a_backup_is_the_store(lived: Store, tmp_path: Path) -> None:
    file = tmp_path / "kept" / "copy.db"
    file.parent.mkdir()
    copied = back_up(lived, file)
    assert [one.name for one in file.parent.iterdir()] == ["copy.db"]  # one file, nothing beside it
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    with lived.reading("ridgeline") as work:
        assert copied.heads["ridgeline"] == events.head(work)
    copy = Store(url(file))
    assert contents(copy) == contents(lived)
    copy.close()


def test_a_restored_store_goes_on_and_its_record_says_so(lived: Store, tmp_path: Path) -> None:
    file, target = tmp_path / "copy.db", tmp_path / "new.db"
    heads = back_up(lived, file).heads
    assert restore(file, url(target), replace=False, now=NOW).aside is None
    again = Store(url(target))
    for id, (number, hash) in heads.items():
        with again.reading(id) as work:
            found = list(events.read(work))
            assert list(faults(work, (number, hash))) == []
        assert (found[-1].what, found[-1].content) == ("record.restored", {"events": number, "head": hash})
        assert len(found) == number + 1
    before, after = contents(lived), contents(again)
    for table in set(before) - {"events", "organisations"}:
        assert after[table] == before[table]
    again.close()
    verify(target)


def test_a_store_of_either_kind_becomes_a_store_of_either_kind(lived: Store, address: str, tmp_path: Path) -> None:
    """SQLite to SQLite or PostgreSQL, back out, and into SQLite: the rows are the same."""
    first, second, last = tmp_path / "first.db", tmp_path / "second.db", tmp_path / "last.db"
    back_up(lived, first)
    restore(first, address, replace=False, now=NOW)
    there = Store(address)
    back_up(there, second)
    with there.reading("ridgeline") as work:
        assert list(faults(work)) == []
    assert contents(there) == rows_of(second)
    there.close()
    restore(second, url(last), replace=False, now=NOW)
    assert contents(lived)["setups"] == rows_of(last)["setups"]
    assert contents(lived)["signing_keys"] == rows_of(last)["signing_keys"]


def rows_of(file: Path) -> dict[str, list[tuple[object, ...]]]:
    store = Store(url(file))
    try:
        return contents(store)
    finally:
        store.close()


def test_a_store_that_is_not_empty_is_not_restored_into(lived: Store, store: Store, tmp_path: Path) -> None:
    with store.connection(writes=True) as connection:
        organisations.make(connection, "meltwater", "Meltwater", "command line", NOW)
    before = contents(store)
    back_up(lived, tmp_path / "copy.db")
    with pytest.raises(Refused, match=r"there already|not empty"):
        restore(tmp_path / "copy.db", store.url.render_as_string(hide_password=False), replace=False, now=NOW)
    assert contents(store) == before


def test_a_replaced_store_is_kept(lived: Store, tmp_path: Path) -> None:
    file, target = tmp_path / "copy.db", tmp_path / "record.db"
    back_up(lived, file)
    old = Store(url(target))
    with old.connection(writes=True) as connection:
        organisations.make(connection, "old-yard", "Old yard", "command line", NOW)
    old.close()
    target.chmod(0o640)
    with pytest.raises(Refused, match="already"):
        restore(file, url(target), replace=False, now=NOW)
    copied = restore(file, url(target), replace=True, now=NOW)
    assert copied.aside is not None
    assert list(verify(copied.aside)) == ["old-yard"]
    assert set(copied.heads) == {"ridgeline", "meltwater"}
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert leavings(tmp_path) == []


def test_a_store_in_use_is_not_replaced(lived: Store, tmp_path: Path) -> None:
    """By another process, as a server that runs."""
    file, target = tmp_path / "copy.db", tmp_path / "record.db"
    back_up(lived, file)
    shutil.copy(file, target)
    before = target.read_bytes()
    code = (
        "import sys; from sqlalchemy import text; from api.store.database import Store; store = Store(sys.argv[1])\n"
        "with store.connection() as one: one.execute(text('SELECT count(*) FROM events')).all()\n"
        "print('open', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, url(target)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdout is not None
        assert server.stdout.readline() == "open\n"
        with pytest.raises(Refused, match="in use"):
            restore(file, url(target), replace=True, now=NOW)
        server.communicate("")
    assert rows_of(target) == rows_of(file)
    assert not list(tmp_path.glob("*.before-*"))
    assert before[:16] == b"SQLite format 3\x00"
    restore(file, url(target), replace=True, now=NOW)  # once it is stopped


def test_a_log_that_another_store_left_is_not_played_into_a_restored_one(lived: Store, tmp_path: Path) -> None:
    file, target = tmp_path / "copy.db", tmp_path / "record.db"
    back_up(lived, file)
    (tmp_path / "record.db-wal").write_bytes(b"left behind")
    with pytest.raises(Refused, match="move it away"):
        restore(file, url(target), replace=False, now=NOW)
    assert not target.exists()


def test_a_backup_is_never_overwritten(lived: Store, tmp_path: Path) -> None:
    file = tmp_path / "copy.db"
    file.write_bytes(b"an older one")
    with pytest.raises(Refused, match="never overwritten"):
        back_up(lived, file)
    assert file.read_bytes() == b"an older one"


def test_a_backup_taken_while_everyone_writes_is_of_one_moment(store: Store, tmp_path: Path) -> None:
    """Every event of one transaction is in it, or none; five backups while four writers write."""
    for id in ("ridgeline", "meltwater"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, id, id, "command line", NOW)
    stop = threading.Event()
    failed: list[BaseException] = []

    def write(id: str, name: str) -> None:
        number = 0
        try:
            while not stop.is_set():
                with store.writing(id, name, NOW + number) as work:
                    for part in range(3):
                        events.append(work, "unit.looked-at", f"unit/{name}-{number}", {"part": part})
                number += 1
                stop.wait(0.01)
        except BaseException as error:
            failed.append(error)

    writers = [
        threading.Thread(target=write, args=(id, f"{id}-{n}")) for id in ("ridgeline", "meltwater") for n in (1, 2)
    ]
    for writer in writers:
        writer.start()
    try:
        counts = []
        for number in range(5):
            heads = back_up(store, tmp_path / f"copy-{number}.db").heads
            counts.append(heads["ridgeline"][0])
            assert all(count % 3 == 1 for count, _ in heads.values())  # one event made the organisation
    finally:
        stop.set()
        for writer in writers:
            writer.join()
    assert failed == []
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


DAMAGE = {
    "setup changed": "UPDATE setups SET text = CAST(replace(text, 'corn', 'soya') AS BLOB)",
    "event gone": "DELETE FROM events WHERE number = 9",
    "unit that setups name gone": "DELETE FROM units WHERE id = 'unit-03'",
}


@pytest.mark.parametrize("name", DAMAGE)
def test_what_is_not_as_it_was_written_is_not_backed_up_and_not_restored(
    lived: Store, tmp_path: Path, name: str
) -> None:
    assert lived.file is not None
    copy, target = tmp_path / "damaged.db", tmp_path / "new.db"
    back_up(lived, copy)
    for file in (copy, lived.file):
        connection = sqlite3.connect(file)
        for table in ("events", "setups"):
            for deed in ("update", "delete"):
                connection.execute(f"DROP TRIGGER {table}_no_{deed}")
        connection.execute(DAMAGE[name])
        connection.commit()
        connection.close()
    with pytest.raises(Faulty):
        back_up(lived, tmp_path / "second.db")
    assert not (tmp_path / "second.db").exists()
    assert main(["backup", str(tmp_path / "second.db"), "--store", url(lived.file)]) == 1
    assert main(["restore", str(copy), "--store", url(target)]) == 1
    assert not target.exists()
    assert leavings(tmp_path) == []


def test_no_damaged_page_is_restored(lived: Store, tmp_path: Path) -> None:
    """Bytes of every part of the file overwritten, one part after another: refused, or all rows are as they were."""
    good, bad, target = tmp_path / "copy.db", tmp_path / "bad.db", tmp_path / "new.db"
    back_up(lived, good)
    want, size = contents(lived), good.stat().st_size
    refused = 0
    for place in range(0, size, max(size // 25, 1)):
        data = bytearray(good.read_bytes())
        data[place : place + 200] = b"\xa5" * len(data[place : place + 200])
        bad.write_bytes(data)
        try:
            restore(bad, url(target), replace=False, now=NOW)
        except Refused:
            refused += 1
            assert not target.exists()
            continue
        found = rows_of(target)
        for table in ("setups", "units", "starts", "acceptances"):
            assert found[table] == want[table]
        target.unlink()
    assert refused > 5  # else the damage hit nothing that is looked at
    assert leavings(tmp_path) == []


@pytest.mark.parametrize("kind", ["empty", "text", "another database", "newer", "folder", "missing"])
def test_what_is_no_backup_is_refused(lived: Store, tmp_path: Path, kind: str) -> None:
    file, target = tmp_path / "file", tmp_path / "new.db"
    if kind == "empty":
        file.write_bytes(b"")
    elif kind == "text":
        file.write_text("hello " * 1000)
    elif kind == "another database":
        connection = sqlite3.connect(file)
        connection.execute("CREATE TABLE notes (text)")
        connection.close()
    elif kind == "newer":
        back_up(lived, file)
        connection = sqlite3.connect(file)
        connection.execute("UPDATE alembic_version SET version_num = 'tables_of_next_year'")
        connection.commit()
        connection.close()
    elif kind == "folder":
        file.mkdir()
    assert main(["restore", str(file), "--store", url(target)]) == 2
    assert not target.exists()
    assert leavings(tmp_path) == []


def test_the_commands(lived: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, target = str(tmp_path / "copy.db"), url(tmp_path / "new.db")
    assert main(["backup", file, "--store", url(lived.file or Path())]) == 0
    out = capsys.readouterr().out
    assert "secret is not in it" in out
    assert "ridgeline: " in out
    assert main(["restore", file, "--store", target]) == 0
    assert main(["restore", file, "--store", target]) == 2
    assert main(["restore", file, "--store", target, "--replace"]) == 0
    assert "store that was there" in capsys.readouterr().out
    assert main(["backup", file, "--store", target]) == 2
    assert main(["backup", str(tmp_path / "no-folder" / "copy.db"), "--store", target]) == 2
    assert main(["restore", file, "--store", "nothing"]) == 2
    assert main(["restore", file, "--store", url(tmp_path / "no-folder" / "new.db")]) == 2


def test_a_mistyped_store_is_not_made_and_backed_up(tmp_path: Path) -> None:
    assert main(["backup", str(tmp_path / "copy.db"), "--store", url(tmp_path / "mistyped.db")]) == 2
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(NotAStore):
        restore(Path(__file__), "sqlite:///:memory:", replace=False, now=NOW)


def test_a_backup_that_is_cut_off_leaves_nothing(lived: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: Path) -> dict[str, tuple[int, str]]:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(backup, "verify", full)
    with pytest.raises(Refused, match="No space"):
        back_up(lived, tmp_path / "copy.db")
    assert sorted(one.name for one in tmp_path.iterdir() if "copy" in one.name) == []
