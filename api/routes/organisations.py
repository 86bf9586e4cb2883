"""/organisation: the caller's own, with its terms for a start."""

from __future__ import annotations

import time
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Header, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.errors import Refusal
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.identity.terms import MOST_DAYS, MOST_HOURS, MOST_VALID, BadTerms, check_terms
from api.routes.state import json_answer
from api.service.gate import Gate
from api.store import organisations
from api.store.database import Store
from api.store.organisations import Organisation
from audit.nouns.clearance import Effect, Terms
from audit.nouns.risk import Level

router = APIRouter(prefix="/organisation", tags=["organisation"])

Tag = {"ETag": {"description": "changes with terms and effects", "schema": {"type": "string"}}}


class TermsLine(BaseModel):
    """When a start is held whatever else is found."""

    model_config = ConfigDict(extra="forbid", strict=True)

    hold_at: Literal["high", "serious", "medium", "low"] = Field(description="lowest risk level that holds a start")
    most_hours: float = Field(gt=0, le=MOST_HOURS, description="engine hours after which a new setup is needed, h")
    most_days: float = Field(gt=0, le=MOST_DAYS, description="days after which a new setup is needed")
    valid_for: float = Field(gt=0, le=MOST_VALID, description="how long a cleared start's certificate is good, h")


class OwnerSets(BaseModel):
    """What an owner can set."""

    model_config = ConfigDict(extra="forbid", strict=True)

    terms: TermsLine
    effects: dict[str, Literal["shown", "warned", "holds"]] = Field(
        description="by rule, what a broken one does; a rule that is not here holds. Danger to people always holds."
    )


class OrganisationAnswer(OwnerSets):
    """An organisation."""

    id: str
    name: str


class Changed(OrganisationAnswer):
    """The organisation as it is now."""

    revoked_starts: list[str] = Field(description="certificates that were good, and would not be given by these terms")


@router.get(
    "",
    response_model=OrganisationAnswer,
    responses={200: {"headers": Tag}},
    summary="The organisation that the token is of, its terms for a start and what broken rules do",
)
def organisation(request: Request, caller: Annotated[Caller, Depends(needs(Right.READ))]) -> Response:
    with _store(request).reading(caller.organisation, time.time()) as work:
        return _answer(organisations.read(work))


@router.put(
    "",
    response_model=Changed,
    responses={200: {"headers": Tag}},
    summary="Set the terms for a start and what broken rules do",
    description="Takes the ETag of GET /organisation as If-Match, so that no change of another owner is lost. "
    "Certificates that would not be given by the new terms are revoked at once.",
)
def set_organisation(
    request: Request,
    body: OwnerSets,
    caller: Annotated[Caller, Depends(needs(Right.ADMINISTER))],
    if_match: Annotated[str | None, Header(description="ETag of what is to be changed")] = None,
) -> Response:
    gate: Gate = request.app.state.gate
    terms = Terms(Level[body.terms.hold_at.upper()], body.terms.most_hours, body.terms.most_days, body.terms.valid_for)
    effects = {rule: Effect(effect) for rule, effect in body.effects.items()}
    if if_match is None:
        raise Refusal(428, "ETag needed", "Send the ETag of GET /organisation as If-Match.")
    try:
        with _store(request).writing(caller.organisation, caller.who, time.time()) as work:
            if if_match.strip().removeprefix("W/") != _tag(organisations.read(work)):
                raise Refusal(412, "Changed meanwhile", "The organisation was changed since; read it again first.")
            check_terms(terms, effects, gate.in_force.auditor(work, terms.hold_at).rulebook.rules)
            after = organisations.set_terms(work, terms, effects)
            gone = gate.recheck(work)
    except BadTerms as error:
        raise Refusal(422, "Terms refused", str(error)) from error
    return _answer(after, revoked_starts=[start.id for start in gone])


def organisation_json(found: Organisation) -> dict[str, Any]:
    """An organisation as plain values."""
    return {"id": found.id, "name": found.name, **organisations.set_by_owner(found.terms, found.effects)}


def _answer(found: Organisation, **more: object) -> Response:
    answer = json_answer({**organisation_json(found), **more})
    answer.headers["ETag"] = _tag(found)
    return answer


def _tag(found: Organisation) -> str:
    return f'"{found.edition[:32]}"'


def _store(request: Request) -> Store:
    found: Store = request.app.state.store  # there is one wherever there is a caller
    return found
