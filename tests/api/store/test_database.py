"""Tables, transactions and the record, on every database."""

from __future__ import annotations

import threading
import time
from hashlib import sha256

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import DBAPIError

from api.store import events
from api.store.database import NoSuchOrganisation, NotAStore, Store, StoreUnavailable
from api.store.tables import events as events_table
from api.store.tables import metadata, organisations

NOW = 1_790_000_000.0


def make_organisation(store: Store, name: str) -> None:
    with store.connection(writes=True) as connection:
        connection.execute(
            insert(organisations).values(
                id=name, name=name, terms="{}", effects="{}", rulebook="", events=0, head="", clock=0.0, created=NOW
            )
        )


def test_migrated_tables_are_the_tables(store: Store) -> None:
    """Whoever changes a table must write the migration too."""
    with store.connection() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, metadata) == []


def test_a_store_is_opened_again(address: str) -> None:
    first = Store(address)
    make_organisation(first, "here")
    first.close()
    second = Store(address)
    with second.reading("here") as work:
        assert events.head(work) == (0, "")
    second.close()


def test_an_organisation_that_is_not_there(store: Store) -> None:
    with pytest.raises(NoSuchOrganisation), store.reading("nowhere"):
        pass
    with pytest.raises(NoSuchOrganisation), store.writing("nowhere", "me", NOW):
        pass


def test_events_are_chained_and_faults_are_found(store: Store) -> None:
    make_organisation(store, "here")
    for number in range(5):
        with store.writing("here", "me", NOW + number) as work:
            events.append(work, "setup.recorded", f"setup/{number}", {"number": number, "text": "Größe 5/32 in"})
    with store.reading("here") as work:
        found, head = list(events.read(work)), events.head(work)
    assert [one.number for one in found] == [1, 2, 3, 4, 5]
    assert list(events.faults_in(found, head)) == []
    # the hash of the first event, worked out by hand from the rules of RFC 8785: sorted keys, no blanks, ES6 numbers
    text = (
        '{"after":"","at":1790000000,"before":"","content":{"number":0,"text":"Größe 5/32 in"},"number":1,'
        '"organisation":"here","previous":"","subject":"setup/0","what":"setup.recorded","who":"me"}'
    )
    assert found[0].hash == sha256(text.encode()).hexdigest()
    assert [f.number for f in events.faults_in(found[1:], head)] == [2, 2]
    assert [f.number for f in events.faults_in(found[:-1], head)] == [4]
    assert list(events.faults_in([*found[:2], found[3], found[2], found[4]], head))


@pytest.mark.parametrize("field", ["at", "who", "what", "subject", "content", "before", "after", "previous", "hash"])
def test_any_changed_field_is_found(store: Store, field: str) -> None:
    make_organisation(store, "here")
    for number in range(3):
        with store.writing("here", "me", NOW + number) as work:
            events.append(work, "setup.recorded", f"setup/{number}", {"number": number})
    with store.reading("here") as work:
        found, head = list(events.read(work)), events.head(work)
    other = {"at": 1.0, "content": {"number": 7}}.get(field, "x")
    changed = type(found[1])(**{**{name: getattr(found[1], name) for name in found[1].__slots__}, field: other})
    assert list(events.faults_in([found[0], changed, found[2]], head))


def test_the_database_refuses_to_change_or_delete_events(store: Store) -> None:
    make_organisation(store, "here")
    with store.writing("here", "me", NOW) as work:
        events.append(work, "setup.recorded", "setup/1", {})
    for deed in (update(events_table).values(who="someone else"), delete(events_table)):
        with pytest.raises(DBAPIError, match="only added to"), store.connection(writes=True) as connection:
            connection.execute(deed)
    with store.reading("here") as work:
        assert [one.who for one in events.read(work)] == ["me"]


def test_nothing_of_a_failed_transaction_is_written(store: Store) -> None:
    make_organisation(store, "here")

    def half_done() -> None:
        with store.writing("here", "me", NOW) as work:
            events.append(work, "setup.recorded", "setup/1", {})
            events.append(work, "setup.recorded", "setup/2", {"value": float("nan")})

    with pytest.raises(ValueError, match="not representable"):
        half_done()
    with store.reading("here") as work:
        assert list(events.read(work)) == []
        assert events.head(work) == (0, "")


def test_time_on_the_record_never_goes_back(store: Store) -> None:
    make_organisation(store, "here")
    with store.writing("here", "me", NOW) as work:
        events.append(work, "setup.recorded", "setup/1", {})
    with store.writing("here", "me", NOW - 900) as work:
        assert (work.now, work.behind) == (NOW, 900)
        events.append(work, "setup.recorded", "setup/2", {})
    with store.reading("here", NOW + 5) as work:
        assert (work.now, work.behind) == (NOW + 5, 0)
        assert [one.at for one in events.read(work)] == [NOW, NOW]


def test_writers_of_an_organisation_take_turns(store: Store) -> None:
    """Eight threads add 160 events: no number is given twice, none is left out, and the chain holds."""
    make_organisation(store, "here")

    def write(name: str) -> None:
        for number in range(20):
            with store.writing("here", name, time.time()) as work:
                events.append(work, "setup.recorded", f"{name}/{number}", {})

    threads = [threading.Thread(target=write, args=(f"writer-{number}",)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.reading("here") as work:
        found = list(events.read(work))
        assert len(found) == 160
        assert list(events.faults_in(found, events.head(work))) == []


def test_a_snapshot_does_not_move(store: Store) -> None:
    make_organisation(store, "here")
    with store.reading("here") as work:
        before = events.head(work)
        with store.writing("here", "me", NOW) as other:
            events.append(other, "setup.recorded", "setup/1", {})
        assert events.head(work) == before
        assert list(work.connection.execute(select(events_table))) == []


@pytest.mark.parametrize("address", ["sqlite://", "sqlite:///:memory:", "mysql://x", "nothing"])
def test_what_is_no_store_is_refused(address: str) -> None:
    with pytest.raises(NotAStore):
        Store(address)


def test_a_server_that_is_not_there_is_said() -> None:
    with pytest.raises(StoreUnavailable):
        Store("postgresql+psycopg://nobody@127.0.0.1:1/nothing")
