"""What routes of the service of record share: the caller, transactions, requests sent twice, editions, pages."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import Depends, FastAPI, Query, Request, Response
from pydantic import BaseModel, ValidationError

from api.certificates.keys import WrongSecret
from api.certificates.secret import NoSecret
from api.errors import Problem, Refusal
from api.identity.caller import Caller
from api.routes.audits import read_body
from api.routes.state import tagged
from api.service.desk import Desk
from api.service.in_force import Unreadable
from api.service.recording import Moved, NoSuchUnit, OtherMachine
from api.store import replies
from api.store.database import Work
from audit.intake.json_text import parse_json
from audit.intake.tree import Problems
from audit.nouns.problem import BadInput

Shape = TypeVar("Shape", bound=BaseModel)

MOST_TRIES = 5
"""How often a request is worked out again because what it stood on changed meanwhile."""
_KEY = re.compile(r'"?[\x21\x23-\x7e]{1,200}"?')

Body = Annotated[bytes, Depends(read_body)]
Before = Annotated[int | None, Query(ge=1, le=2**31, description="number of the last one seen")]
Most = Annotated[int, Query(ge=1, le=500, description="most lines of a page")]


@dataclass(frozen=True, slots=True)
class Answer:
    """What is answered once it is written."""

    status: int
    content: Any
    headers: Mapping[str, str] = field(default_factory=dict)


def desk_of(request: Request) -> Desk:
    """The service's own things. Raises Refusal (404) where this server keeps no record."""
    found: Desk | None = request.app.state.desk
    if found is None:
        raise Refusal(404, "No record", "This server only audits; it was started without a store.")
    return found


def add_refusals(app: FastAPI) -> None:
    """Make problems of what the service of record refuses."""

    @app.exception_handler(NoSuchUnit)
    async def no_unit(_: Request, error: NoSuchUnit) -> Problem:
        return Problem(404, "No such unit", f"There is no unit {error}.")

    @app.exception_handler(OtherMachine)
    async def other(_: Request, error: OtherMachine) -> Problem:
        return Problem(409, "Another machine", f"Not recorded: {error}")

    async def unusable(request: Request, error: Exception) -> Problem:
        request.state.trouble = str(error)
        return Problem(503, "Can't decide", "Something this server needs is not as it must be; nothing was written.")

    for trouble in (Unreadable, NoSecret, WrongSecret):
        app.add_exception_handler(trouble, unusable)


def write(
    request: Request,
    caller: Caller,
    body: bytes,
    work_out: Callable[[Work], Answer],
    prepare: Callable[[], None] | None = None,
) -> Response:
    """Does something once, in one transaction with its answer where the request carries an Idempotency-Key.

    Args:
        prepare: what can be worked out before the transaction; done again if ``work_out`` raises Moved.
    """
    desk = desk_of(request)
    key = _key(request)
    mark = sha256(f"{request.method} {request.url.path}?{request.url.query}\n".encode() + body).hexdigest()
    for _ in range(MOST_TRIES):
        if prepare is not None and not (key and _known(desk, caller, key)):
            prepare()
        try:
            with desk.store.writing(caller.organisation, caller.who, desk.clock()) as work:
                before = replies.find(work, caller.who, key) if key else None
                if before is not None:
                    if before.fingerprint != mark:
                        raise Refusal(422, "Key used before", "This Idempotency-Key came with another request before.")
                    return Response(before.body, before.status, before.headers)
                answer = work_out(work)
                sent = _encoded(answer.content)
                headers = {"Content-Type": _media(answer.status), **answer.headers}
                if key:
                    replies.keep(work, caller.who, key, replies.Reply(mark, answer.status, headers, sent))
        except Moved:
            continue
        return Response(sent, answer.status, headers)
    raise Refusal(503, "Try again", "What this stands on kept changing; nothing was written.")


def parsed(shape: type[Shape], body: bytes) -> Shape:
    """A small body of a known shape; every problem at once. Raises BadInput for what is no JSON, Refusal (422)."""
    problems = Problems()
    tree = parse_json(body, "", problems)
    if tree is None or problems:
        raise BadInput(problems.found)
    try:
        return shape.model_validate(tree.plain())
    except ValidationError as error:
        said = [f"{'/'.join(map(str, one['loc'])) or 'body'}: {one['msg']}" for one in error.errors()[:20]]
        raise Refusal(422, "Request refused", "; ".join(said)) from None


def taking(shape: type[BaseModel]) -> dict[str, Any]:
    """What the OpenAPI document says of a body that is read by ``parsed``."""
    schema = shape.model_json_schema(ref_template="#/components/schemas/{model}")
    schema.pop("$defs", None)
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


def unit_seen(caller: Caller, id: str) -> str:
    """The unit's id, if the caller may see it. Raises NoSuchUnit, as for one that does not exist."""
    if not caller.sees(id):
        raise NoSuchUnit(id)
    return id


def tag(*parts: object) -> str:
    """A strong ETag."""
    return '"' + "-".join(str(part) for part in parts) + '"'


def same_edition(request: Request, found: str) -> None:
    """Refuses to change what the caller has not seen: 428 without If-Match, 412 with another edition's."""
    sent = request.headers.get("if-match")
    if sent is None:
        raise Refusal(428, "Which edition?", f"Send If-Match with the ETag that you last saw; it is {found} now.")
    if sent.strip() != "*" and found not in [one.strip() for one in sent.split(",")]:
        raise Refusal(412, "Changed meanwhile", f"It is {found} now; read it again, and decide anew.")


def page(request: Request, lines: Sequence[Any], most: int, next: Mapping[str, object] | None, **more: Any) -> Response:
    """A page of a list, with a link to the next in body and header (RFC 8288)."""
    headers = {"Content-Type": "application/json"}
    link = None
    if next is not None and len(lines) == most:
        query = {**dict(request.query_params), **{name: str(value) for name, value in next.items()}}
        link = f"{request.url.path}?{urlencode(query)}"
        headers["Link"] = f'<{link}>; rel="next"'
    return Response(_encoded({"items": list(lines), "next": link, **more}), headers=headers)


def answered(request: Request, content: Any, etag: str) -> Response:
    """An answer with its edition; 304 where the caller has it already."""
    return tagged(request, lambda: _encoded(content), etag, "private, no-cache")


def _key(request: Request) -> str:
    """The Idempotency-Key, '' for none. Raises Refusal (400)."""
    found = request.headers.get("idempotency-key")
    if found is None:
        return ""
    if not _KEY.fullmatch(found):
        raise Refusal(400, "Bad Idempotency-Key", "Send 1 to 200 printable ASCII characters without spaces.")
    return found.strip('"')


def _known(desk: Desk, caller: Caller, key: str) -> bool:
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        return replies.find(work, caller.who, key) is not None


def _media(status: int) -> str:
    return "application/problem+json" if status >= 400 else "application/json"


def _encoded(content: Any) -> bytes:
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")
