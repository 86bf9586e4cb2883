"""/rulebooks: an organisation's own, from a candidate to what judges"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from api.errors import Refusal, problem_of
from api.identity.caller import Caller, needs
from api.identity.rights import Right
from api.routes.desk import Answer, Before, Body, Most, desk_of, page, parsed, same_edition, tag, taking, write
from api.routes.state import json_answer
from api.rulebook_models import (
    Activated,
    EffectAnswer,
    EffectSent,
    Files,
    InForceAnswer,
    InForceSent,
    KeyAnswer,
    KeySent,
    ReplayAnswer,
    RulebookSent,
    RulesAnswer,
    Version,
    Versions,
)
from api.rulebook_wire import replay_json, rules_json, version_json
from api.service import replay, rulebooks
from api.service.in_force import SHIPPED, NoSuchRulebook, Unreadable, checked_layers
from api.store import organisations
from api.store import rulebooks as rows
from api.store.database import Work
from audit.nouns.clearance import Effect
from audit.nouns.problem import BadInput

router = APIRouter(prefix="/rulebooks", tags=["rulebooks"])

REFUSED = "urn:setup-audit:problem:rulebook-refused"
"""Type of a rulebook that was read and refused; its ``problems`` say what and where."""

Reader = Annotated[Caller, Depends(needs(Right.READ))]
Author = Annotated[Caller, Depends(needs(Right.AUTHOR))]
Owner = Annotated[Caller, Depends(needs(Right.ADMINISTER))]
Digest = Annotated[str, Path(pattern=r"^([0-9a-f]{64}|shipped)$", description="of a version, or 'shipped'")]
RuleId = Annotated[str, Path(max_length=120, examples=["slat-loose"])]


@router.get("", response_model=Versions, summary="Every rulebook on record, the last one first")
def list_versions(
    request: Request,
    caller: Reader,
    before: Before = None,
    most: Most = 50,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found, digest = rows.page(work, before, most), desk.in_force.digest(work)
    next = {"before": found[-1].number} if found else None
    return page(request, [version_json(row, digest) for row in found], most, next)


@router.post(
    "",
    status_code=201,
    response_model=Version,
    responses={200: {"description": "it was on record already", "model": Version}},
    summary="Put a candidate on record; it judges nothing yet",
    description="The files are laid over those that came with the program, read whole, and every rule's own cases are "
    "run; all problems are told at once.",
    openapi_extra=taking(RulebookSent),
)
def add(request: Request, caller: Author, body: Body) -> Response:
    sent = parsed(RulebookSent, body)
    desk = desk_of(request)
    read: list[rulebooks.Candidate] = []

    def prepare() -> None:
        read[:] = [rulebooks.read_candidate(desk.in_force.shipped, sent.files)]

    def work_out(work: Work) -> Answer:
        if not read:
            prepare()
        row, new = rulebooks.add(work, desk.in_force, read[0], sent.note, sent.signature)
        content = version_json(row, desk.in_force.digest(work))
        return Answer(201 if new else 200, content, {"Location": f"/rulebooks/{row.digest}"})

    try:
        with refusals():
            return write(request, caller, body, work_out, prepare)
    except BadInput as error:
        return problem_of(error, 422, "Rulebook refused", REFUSED)


@router.get("/in-force", response_model=InForceAnswer, summary="What judges now")
def in_force(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        digest = desk.in_force.digest(work)
        answer = json_answer({"digest": digest, "follows_shipped": not rows.chosen(work)})
    answer.headers["ETag"] = tag(digest)
    return answer


@router.put(
    "/in-force",
    response_model=Activated,
    summary="Let a version judge from now on, wholly or not at all",
    description="Starts that it would not clear are revoked at once. Replay it first; with If-Match, the ETag of what "
    "is in force, it is done only if that is still what the replay compared with.",
    openapi_extra=taking(InForceSent),
)
def activate(request: Request, caller: Author, body: Body) -> Response:
    sent = parsed(InForceSent, body)
    desk = desk_of(request)

    def prepare() -> None:
        rulebooks.prepare(desk.in_force, desk.gate, caller.organisation, sent.digest)

    def work_out(work: Work) -> Answer:
        if "if-match" in request.headers:
            same_edition(request, tag(desk.in_force.digest(work)))
        row, gone = rulebooks.activate(work, desk.in_force, desk.gate, sent.digest)
        revoked = [start.id for start in gone]
        return Answer(200, {**version_json(row, desk.in_force.digest(work)), "revoked_starts": revoked})

    try:
        with of_version():
            return write(request, caller, body, work_out, prepare)
    except BadInput as error:
        return problem_of(error, 409, "Rulebook refused", REFUSED)


@router.get(
    "/in-force/rules",
    response_model=RulesAnswer,
    summary="The rules in force: what each does if broken, and how often it is, rules on trial included",
)
def rules_in_force(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    desk.in_force.prepare(caller.organisation)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = replay.fleet(work, desk.in_force, caller.sees)
        return json_answer(rules_json(desk.in_force.rulebook(work), organisations.read(work).effects, found))


@router.put(
    "/in-force/rules/{rule}",
    response_model=EffectAnswer,
    summary="What a rule does if it is broken; danger to people always holds a start",
    openapi_extra=taking(EffectSent),
)
def set_effect(request: Request, caller: Owner, rule: RuleId, body: Body) -> Response:
    sent = parsed(EffectSent, body)
    desk = desk_of(request)

    def prepare() -> None:
        desk.in_force.prepare(caller.organisation)

    def work_out(work: Work) -> Answer:
        gone = rulebooks.set_effect(work, desk.in_force, desk.gate, rule, Effect(sent.effect))
        return Answer(200, {"rule": rule, "effect": sent.effect, "revoked_starts": [start.id for start in gone]})

    with refusals():
        return write(request, caller, body, work_out, prepare)


@router.get("/key", response_model=KeyAnswer, summary="The key that must sign what goes in force")
def key(request: Request, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        return json_answer({"key": rulebooks.key_in_use(work)})


@router.put(
    "/key",
    response_model=KeyAnswer,
    summary="From now on nothing goes in force that this key has not signed",
    description="What is in force stays so. What is signed is the UTF-8 text `combine setup audit rulebook <digest>`.",
    openapi_extra=taking(KeySent),
)
def set_key(request: Request, caller: Owner, body: Body) -> Response:
    sent = parsed(KeySent, body)
    return _change_key(request, caller, body, {"kty": sent.kty, "crv": sent.crv, "x": sent.x})


@router.delete("/key", response_model=KeyAnswer, summary="Ask for no signature any more")
def remove_key(request: Request, caller: Owner) -> Response:
    return _change_key(request, caller, b"", None)


@router.get("/{digest}", response_model=Version, summary="One rulebook on record")
def one_version(request: Request, digest: Digest, caller: Reader) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work, refusals():
        now = desk.in_force.digest(work)
        row = rows.find(work, desk.in_force.shipped.rulebook.digest if digest == SHIPPED else digest)
        if row is None:
            raise NoSuchRulebook(digest)
        return json_answer(version_json(row, now))


@router.get("/{digest}/files", response_model=Files, summary="All of its files, as they judged")
def files(request: Request, digest: Digest, caller: Reader) -> Response:
    desk = desk_of(request)
    shipped = desk.in_force.shipped
    with desk.store.reading(caller.organisation, desk.clock()) as work, of_version():
        own = digest in (SHIPPED, shipped.rulebook.digest)
        layers = shipped.layers if own else checked_layers(work, digest)
    found: dict[str, dict[str, str]] = {"shipped": {}, "site": {}}
    for layer in layers:
        texts = found["site" if layer.name == rulebooks.SITE else "shipped"]
        texts.update({name: text.decode() for name, text in layer.files.items()})
    return json_answer(found)


@router.post(
    "/{digest}/replay",
    response_model=ReplayAnswer,
    summary="What it would say of the fleet: who would be newly held or cleared, and by which rule",
    description="Judges the newest setup of every unit by it and by the rulebook in force. Nothing is written.",
)
def replay_version(
    request: Request,
    digest: Digest,
    caller: Author,
    most: Annotated[int, Query(ge=1, le=replay.MOST_LISTED, description="most units that are listed")] = 100,
) -> Response:
    desk = desk_of(request)
    with of_version():
        desk.in_force.prepare(caller.organisation, digest)
        with desk.store.reading(caller.organisation, desk.clock()) as work:
            return json_answer(replay_json(replay.replay(work, desk.in_force, digest, most)))


def _change_key(request: Request, caller: Caller, body: bytes, jwk: dict[str, Any] | None) -> Response:
    desk = desk_of(request)

    def work_out(work: Work) -> Answer:
        return Answer(200, {"key": rulebooks.set_key(work, desk.in_force, jwk)})

    with refusals():
        return write(request, caller, body, work_out)


@contextmanager
def refusals() -> Iterator[None]:
    """Makes refusals of what the service refuses."""
    try:
        yield
    except NoSuchRulebook as error:
        raise Refusal(404, "No such rulebook", f"There is no rulebook {str(error)[:64]} on record.") from None
    except rulebooks.NotSigned as error:
        raise Refusal(409, "Not signed", f"Nothing was changed: {error}.") from None
    except (rulebooks.BadNote, rulebooks.BadKey) as error:
        raise Refusal(422, "Request refused", f"{error}.") from None
    except rulebooks.NoSuchRule as error:
        raise Refusal(404, "No such rule", str(error)) from None
    except rulebooks.NotLowered as error:
        raise Refusal(409, "Not lowered", f"{error}.") from None


@contextmanager
def of_version() -> Iterator[None]:
    """The same for what is asked of one version: that it can't be read is no trouble of the whole service."""
    try:
        with refusals():
            yield
    except Unreadable as error:
        raise Refusal(409, "Unreadable", f"Nothing was changed: {error}") from error
