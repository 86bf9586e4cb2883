"""/organisation: the caller's own, with its terms for a start."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, Field

from api.errors import Refusal
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.identity.terms import MOST_DAYS, MOST_HOURS, MOST_VALID
from api.record_models import Sent
from api.routes.desk import Answer, Body, answered, desk_of, parsed, same_edition, tag, taking, write
from api.service.rulebooks import NoSuchRule, NotLowered, check_effects
from api.store import organisations
from api.store.database import Work
from api.store.organisations import Organisation
from audit.nouns.clearance import Effect, Terms
from audit.nouns.risk import Level

router = APIRouter(prefix="/organisation", tags=["organisation"])


class TermsSent(Sent):
    """When a start is held, whatever else is found."""

    hold_at: Literal["high", "serious", "medium", "low"] = Field(description="lowest risk level that holds a start")
    most_hours: float = Field(gt=0, le=MOST_HOURS, description="engine hours after which a new setup is needed, h")
    most_days: float = Field(gt=0, le=MOST_DAYS, description="days after which a new setup is needed")
    valid_for: float = Field(gt=0, le=MOST_VALID, description="how long a cleared start's certificate is good, h")


Effects = Annotated[
    dict[str, Literal["shown", "warned", "holds"]],
    Field(description="by rule, what a broken one does; others hold, and danger to people always does"),
]


class OrganisationSent(Sent):
    """What an owner sets."""

    terms: TermsSent
    effects: Effects


class OrganisationAnswer(BaseModel):
    """An organisation."""

    id: str
    name: str
    terms: TermsSent
    effects: Effects


class ChangedOrganisation(OrganisationAnswer):
    """The organisation as it is now."""

    revoked_starts: list[str] = Field(description="ids of good starts that would not be cleared by these terms")


@router.get(
    "", response_model=OrganisationAnswer, summary="The caller's organisation, its terms and what broken rules do"
)
def organisation(request: Request, caller: Annotated[Caller, Depends(needs(Right.READ))]) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = organisations.read(work)
    return answered(request, organisation_json(found), _tag(found))


@router.put(
    "",
    response_model=ChangedOrganisation,
    summary="Set the terms for a start, and what broken rules do",
    description="Needs the ETag last seen as If-Match. Certificates that would not be given by the new terms are "
    "revoked at once.",
    openapi_extra=taking(OrganisationSent),
)
def set_organisation(
    request: Request, caller: Annotated[Caller, Depends(needs(Right.ADMINISTER))], body: Body
) -> Response:
    sent = parsed(OrganisationSent, body)
    desk = desk_of(request)
    level = Level[sent.terms.hold_at.upper()]
    terms = Terms(level, sent.terms.most_hours, sent.terms.most_days, sent.terms.valid_for)
    effects = {rule: Effect(effect) for rule, effect in sent.effects.items()}

    def work_out(work: Work) -> Answer:
        before = organisations.read(work)
        same_edition(request, _tag(before))
        try:
            check_effects(desk.in_force.rulebook(work), effects, before.effects)
        except (NoSuchRule, NotLowered) as error:
            raise Refusal(422, "Terms refused", str(error)) from error
        after = organisations.set_terms(work, terms, effects)
        gone = [start.id for start in desk.gate.recheck(work)]
        return Answer(200, {**organisation_json(after), "revoked_starts": gone}, {"ETag": _tag(after)})

    return write(request, caller, body, work_out)


def organisation_json(found: Organisation) -> dict[str, Any]:
    """An organisation as plain values."""
    return {"id": found.id, "name": found.name, **organisations.set_by_owner(found.terms, found.effects)}


def _tag(found: Organisation) -> str:
    return tag(found.edition[:32])
