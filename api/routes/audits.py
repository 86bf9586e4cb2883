"""POST /audits"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any, Literal
from weakref import WeakKeyDictionary

from fastapi import FastAPI, Query, Request, Response
from fastapi.params import Depends
from fastapi.routing import APIRoute
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect
from starlette.types import Receive, Scope, Send

from api.errors import Refusal
from api.identity.caller import caller_soon, must
from api.identity.rights import Right
from api.models import Audit
from api.report_bytes import ReportBytes
from api.routes.state import encode, engines_soon
from api.wire import report_json
from audit.auditor import Auditor
from audit.intake.json_text import MOST_BYTES
from audit.nouns.finding import Clearance
from audit.nouns.risk import Level

Answer = tuple[Clearance, bytes]
"""Whether a report holds a start, and the report as JSON."""
_writers: WeakKeyDictionary[Auditor, ReportBytes] = WeakKeyDictionary()

SMALL = 64 * 1024
"""Most bytes of a setup that may be audited while other requests wait."""
EXAMPLE = {
    "unit": {"id": "unit-07", "card": "axial-single", "serial": "KX-01822", "build_year": 2021, "engine_hours": 1841.5},
    "job": {
        "crop": "corn",
        "condition": "normal",
        "header": {"kind": "corn-head", "rows": 12, "row_spacing": "30 in", "width": "30 ft"},
        "ground_speed": "4.5 mph",
    },
    "taken": {"at": "2026-08-11T07:40:00Z", "by": "tech-03", "state": "as-found"},
    "settings": {"feeder.drum": {"left": "raised", "right": "lowered"}, "rotor.speed": "310 r/min"},
    "readings": {
        "feeder.sheave_gap": "5/32 in",
        "feeder.slowest_speed": {"value": 497, "unit": "r/min", "with": "hand tachometer"},
        "clean_elevator.chain_slides": True,
        "clean_elevator.chain_lifts": False,
    },
}

_VALUE = {"description": "as the card's schema says: GET /machine-cards/{card}/schema"}
_FREE = {"type": ["object", "null"], "additionalProperties": _VALUE}
SETUP = {
    "title": "Setup",
    "type": "object",
    "description": "What was found or left on one unit for one job. The card decides which keys there are.",
    "properties": {
        "unit": {
            "type": "object",
            "properties": {"id": {"type": "string", "minLength": 1}, "card": {"type": "string"}},
            "required": ["id", "card"],
        },
        "job": {"type": "object", "properties": {"crop": {"type": "string"}}, "required": ["crop"]},
        "taken": {"type": ["object", "null"]},
        "settings": _FREE,
        "readings": _FREE,
        "events": _FREE,
    },
    "required": ["unit", "job"],
    "additionalProperties": False,
    "examples": [EXAMPLE],
}


class StraightRoute(APIRoute):
    """A route whose usual requests go past FastAPI's reading of parameters, which takes as long as the audit.

    A request has none to read where it says nothing in its query; any other takes FastAPI's own way to the same
    function. Errors are answered by the app's handlers either way.
    """

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers a request."""
        if scope["method"] == "POST" and not scope["query_string"]:
            request = Request(scope, receive)
            if request.app.state.identity is not None:
                must(await caller_soon(request), Right.READ)
            answer = await audit(request)
            await answer(scope, receive, send)
        else:
            await super().handle(scope, receive, send)


def add_audits(app: FastAPI, dependencies: Sequence[Depends], responses: dict[int | str, dict[str, Any]]) -> None:
    """Put the route into an app itself: one in a router that is included is looked up twice."""
    app.router.add_api_route(
        "/audits",
        audit,
        methods=["POST"],
        tags=["audits"],
        response_model=Audit,
        summary="Audit one setup",
        description="Checks a setup against the rulebook and answers with the findings, ranked by risk of damage. "
        "Nothing is stored.",
        dependencies=dependencies,
        responses=responses,
        openapi_extra={
            "requestBody": {"required": True, "content": {"application/json": {"schema": SETUP, "example": EXAMPLE}}}
        },
        route_class_override=StraightRoute,
    )


async def audit(
    request: Request,
    facts: Annotated[bool, Query(description="also every computed fact with its trace")] = False,
    hold_at: Annotated[
        Literal["high", "serious", "medium", "low"] | None,
        Query(description="lowest level that holds; else the server's"),
    ] = None,
) -> Response:
    body = await read_body(request)
    level: Level = request.app.state.hold_at if hold_at is None else Level[hold_at.upper()]
    auditor = (await engines_soon(request)).auditor(level)
    answer = None if facts or len(body) > SMALL else _audit_at_once(auditor, body)
    if answer is None:
        answer = await run_in_threadpool(_audit, auditor, body, facts)
    clearance, encoded = answer
    request.app.state.meters.audited(clearance.value)
    return Response(encoded, media_type="application/json")


def _audit_at_once(auditor: Auditor, body: bytes) -> Answer | None:
    """The audit where it takes no longer than handing it to another thread and back, else None."""
    report = auditor.findings_at_once(body)
    return None if report is None else (report.clearance, _writer(auditor).report(report))


def _audit(auditor: Auditor, body: bytes, facts: bool) -> Answer:
    if facts:
        report = auditor.report(body, "")
        return report.clearance, encode(report_json(report, auditor.rulebook, with_facts=True))
    report = auditor.findings(body, "")
    return report.clearance, _writer(auditor).report(report)


def _writer(auditor: Auditor) -> ReportBytes:
    """What writes an auditor's reports; it goes when the auditor goes."""
    return _writers.get(auditor) or _writers.setdefault(auditor, ReportBytes(auditor.rulebook))


async def read_body(request: Request) -> bytes:
    """The body, refused as soon as it is known to be too large or of another kind."""
    kind = _said(request, b"content-type").partition(";")[0].strip().lower()
    if kind != "application/json" and not kind.endswith("+json"):
        raise Refusal(415, "Unsupported media type", f"'{kind[:60]}' is not JSON; send application/json.")
    return await bytes_of(request)


async def bytes_of(request: Request) -> bytes:
    """A small body of whatever kind, refused as soon as it is known to be too large. Raises as ``gathered`` does."""
    if (coding := _said(request, b"content-encoding", "identity").strip().lower()) != "identity":
        raise Refusal(415, "Unsupported media type", f"content coding '{coding[:60]}' is not undone; send it plain.")
    length = _said(request, b"content-length")
    # int() refuses thousands of digits; so many are too large whatever they say
    if length.isascii() and length.isdigit() and (len(length) > 18 or int(length) > MOST_BYTES):
        raise _too_large()
    return await gathered(request, MOST_BYTES, _too_large)


async def gathered(request: Request, most: int, too_large: Callable[[], Refusal]) -> bytes:
    """The whole body. Raises what ``too_large`` makes as soon as more bytes came than ``most``; ClientDisconnect.

    It takes the server's messages as they come: a tenth of an audit's time is saved by that.
    """
    parts: list[bytes] = []
    size, more = 0, True
    while more:
        message = await request.receive()
        if message["type"] == "http.disconnect":
            raise ClientDisconnect
        part, more = message.get("body", b""), message.get("more_body", False)
        size += len(part)
        if size > most:
            raise too_large()
        parts.append(part)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _said(request: Request, name: bytes, otherwise: str = "") -> str:
    """The first header of a name, ``otherwise`` where there is none."""
    for key, value in request.scope["headers"]:
        if key == name:
            said: str = value.decode("latin-1")
            return said
    return otherwise


def _too_large() -> Refusal:
    return Refusal(413, "Content too large", f"a body here may have at most {MOST_BYTES:,} bytes.")
