"""Secrets of other systems, which are kept outside our settings and our store: those only say where."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

MOST_BYTES = 8192


class NotKept(Exception):
    """There is no secret where it should be, and why."""


def why_not_kept(where: str) -> str | None:
    """Why a text does not say where a secret is, None if it does."""
    kind, _, name = where.partition(":")
    return None if kind in ("env", "file") and name else "say where it is as env:NAME or file:PATH, not what it is"


def kept(where: str, environment: Mapping[str, str]) -> str:
    """The secret of ``env:NAME`` or ``file:PATH``. Raises NotKept, which never says anything of the secret itself."""
    kind, _, name = where.partition(":")
    if kind == "env":
        secret = environment.get(name, "").strip()
        if not secret:
            raise NotKept(f"${name}, which should hold it, is not set")
    else:
        try:
            with Path(name).open("rb") as file:
                secret = file.read(MOST_BYTES + 1).decode("ascii", "replace").strip()
        except OSError as error:
            raise NotKept(f"{name}, which should hold it, can't be read: {error.strerror}") from error
    if not secret or not secret.isascii() or not secret.isprintable() or " " in secret or len(secret) > MOST_BYTES:
        raise NotKept("it is empty, or holds what no secret holds")
    return secret
