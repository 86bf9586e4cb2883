"""Roles, and what each may do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import Enum


class Right(Enum):
    """What someone may do; the value is how it reads in a refusal."""

    READ = "read"
    RECORD = "record setups"
    CORRECT = "record setups as left and change units"
    START = "ask for harvest starts"
    ACCEPT = "accept findings"
    AUTHOR = "add and activate rulebooks"
    ADMINISTER = "administer the organisation"


class Role(Enum):
    """What a token or a person is here for."""

    READER = "reader"
    RECORDER = "recorder"
    MECHANIC = "mechanic"
    APPROVER = "approver"
    AUTHOR = "author"
    OWNER = "owner"


RIGHTS: Mapping[Role, frozenset[Right]] = {
    Role.READER: frozenset({Right.READ}),
    Role.RECORDER: frozenset({Right.READ, Right.RECORD}),
    Role.MECHANIC: frozenset({Right.READ, Right.RECORD, Right.CORRECT, Right.START}),
    Role.APPROVER: frozenset({Right.READ, Right.RECORD, Right.CORRECT, Right.START, Right.ACCEPT}),
    Role.AUTHOR: frozenset({Right.READ, Right.AUTHOR}),
    Role.OWNER: frozenset(Right),
}
"""An author writes what is checked and an approver lets a finding pass; one token does both only for an owner."""

OF_UNITS = frozenset({Role.READER, Role.RECORDER, Role.MECHANIC, Role.APPROVER})
"""Roles that can be kept to some units. What an author or owner changes holds for every unit."""


def rights_of(roles: Iterable[Role]) -> frozenset[Right]:
    """Everything that one of the roles may do."""
    return frozenset(right for role in roles for right in RIGHTS[role])
