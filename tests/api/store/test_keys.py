"""Signing keys on record, on every database, and what the server publishes of them."""

from __future__ import annotations

import json
import multiprocessing
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Connection, Table, insert, select, update

from api.certificates.certificate import LONGEST
from api.certificates.keys import SigningKey, WrongSecret
from api.certificates.keyset import jwks, read_jwks
from api.certificates.moment import CLOCKS_DIFFER
from api.certificates.revocations import Revocations, mark, read
from api.errors import add_handlers
from api.routes import keys as keys_route
from api.store.database import Store
from api.store.keys import (
    NoSuchKey,
    current,
    lines,
    mark_compromised,
    public_keys,
    published,
    revocations,
    rotate,
    signing_key,
)
from api.store.tables import organisations, signing_keys, starts, units

SECRET, OTHER_SECRET = bytes(range(32)), bytes(32)
NOW = 1_790_000_000.0


def first(store: Store, now: float = NOW) -> SigningKey:
    with store.connection(writes=True) as connection:
        return signing_key(connection, SECRET, now)


def next_one(store: Store, now: float) -> SigningKey:
    with store.connection(writes=True) as connection:
        return rotate(connection, SECRET, now)


def compromise(store: Store, key_id: str, now: float) -> None:
    with store.connection(writes=True) as connection:
        mark_compromised(connection, key_id, now)


def ids_published(store: Store, now: float) -> list[str]:
    with store.connection() as connection:
        return [key.id for key in published(connection, now)]


def test_the_first_that_asks_makes_the_key(store: Store) -> None:
    with store.connection() as connection:
        assert current(connection, SECRET) is None
    made = first(store)
    assert first(store, NOW + 5).id == made.id
    with store.connection() as connection:
        found = current(connection, SECRET)
        assert found is not None
        assert found.private.private_bytes_raw() == made.private.private_bytes_raw()
        assert public_keys(connection) == {made.id: made.public}


def test_the_database_alone_can_sign_nothing(store: Store) -> None:
    made = first(store)
    with store.connection() as connection:
        row = connection.execute(select(signing_keys)).one()
        assert made.private.private_bytes_raw() not in row.sealed
        assert sorted(json.loads(row.public)) == ["crv", "kty", "x"]
        with pytest.raises(WrongSecret):
            current(connection, OTHER_SECRET)


def test_without_its_secret_no_other_key_is_made_behind_ones_back(store: Store) -> None:
    made = first(store)
    with store.connection(writes=True) as connection, pytest.raises(WrongSecret):
        signing_key(connection, OTHER_SECRET, NOW)
    with store.connection() as connection:
        assert list(public_keys(connection)) == [made.id]


def test_sealed_keys_that_were_exchanged_do_not_open(store: Store) -> None:
    old, new = first(store), next_one(store, NOW + 1)
    with store.connection(writes=True) as connection:
        sealed = connection.scalar(select(signing_keys.c.sealed).where(signing_keys.c.id == old.id))
        connection.execute(update(signing_keys).where(signing_keys.c.id == new.id).values(sealed=sealed))
    with store.connection() as connection, pytest.raises(WrongSecret):
        current(connection, SECRET)


def test_a_new_key_signs_and_the_old_one_verifies(store: Store) -> None:
    old, new = first(store), next_one(store, NOW + 10)
    assert first(store, NOW + 20).id == new.id
    assert ids_published(store, NOW + 20) == [old.id, new.id]
    with store.connection() as connection:
        assert public_keys(connection) == {old.id: old.public, new.id: new.public}
        assert [(line.id, line.retired, line.signs) for line in lines(connection)] == [
            (new.id, None, True),
            (old.id, NOW + 10, False),
        ]


def test_a_new_key_can_sign_although_the_old_secret_is_lost(store: Store) -> None:
    first(store)
    with store.connection(writes=True) as connection:
        new = rotate(connection, OTHER_SECRET, NOW + 1)
        assert signing_key(connection, OTHER_SECRET, NOW + 2).id == new.id


def test_a_retired_key_is_published_until_all_it_signed_has_expired(store: Store) -> None:
    old, new = first(store), next_one(store, NOW)
    end = NOW + LONGEST + CLOCKS_DIFFER
    assert old.id in ids_published(store, end - 1)
    assert ids_published(store, end) == [new.id]


def test_a_compromised_key_signs_no_more_and_is_not_published(store: Store) -> None:
    old = first(store)
    compromise(store, old.id, NOW + 10)
    assert ids_published(store, NOW + 11) == []
    new = first(store, NOW + 12)
    assert new.id != old.id
    assert ids_published(store, NOW + 13) == [new.id]
    with store.connection() as connection:
        assert public_keys(connection)[old.id].compromised
        assert not public_keys(connection)[new.id].compromised
        assert revocations(connection, "audit", NOW + 13) == Revocations("audit", int(NOW) + 13, {}, (old.id,))


def test_a_compromised_key_is_called_so_for_ever(store: Store) -> None:
    """Whoever has it can sign with tomorrow's date as well as with yesterday's."""
    old = first(store)
    next_one(store, NOW + 1)
    compromise(store, old.id, NOW + 10)
    with store.connection() as connection:
        assert revocations(connection, "audit", NOW + 100 * LONGEST).compromised == (old.id,)
        assert [line.retired for line in lines(connection)] == [None, NOW + 1]


def test_a_key_that_is_not_there(store: Store) -> None:
    with pytest.raises(NoSuchKey, match="nobody"):
        compromise(store, "nobody", NOW)


def _first_use(address: str, barrier: Any, found: Any) -> None:
    store = Store(address)
    barrier.wait()
    try:
        found.put(first(store).id)
    except BaseException as error:
        found.put(repr(error))
        raise


def test_processes_that_start_at_once_sign_with_one_key(address: str) -> None:
    Store(address).close()
    context = multiprocessing.get_context("spawn")
    barrier, found = context.Barrier(4), context.Queue()
    processes = [context.Process(target=_first_use, args=(address, barrier, found)) for _ in range(4)]
    for process in processes:
        process.start()
    signers = {found.get(timeout=120) for _ in processes}
    for process in processes:
        process.join()
    store = Store(address)
    with store.connection() as connection:
        assert signers == set(public_keys(connection))
    store.close()
    assert len(signers) == 1


def put(connection: Connection, table: Table, **values: Any) -> None:
    """A row with nothing in it but what matters here."""
    empty = {column.name: column.type.python_type() for column in table.columns if not column.nullable}
    connection.execute(insert(table).values({**empty, **values}))


def put_start(store: Store, organisation: str, number: int, expires: float, revoked: float | None) -> None:
    with store.connection(writes=True) as connection:
        if connection.scalar(select(organisations.c.id).where(organisations.c.id == organisation)) is None:
            put(connection, organisations, id=organisation)
            put(connection, units, organisation=organisation, id="unit-07")
        put(
            connection, starts, organisation=organisation, id=f"start-{number}", unit="unit-07", number=number,
            expires=expires, revoked=revoked,
        )  # fmt: skip


def test_revoked_starts_are_listed_while_their_certificates_last(store: Store) -> None:
    put_start(store, "tarnfield", 1, NOW + 100, None)
    put_start(store, "tarnfield", 2, NOW + 100, NOW + 5.5)
    put_start(store, "tarnfield", 3, NOW + 10, NOW + 5)
    put_start(store, "hollowmere", 1, NOW + 100, NOW + 7)
    with store.connection() as connection:
        found = revocations(connection, "audit", NOW + 20.9)
    assert found == Revocations(
        "audit",
        int(NOW) + 20,
        {mark("tarnfield", "start-2"): int(NOW) + 5, mark("hollowmere", "start-1"): int(NOW) + 7},
    )


# what is published


@pytest.fixture
def client(store: Store) -> TestClient:
    """A server of these routes only, with as much of a desk as they need."""
    app = FastAPI()
    add_handlers(app)
    app.include_router(keys_route.router)
    app.state.desk = SimpleNamespace(
        store=store, secret=SECRET, address="https://audit.tarnfield.example", clock=lambda: NOW
    )
    return TestClient(app)


def test_the_keys_are_public_and_may_be_kept(client: TestClient, store: Store) -> None:
    old, new = first(store, NOW - 10), next_one(store, NOW)
    answer = client.get("/.well-known/jwks.json")
    assert answer.status_code == 200
    assert answer.json() == jwks([old.public, new.public])
    assert answer.headers["content-type"] == "application/jwk-set+json"
    assert answer.headers["cache-control"] == "public, max-age=300"
    assert read_jwks(answer.content) == {old.id: old.public, new.id: new.public}
    tag = answer.headers["etag"]
    for asked in (tag, f'"x", W/{tag}', "*"):
        same = client.get("/.well-known/jwks.json", headers={"If-None-Match": asked})
        assert (same.status_code, same.content, same.headers["etag"]) == (304, b"", tag)
    compromise(store, old.id, NOW)
    changed = client.get("/.well-known/jwks.json", headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["etag"] != tag
    assert list(read_jwks(changed.content)) == [new.id]


def test_the_list_of_revoked_starts_is_signed_with_a_published_key(client: TestClient, store: Store) -> None:
    key = first(store)
    put_start(store, "tarnfield", 2, NOW + 100, NOW - 5)
    answer = client.get("/.well-known/revoked-starts.json")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "public, max-age=60"
    found = read(answer.content, {key.id: key.public}, NOW)
    assert found == Revocations(
        "https://audit.tarnfield.example", int(NOW), {mark("tarnfield", "start-2"): int(NOW) - 5}
    )


def test_a_server_that_signed_nothing_yet(client: TestClient, store: Store) -> None:
    assert client.get("/.well-known/jwks.json").json() == {"keys": []}
    answer = client.get("/.well-known/revoked-starts.json")
    assert (answer.status_code, answer.json()["title"]) == (404, "Not found")
    with store.connection() as connection:
        assert public_keys(connection) == {}


def test_a_server_without_a_store(client: TestClient) -> None:
    client.app.state.desk = None  # type: ignore[attr-defined]
    for name in ("jwks", "revoked-starts"):
        assert client.get(f"/.well-known/{name}.json").status_code == 404
