"""Tokens of our own: what their secrets look like, who may make and end them."""

from __future__ import annotations

import re
import secrets
from collections.abc import Collection
from hashlib import sha256
from math import isfinite
from typing import TYPE_CHECKING
from unicodedata import normalize
from zlib import crc32

from api.identity.caller import Caller, How
from api.identity.rights import OF_UNITS, RIGHTS, Right, Role
from api.store import organisations
from api.store import tokens as rows
from api.store.tokens import Token

if TYPE_CHECKING:
    from api.store.database import Store, Work

PREFIX = "csa_"
"""What a secret begins with, so that a search for leaked secrets can find it."""
_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_BODY, _CHECK = 43, 6  # digits of base 62 that 256 and 32 bits take
_SHAPE = re.compile(rf"{PREFIX}[0-9A-Za-z]{{{_BODY + _CHECK}}}", re.ASCII)
_UNIT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,79}", re.ASCII)
MOST_NAME = 80
MOST_UNITS = 200
HOME, HOME_NAME, FIRST_NAME = "home", "this machine", "first owner"


class NotAllowed(Exception):
    """The caller may not do this, and why."""


class BadToken(Exception):
    """A token can't be made like this, and why."""


class LastOwner(Exception):
    """No other owner's token would be left."""

    def __init__(self) -> None:
        super().__init__(
            "it is the last owner's token. Without one nobody can make tokens, end them or change terms over HTTP; "
            "only a command on the server could put that right. Make another owner's token first, or force it."
        )


def new_secret() -> str:
    """A secret: prefix, 256 random bits and a checksum that shows a mistyped one without any look-up."""
    body = PREFIX + _base62(secrets.randbits(256), _BODY)
    return body + _base62(crc32(body.encode()), _CHECK)


def is_secret(text: str) -> bool:
    """Whether a text could be a secret of ours: its shape and checksum are right."""
    if _SHAPE.fullmatch(text) is None:
        return False
    body, check = text[:-_CHECK], text[-_CHECK:]
    return check == _base62(crc32(body.encode()), _CHECK)


def hash_of(secret: str) -> str:
    """What is stored of a secret. 256 random bits can't be guessed, so SHA-256 without salt or delay is enough."""
    return sha256(secret.encode()).hexdigest()


def make(
    work: Work, caller: Caller, name: str, role: Role, units: Collection[str] = (), expires: float | None = None
) -> tuple[Token, str]:
    """A new token with its secret, which is kept nowhere. The event is written with it.

    Args:
        units: ids of the units it is for; empty for all.   expires: s since 1970, None for never.

    Raises: NotAllowed; BadToken; NameTaken.
    """
    if not RIGHTS[role] <= caller.rights:
        raise NotAllowed(f"a token of role {role.value} could do more than you can")
    if not caller.may(Right.ADMINISTER):
        raise NotAllowed(f"making a token needs the right to {Right.ADMINISTER.value}")
    if caller.units and not (units and set(units) <= caller.units):
        raise NotAllowed("the token would be for units that you do not see")
    if caller.how is How.TOKEN and work.organisation != caller.organisation:
        raise NotAllowed("the token would be for another organisation")
    if expires is not None and not (isfinite(expires) and expires > work.now):
        raise BadToken("it would have expired already")
    secret = new_secret()
    token = Token(
        work.organisation, secrets.token_hex(8), _name(name), role.value, _units(role, units), work.now, caller.who,
        expires,
    )  # fmt: skip
    rows.add(work, token, hash_of(secret))
    return token, secret


def revoke(work: Work, caller: Caller, id: str, force: bool = False) -> Token:
    """Ends a token now. Raises NotAllowed; NoSuchToken; LastOwner unless forced."""
    if not caller.may(Right.ADMINISTER):
        raise NotAllowed(f"ending a token needs the right to {Right.ADMINISTER.value}")
    found = rows.one(work, id)
    owners = [one.id for one in rows.every(work) if one.role == Role.OWNER.value and one.live(work.now)]
    if owners == [found.id] and not force:
        raise LastOwner
    return rows.revoke(work, id)


def at_command_line(organisation: str) -> Caller:
    """Whoever runs a command with the address of the store: they could change the database itself."""
    return Caller(organisation, How.COMMAND_LINE.value, frozenset({Role.OWNER}), frozenset(), How.COMMAND_LINE)


def first_owner(store: Store, now: float) -> str | None:
    """The secret of an owner's token of a new organisation, to be shown once; None if there is any organisation."""
    caller = at_command_line(HOME)
    try:
        with store.connection(writes=True) as connection:
            if organisations.is_any(connection):
                return None
            work = organisations.make(connection, HOME, HOME_NAME, caller.who, now)
            return make(work, caller, FIRST_NAME, Role.OWNER)[1]
    except organisations.AlreadyThere:  # another process was first, and shows its secret
        return None


def _name(name: str) -> str:
    found = normalize("NFC", name).strip()
    if not found or len(found) > MOST_NAME or not found.isprintable():
        raise BadToken(f"its name must have 1 to {MOST_NAME} characters, none of them a control character")
    return found


def _units(role: Role, units: Collection[str]) -> tuple[str, ...]:
    if units and role not in OF_UNITS:
        raise BadToken(f"what {'an' if role.value[0] in 'ao' else 'a'} {role.value} changes holds for every unit")
    if len(units) > MOST_UNITS or not all(_UNIT.fullmatch(unit) for unit in units):
        raise BadToken(f"it can name at most {MOST_UNITS} units, each by its id")
    return tuple(sorted(set(units)))


def _base62(number: int, digits: int) -> str:
    found = ""
    for _ in range(digits):
        number, digit = divmod(number, 62)
        found = _DIGITS[digit] + found
    return found
