"""Errors as RFC 9457 problem details."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from api.wire import problem_json
from audit.nouns.problem import BadInput

MEDIA = "application/problem+json"
ABOUT = "about:blank"
REFUSED = "urn:setup-audit:problem:setup-refused"
"""Type of the one problem of ours: a setup that was read and refused; its ``problems`` say what and where."""


class Problem(JSONResponse):
    """A problem document."""

    media_type = MEDIA

    def __init__(self, status: int, title: str, detail: str, kind: str = ABOUT, **further: Any) -> None:
        body = {"type": kind, "title": title, "status": status, "detail": detail, **further}
        super().__init__(body, status_code=status)


class Refusal(Exception):
    """An error to be answered with a status, a title and a detail."""

    def __init__(self, status: int, title: str, detail: str) -> None:
        super().__init__(detail)
        self.status, self.title, self.detail = status, title, detail


def add_handlers(app: FastAPI) -> None:
    """Make every error of an app a problem document."""

    @app.exception_handler(BadInput)
    async def refused(_: Request, error: BadInput) -> Problem:
        problems = [problem_json(problem) for problem in error.problems]
        malformed = any(
            "is not JSON" in problem.message or "is not UTF-8" in problem.message for problem in error.problems
        )
        first = str(error.problems[0]) if error.problems else "the setup was refused"
        more = f" And {len(problems) - 1} more." if len(problems) > 1 else ""
        status, title = (400, "Not JSON") if malformed else (422, "Setup refused")
        return Problem(status, title, first + more, REFUSED, problems=problems)

    @app.exception_handler(Refusal)
    async def refusal(_: Request, error: Refusal) -> Problem:
        return Problem(error.status, error.title, error.detail)

    @app.exception_handler(RequestValidationError)
    async def invalid(_: Request, error: RequestValidationError) -> Problem:
        first = error.errors()[0]
        place = "/".join(str(part) for part in first["loc"])
        return Problem(422, "Request refused", f"{place}: {first['msg']}")

    @app.exception_handler(HTTPException)
    async def plain(_: Request, error: HTTPException) -> Problem:
        answer = Problem(error.status_code, str(error.detail), str(error.detail))
        answer.headers.update(error.headers or {})
        return answer

    @app.exception_handler(Exception)
    async def unexpected(_: Request, __: Exception) -> Problem:
        return Problem(500, "Internal error", "The audit failed; nothing was judged. Look at the server's log.")
