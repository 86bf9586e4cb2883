"""How a page asks a JSON door what a form asks for: fields as its body, what a form can't send as headers put in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from fastapi import Request, Response
from starlette.datastructures import FormData

MOST_FIELDS = 5000
"""Fields that a form may have; a card with many belts has some hundred things, each with side, unit and tick."""


async def form_of(request: Request) -> FormData:
    """The form that was sent."""
    return await request.form(max_fields=MOST_FIELDS)


def plain_of(answer: Response) -> dict[str, Any]:
    """What a JSON door answers."""
    found: dict[str, Any] = json.loads(bytes(answer.body))
    return found


def with_header(request: Request, name: str, value: str) -> Request:
    """The request as if it carried a header, which a form can't send."""
    headers = [*request.scope["headers"], (name.encode(), value.encode())]
    return Request({**request.scope, "headers": headers}, request.receive)


def keyed(request: Request, key: str) -> Request:
    """The request with an Idempotency-Key, so that a form that is sent twice does its work once."""
    return with_header(request, "idempotency-key", key)


def number(text: str, kind: type[int] | type[float] = float) -> float | str:
    """A number as people write it; anything else goes on as it is, to be refused by the door with its own words."""
    try:
        return kind(text.strip().replace(",", "."))
    except ValueError:
        return text


def written(value: float | None) -> str:
    """A number as a field shows it, so that ``number`` reads it back as it was; '' for none."""
    return "" if value is None else str(int(value) if value == int(value) else value)


def unit_sent(card: str, fields: Mapping[str, Any]) -> dict[str, Any]:
    """What a form says of a unit, as the door takes it; an empty field says nothing."""
    given = {name: str(fields.get(name, "")).strip() for name in ("serial", "owner", "build_year", "engine_hours")}
    sent: dict[str, Any] = {"card": card, **{name: text for name, text in given.items() if text}}
    for name, kind in (("build_year", int), ("engine_hours", float)):
        if name in sent:
            sent[name] = number(sent[name], kind)
    return sent
