"""The server's secret: 32 bytes in a file that only its owner reads. It opens the signing keys in the database.

Database and secret are kept apart on purpose: a copy of the database alone can sign nothing.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

SECRET_BYTES = 32
"""A key of AES-256 (FIPS 197, 5)."""
VARIABLE = "SETUP_AUDIT_SECRET_FILE"
_FOR_OTHERS = 0o077


class NoSecret(Exception):
    """There is no secret that can be used, and why."""


def secret_of(database: Path | None, environment: Mapping[str, str]) -> bytes:
    """The secret of the file that the environment names, else of the one beside the database, made on first use.

    Args:
        database: the database's file, None where it is a server.

    Raises: NoSecret.
    """
    named = environment.get(VARIABLE)
    if named:
        return read_secret(Path(named))
    if database is None:
        raise NoSecret(
            f"A database server has no place beside it for the secret: name a file in {VARIABLE}. "
            f"Made by: (umask 077; head -c {SECRET_BYTES} /dev/urandom > FILE)"
        )
    beside = database.with_name(f"{database.name}.secret")
    if not beside.exists():
        _make(beside)
    return read_secret(beside)


def read_secret(path: Path) -> bytes:
    """The secret of a file. Raises NoSecret for one that is missing, has another length, or is open to others."""
    try:
        with path.open("rb") as stream:
            open_to = os.fstat(stream.fileno()).st_mode & _FOR_OTHERS
            secret = stream.read(SECRET_BYTES + 1)
    except OSError as error:
        raise NoSecret(f"{path} can't be read: {error.strerror}.") from None
    if os.name == "posix" and open_to:
        raise NoSecret(f"{path} can be read or changed by others: chmod 600 {path}")
    if len(secret) != SECRET_BYTES:
        raise NoSecret(f"{path} does not hold exactly {SECRET_BYTES} bytes, so it is not a secret of this server.")
    return secret


def _make(path: Path) -> None:
    """Writes a new secret whole or not at all; where several processes do at once, the first one's stays."""
    try:
        number, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")  # only its owner can read it
        try:
            with os.fdopen(number, "wb") as stream:
                stream.write(os.urandom(SECRET_BYTES))
                stream.flush()
                os.fsync(stream.fileno())
            os.link(name, path)
        finally:
            os.unlink(name)
    except FileExistsError:
        return
    except OSError as error:
        raise NoSecret(f"{path} can't be written: {error.strerror}.") from None
