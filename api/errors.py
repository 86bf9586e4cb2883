"""Errors as RFC 9457 problem details."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.routing import Match
from starlette.types import Receive, Scope, Send

from api.store.database import NoSuchOrganisation, StoreUnavailable
from api.wire import problem_json
from audit.nouns.problem import BadInput
from audit.nouns.problem import Problem as InputProblem

MEDIA = "application/problem+json"
ABOUT = "about:blank"
REFUSED = "urn:setup-audit:problem:setup-refused"
"""Type of a setup that was read and refused; its ``problems`` say what and where."""
NOT_JSON = "urn:setup-audit:problem:not-json"
"""Type of a body that could not be read as JSON at all."""
NOT_NOW = "urn:setup-audit:problem:store-unavailable"
"""Type of an answer that needed the store while it could not be used."""
NOT_READY = "urn:setup-audit:problem:not-ready"
"""Type of a server to which nothing should be sent now."""
TRY_AGAIN = 5
"""Seconds after which a client that met a store out of order may ask again."""
FAILED = "The request failed. Look at the server's log."
"""What is said of an error of ours."""
INSTANCE = "urn:setup-audit:request:"
"""Before the id of a request, where a problem names the one that it answers."""
MOST_PROBLEMS = 100
"""Most problems that one answer lists: a body of nothing but mistakes must not be answered by a larger one."""
MOST_TEXT = 1000
"""Most characters of a message that is sent back; names out of the body are part of it."""


class Problem(JSONResponse):
    """A problem document. Which request it answers is its ``instance``, where the request has an id."""

    media_type = MEDIA

    def __init__(self, status: int, title: str, detail: str, kind: str = ABOUT, **further: Any) -> None:
        self.content = {"type": kind, "title": title, "status": status, "detail": detail, **further}
        super().__init__(self.content, status_code=status)

    def render(self, content: Any) -> bytes:
        """JSON in UTF-8. Half a surrogate pair, which a body may smuggle in by an escape, becomes '?'."""
        return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Sends it in the reader's language; whoever made it need not know of that, nor of the request's id."""
        content = dict(self.content)
        if in_words := getattr(getattr(scope.get("app"), "state", None), "problem_for", None):  # the pages put it there
            language, content = await in_words(Request(scope), content)
            self.headers.update({"content-language": language, "vary": "Cookie, Accept-Language"})
        if request := scope.get("state", {}).get("request_id"):
            content["instance"] = INSTANCE + request
        self.body = self.render(content)
        self.headers["content-length"] = str(len(self.body))
        await super().__call__(scope, receive, send)


class Refusal(Exception):
    """An error to be answered with a status, a title and a detail."""

    def __init__(self, status: int, title: str, detail: str) -> None:
        super().__init__(detail)
        self.status, self.title, self.detail = status, title, detail


def add_handlers(app: FastAPI) -> None:
    """Make every error of an app a problem document."""

    @app.exception_handler(BadInput)
    async def refused(_: Request, error: BadInput) -> Problem:
        malformed = any(_is_malformed(problem) for problem in error.problems)
        return problem_of(error, *((400, "Not JSON", NOT_JSON) if malformed else (422, "Setup refused", REFUSED)))

    @app.exception_handler(Refusal)
    async def refusal(_: Request, error: Refusal) -> Problem:
        return Problem(error.status, error.title, error.detail)

    @app.exception_handler(RequestValidationError)
    async def invalid(_: Request, error: RequestValidationError) -> Problem:
        first = error.errors()[0]
        place = "/".join(str(part) for part in first["loc"])
        return Problem(422, "Request refused", f"{place}: {first['msg']}")

    @app.exception_handler(HTTPException)
    async def plain(request: Request, error: HTTPException) -> Problem:
        answer = Problem(error.status_code, HTTPStatus(error.status_code).phrase, str(error.detail))
        answer.headers.update(error.headers or {})
        if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            answer.headers["allow"] = ", ".join(_methods(request))
        return answer

    @app.exception_handler(StoreUnavailable)
    async def not_now(request: Request, error: StoreUnavailable) -> Problem:
        request.state.trouble = str(error)  # for the log; a driver's own words are not for strangers
        detail = "The store can't be used just now. Ask again a little later, with the same Idempotency-Key."
        answer = Problem(503, "Store unavailable", detail, NOT_NOW)
        answer.headers["retry-after"] = str(TRY_AGAIN)
        return answer

    @app.exception_handler(NoSuchOrganisation)
    async def nowhere(_: Request, __: NoSuchOrganisation) -> Problem:
        return Problem(404, "Not found", "There is no such organisation.")

    @app.exception_handler(Exception)
    async def unexpected(_: Request, __: Exception) -> Problem:
        return Problem(500, "Internal error", FAILED)


def problem_of(error: BadInput, status: int, title: str, kind: str) -> Problem:
    """What was refused, with every problem as far as one answer lists them."""
    problems = [_short(problem_json(problem)) for problem in error.problems[:MOST_PROBLEMS]]
    first, count = str(error.problems[0])[:MOST_TEXT], len(error.problems)
    more = f" And {count - 1} more." if count > 1 else ""
    cut = f" The first {MOST_PROBLEMS} are listed." if count > MOST_PROBLEMS else ""
    return Problem(status, title, first + more + cut, kind, problems=problems)


def _methods(request: Request) -> list[str]:
    """Every method that a path is there for; the router itself names those of the first route only."""
    found: set[str] = set()
    for method in ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT"):
        scope = {**request.scope, "method": method}
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.routes):
            found.add(method)
    return sorted(found)


def _is_malformed(problem: InputProblem) -> bool:
    """Whether the text as a whole could not be read. Words out of the body stand only behind a path or other words."""
    return not problem.place.path and problem.message.startswith(("is not JSON", "is not UTF-8"))


def _short(plain: dict[str, Any]) -> dict[str, Any]:
    return {key: value[:MOST_TEXT] if isinstance(value, str) else value for key, value in plain.items()}
