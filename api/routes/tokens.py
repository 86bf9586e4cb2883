"""/tokens: who may do what. For owners only."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.errors import Refusal
from api.identity.caller import Caller, forbidden, needs
from api.identity.door import Identity
from api.identity.rights import Right, Role
from api.identity.tokens import BadToken, LastOwner, NotAllowed, make, revoke
from api.routes.state import json_answer
from api.store import tokens
from api.store.database import Store
from api.store.tokens import NameTaken, NoSuchToken, Token

router = APIRouter(prefix="/tokens", tags=["tokens"])

USUAL_DAYS = 365.0
_DAY = 86400.0
_PRIVATE = {"Cache-Control": "no-store"}

Owner = Annotated[Caller, Depends(needs(Right.ADMINISTER))]


class NewToken(BaseModel):
    """A token to be made."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: str = Field(description="who or what carries it, as the record will name them; never given twice")
    role: Literal["reader", "recorder", "mechanic", "approver", "author", "owner"]
    units: list[str] = Field(default=[], description="the only units it is for; none for all")
    days: float | None = Field(
        USUAL_DAYS, gt=0, le=3660, allow_inf_nan=False, description="days after which it expires; null for never"
    )


class TokenLine(BaseModel):
    """A token without its secret."""

    id: str
    name: str
    role: str
    units: list[str] = Field(description="the only units it is for; none for all")
    created: str
    created_by: str
    expires: str | None
    revoked: str | None
    live: bool = Field(description="whether it opens anything now")


class MadeToken(TokenLine):
    """A new token. Its secret is shown this once and kept nowhere."""

    secret: str


@router.get("", response_model=list[TokenLine], summary="Every token, revoked and expired ones too")
def every_token(request: Request, caller: Owner) -> Response:
    now = time.time()
    with _store(request).reading(caller.organisation, now) as work:
        return json_answer([token_json(one, work.now) for one in tokens.every(work)])


@router.post("", status_code=201, response_model=MadeToken, summary="Make a token; its secret is shown this once")
def make_token(request: Request, body: NewToken, caller: Owner) -> Response:
    now = time.time()
    try:
        with _store(request).writing(caller.organisation, caller.who, now) as work:
            expires = None if body.days is None else work.now + body.days * _DAY
            token, secret = make(work, caller, body.name, Role(body.role), body.units, expires)
    except NotAllowed as error:
        raise forbidden(f"Not allowed: {error}.") from error
    except BadToken as error:
        raise Refusal(422, "Token refused", f"The token can't be made: {error}.") from error
    except NameTaken as error:
        detail = f"A token is or was called '{error}'. The record names tokens, so each needs a name of its own."
        raise Refusal(409, "Name taken", detail) from error
    answer = json_answer({**token_json(token, now), "secret": secret})
    answer.status_code = 201
    answer.headers.update({**_PRIVATE, "Location": f"/tokens/{token.id}"})
    return answer


@router.delete("/{token}", response_model=TokenLine, summary="Revoke a token; it stops at once")
def revoke_token(
    request: Request,
    token: Annotated[str, Path(description="id of a token in GET /tokens")],
    caller: Owner,
    force: Annotated[bool, Query(description="also the last owner's token")] = False,
) -> Response:
    now = time.time()
    identity: Identity = request.app.state.identity
    try:
        with _store(request).writing(caller.organisation, caller.who, now) as work:
            ended = revoke(work, caller, token, force)
    except NotAllowed as error:
        raise forbidden(f"Not allowed: {error}.") from error
    except NoSuchToken as error:
        raise Refusal(404, "Not found", "There is no such token.") from error
    except LastOwner as error:
        raise Refusal(409, "Last owner", f"The token was not revoked: {error}") from error
    finally:
        identity.forget()
    return json_answer(token_json(ended, now))


def token_json(token: Token, now: float) -> dict[str, Any]:
    """A token without its secret as plain values."""
    return {
        "id": token.id,
        "name": token.name,
        "role": token.role,
        "units": list(token.units),
        "created": _moment(token.created),
        "created_by": token.created_by,
        "expires": _moment(token.expires),
        "revoked": _moment(token.revoked),
        "live": token.live(now),
    }


def _moment(at: float | None) -> str | None:
    if at is None:
        return None
    return datetime.fromtimestamp(at, UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _store(request: Request) -> Store:
    found: Store = request.app.state.store  # there is one wherever there is a caller
    return found
