"""Sessions that were ended before they ran out."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from api.store import ended_sessions, organisations
from api.store.database import Store
from api.store.tables import ended_sessions as table

NOW = 1_790_000_000.0


@pytest.fixture
def two(store: Store) -> Store:
    """A store with two organisations."""
    for name in ("ridgeline", "lowfield"):
        with store.connection(writes=True) as connection:
            organisations.make(connection, name, name.title(), "me", NOW)
    return store


def end(store: Store, id: str, until: float, now: float = NOW) -> None:
    with store.writing("ridgeline", "me", now) as work:
        ended_sessions.end(work, id, until)


def test_what_is_ended_stays_ended_and_only_there(two: Store) -> None:
    for _ in range(2):
        end(two, "one", NOW + 60)
    with two.connection() as connection:
        assert ended_sessions.is_ended(connection, "ridgeline", "one")
        assert not ended_sessions.is_ended(connection, "ridgeline", "two")
        assert not ended_sessions.is_ended(connection, "lowfield", "one")


def test_what_has_run_out_is_forgotten(two: Store) -> None:
    end(two, "one", NOW + 60)
    end(two, "two", NOW + 90, now=NOW + 60)
    end(two, "three", NOW + 60, now=NOW + 60)
    with two.connection() as connection:
        assert not ended_sessions.is_ended(connection, "ridgeline", "one")
        assert ended_sessions.is_ended(connection, "ridgeline", "two")
        assert connection.scalar(select(func.count()).select_from(table)) == 1
