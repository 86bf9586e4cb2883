"""/tokens: who may do what. For owners only."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import BaseModel, Field

from api.errors import Refusal
from api.identity.caller import Caller, forbidden, needs
from api.identity.rights import Right, Role
from api.identity.tokens import BadToken, LastOwner, NotAllowed, make, revoke
from api.record_models import PageOf, Sent
from api.record_wire import moment
from api.routes.desk import Answer, Body, desk_of, page, parsed, taking, write
from api.routes.state import json_answer
from api.store import tokens
from api.store.database import Work
from api.store.tokens import NameTaken, NoSuchToken, Token

router = APIRouter(prefix="/tokens", tags=["tokens"])

USUAL_DAYS = 365.0
_DAY = 86400.0

Owner = Annotated[Caller, Depends(needs(Right.ADMINISTER))]


class TokenSent(Sent):
    """A token to be made."""

    name: str = Field(min_length=1, max_length=80, description="who or what carries it, as the record will name them")
    role: Literal["reader", "recorder", "mechanic", "approver", "author", "owner"]
    units: list[str] = Field(default=[], max_length=200, description="the only units it is for; none for all")
    days: float | None = Field(
        USUAL_DAYS, gt=0, le=3660, allow_inf_nan=False, description="days after which it expires; null for never"
    )


class TokenAnswer(BaseModel):
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


class MadeToken(TokenAnswer):
    """A new token. Its secret is shown this once and kept nowhere."""

    secret: str


@router.get("", response_model=PageOf[TokenAnswer], summary="Every token, revoked and expired ones too")
def list_tokens(request: Request, caller: Owner) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        lines = [token_json(one, work.now) for one in tokens.every(work)]
    return page(request, lines, len(lines), None)


@router.post(
    "",
    status_code=201,
    response_model=MadeToken,
    summary="Make a token; its secret is shown this once",
    description="A name is given once for ever, so that a request that is sent twice makes one token. An "
    "Idempotency-Key has no effect here: the answer holds a secret, and is kept nowhere.",
    openapi_extra=taking(TokenSent),
)
def make_token(request: Request, caller: Owner, body: Body) -> Response:
    sent = parsed(TokenSent, body)
    desk = desk_of(request)
    try:
        with desk.store.writing(caller.organisation, caller.who, desk.clock()) as work:
            expires = None if sent.days is None else work.now + sent.days * _DAY
            token, secret = make(work, caller, sent.name, Role(sent.role), sent.units, expires)
    except NotAllowed as error:
        raise forbidden(f"Not allowed: {error}.") from error
    except BadToken as error:
        raise Refusal(422, "Token refused", f"The token can't be made: {error}.") from error
    except NameTaken as error:
        detail = f"A token is or was called '{error}'. The record names tokens, so each needs a name of its own."
        raise Refusal(409, "Name taken", detail) from error
    answer = json_answer({**token_json(token, token.created), "secret": secret})
    answer.status_code = 201
    answer.headers.update({"Cache-Control": "no-store", "Location": f"/tokens/{token.id}"})
    return answer


@router.delete("/{token}", response_model=TokenAnswer, summary="Revoke a token; it stops at once")
def revoke_token(
    request: Request,
    token: Annotated[str, Path(pattern=r"^[0-9a-f]{16}$", examples=["5f0c1d2e3a4b5c6d"])],
    caller: Owner,
    force: Annotated[bool, Query(description="also the last owner's token")] = False,
) -> Response:
    def work_out(work: Work) -> Answer:
        try:
            ended = revoke(work, caller, token, force)
        except NotAllowed as error:
            raise forbidden(f"Not allowed: {error}.") from error
        except NoSuchToken as error:
            raise Refusal(404, "No such token", f"There is no token {token}.") from error
        except LastOwner as error:
            raise Refusal(409, "Last owner", f"The token was not revoked: {error}") from error
        return Answer(200, token_json(ended, work.now))

    identity = desk_of(request).identity
    answer = write(request, caller, b"", work_out)
    identity.forget()
    return answer


def token_json(token: Token, now: float) -> dict[str, Any]:
    """A token without its secret as plain values."""
    return {
        "id": token.id,
        "name": token.name,
        "role": token.role,
        "units": list(token.units),
        "created": moment(token.created),
        "created_by": token.created_by,
        "expires": moment(token.expires),
        "revoked": moment(token.revoked),
        "live": token.live(now),
    }
