"""Who is who: questions of imports, identities of units, cards of types, and what machines say of themselves"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response

from api.errors import Refusal
from api.exchange.reading.nouns import ReadUnit
from api.import_models import (
    AnsweredAnswer,
    AnswerSent,
    FromMachineAnswer,
    IdentityAnswer,
    IdentitySent,
    QuestionAnswer,
    SplitAnswer,
    SplitSent,
    TypeCardAnswer,
)
from api.import_wire import (
    answered_json,
    fault_json,
    hours_json,
    identity_json,
    question_json,
    type_card_json,
    value_json,
)
from api.record_models import PageOf
from api.routes.desk import Answer, Body, Most, desk_of, page, parsed, taking, unit_seen, write
from api.routes.imports import of_whole_fleet, write_drawn
from api.routes.state import json_answer
from api.routes.units import Mechanic, Reader, UnitId
from api.service import identities as service
from api.service import import_answers
from api.service.draft import Draft
from api.service.import_answers import BadAnswer, NoSuchQuestion
from api.service.prefilling import settings_for
from api.service.recording import unit_named
from api.store import identities, import_questions, machine_words, type_cards
from api.store.database import Work
from audit.nouns.rulebook import Rulebook

router = APIRouter(tags=["from farm systems"])

MOST_HOURS, MOST_FAULTS = 200, 200
QuestionId = Annotated[str, Path(pattern=r"^question-[0-9a-f]{16}$", examples=["question-5a1c9e0f2b7d4433"])]
IdentityId = Annotated[str, Path(pattern=r"^identity-[0-9a-f]{16}$", examples=["identity-5a1c9e0f2b7d4433"])]


@router.get(
    "/import-questions", response_model=PageOf[QuestionAnswer], summary="What imports could not decide; open ones"
)
def list_questions(
    request: Request,
    caller: Reader,
    after: Annotated[int, Query(ge=0, le=2**31, description="number of the last one seen")] = 0,
    every: Annotated[bool, Query(description="also those that are answered")] = False,
    most: Most = 100,
) -> Response:
    of_whole_fleet(caller)
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = import_questions.page(work, after, most, every)
    return page(request, [question_json(one) for one in found], most, {"after": found[-1].number} if found else None)


@router.post(
    "/import-questions/{id}/answer",
    response_model=AnsweredAnswer,
    summary="Answer a question; the rows that waited are put on record",
    openapi_extra=taking(AnswerSent),
)
def answer(request: Request, caller: Mechanic, id: QuestionId, body: Body) -> Response:
    of_whole_fleet(caller)
    says = parsed(AnswerSent, body).model_dump(exclude_none=True)
    desk = desk_of(request)

    def draw(draft: Draft, rulebook: Rulebook) -> Answer:
        try:
            return Answer(200, answered_json(import_answers.answer(draft, desk.gate, rulebook, id, says)))
        except NoSuchQuestion:
            raise Refusal(404, "No such question", f"There is no question {id}.") from None
        except BadAnswer as error:
            raise Refusal(409, "Not answered", f"Not answered: {error}.") from None

    return write_drawn(request, caller, body, draw)


@router.get(
    "/units/{unit}/identities", response_model=PageOf[IdentityAnswer], summary="By what a unit is known elsewhere"
)
def list_identities(
    request: Request,
    caller: Reader,
    unit: UnitId,
    every: Annotated[bool, Query(description="also those that were split off")] = False,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        unit_named(work, unit_seen(caller, unit))
        found = identities.of_unit(work, unit, every)
    return page(request, [identity_json(one) for one in found], len(found), None)


@router.post(
    "/units/{unit}/identities",
    status_code=201,
    response_model=PageOf[IdentityAnswer],
    summary="Say by what a unit is known elsewhere",
    openapi_extra=taking(IdentitySent),
)
def join(request: Request, caller: Mechanic, unit: UnitId, body: Body) -> Response:
    sent = parsed(IdentitySent, body).model_dump()
    source = sent.pop("source")

    def work_out(work: Work) -> Answer:
        row = unit_named(work, unit_seen(caller, unit))
        try:
            added = service.join(work, row, ReadUnit(place="", **sent), source)
        except service.NotTaken as error:
            raise Refusal(409, "Not taken", f"Not taken: {error}.") from None
        return Answer(201, {"items": [identity_json(one) for one in added], "next": None})

    return write(request, caller, body, work_out)


@router.post(
    "/units/{unit}/identities/{id}/split",
    response_model=SplitAnswer,
    summary="Take an identity from a unit, and give it to another",
    openapi_extra=taking(SplitSent),
)
def split(request: Request, caller: Mechanic, unit: UnitId, id: IdentityId, body: Body) -> Response:
    sent = parsed(SplitSent, body)

    def work_out(work: Work) -> Answer:
        row = unit_named(work, unit_seen(caller, unit))
        if sent.to:
            unit_seen(caller, sent.to)
        try:
            ended, begun = service.split(work, row, id, sent.to, sent.why)
        except service.NoSuchIdentity:
            raise Refusal(404, "No such identity", f"{unit} has no identity {id}.") from None
        except service.NotTaken as error:
            raise Refusal(409, "Not taken", f"Not split: {error}.") from None
        plain: dict[str, Any] = {"ended": identity_json(ended), "begun": identity_json(begun) if begun else None}
        return Answer(200, plain)

    return write(request, caller, body, work_out)


@router.get(
    "/units/{unit}/from-machine",
    response_model=FromMachineAnswer,
    summary="What machines and farm systems said of a unit: settings that nobody has looked at, hours, fault codes",
)
def from_machine(request: Request, caller: Reader, unit: UnitId) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        row = unit_named(work, unit_seen(caller, unit))
        rulebook = desk.in_force.rulebook(work)
        values = machine_words.values_of(work, unit)
        hours = machine_words.hours_of(work, unit, MOST_HOURS)
        faults = machine_words.faults_of(work, unit, MOST_FAULTS)
    plain = [value_json(one, settings_for(rulebook, row.card, one.quantity)) for one in values]
    return json_answer(
        {
            "unit": unit, "values": plain, "hours": [hours_json(one) for one in hours],
            "faults": [fault_json(one) for one in faults],
        }
    )  # fmt: skip


@router.get("/type-cards", response_model=PageOf[TypeCardAnswer], summary="Which card is used for a maker's type")
def list_type_cards(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = type_cards.every(work)
    return page(request, [type_card_json(one) for one in found], len(found), None)
