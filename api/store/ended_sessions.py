"""Browser sessions that somebody signed out of; the others are known by what their cookie seals, and stand nowhere."""

from __future__ import annotations

from sqlalchemy import Connection, delete, exists, insert, select

from api.store.database import Work
from api.store.tables import ended_sessions


def end(work: Work, id: str, until: float) -> None:
    """Ends a session; nothing happens to one that was ended before.

    Args:
        until: when it would run out by itself, s since 1970; then it is forgotten.
    """
    own = ended_sessions.c.organisation == work.organisation
    work.connection.execute(delete(ended_sessions).where(own, ended_sessions.c.until <= work.now))
    if until > work.now and not is_ended(work.connection, work.organisation, id):
        work.connection.execute(insert(ended_sessions).values(organisation=work.organisation, id=id, until=until))


def is_ended(connection: Connection, organisation: str, id: str) -> bool:
    """Whether somebody signed out of a session."""
    found = (ended_sessions.c.organisation == organisation) & (ended_sessions.c.id == id)
    return bool(connection.scalar(select(exists().where(found))))
