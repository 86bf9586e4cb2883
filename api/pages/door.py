"""Routes of pages: what a page refuses is a page too, and who is not signed on is led to sign on."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any, Literal
from urllib.parse import quote

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from fastapi.routing import APIRoute, APIRouter
from starlette.routing import Match
from starlette.types import Scope

from api.drawings.svg import in_words
from api.errors import FAILED, Refusal
from api.identity.browser import from_own_page
from api.identity.caller import AccessRefused, forbidden
from api.pages.telling import teller_of
from api.pages.view import HEADERS, page, view_of
from api.service.recording import Moved, NoSuchUnit, OtherMachine
from api.store.database import NoSuchOrganisation, StoreUnavailable
from audit.nouns.problem import BadInput, Problem

SIGN_IN = "/sign-in"


class PageRoute(APIRoute):
    """A route whose errors are pages."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """What FastAPI calls for a request."""
        answer = super().get_route_handler()

        async def answered(request: Request) -> Response:
            try:
                with in_words(teller_of(view_of(request)).drawn):
                    return await answer(request)
            except AccessRefused as error:
                if error.status == 401:
                    return _to_sign_in(request)
                return _refused(request, error.status, error.title, error.detail, error.headers)
            except Refusal as error:
                return _refused(request, error.status, error.title, error.detail)
            except BadInput as error:
                return page(request, "refused.html", 422, title="Not taken", problems=_told(request, error))
            except RequestValidationError as error:
                first = error.errors()[0]
                place = "/".join(str(part) for part in first["loc"])
                return _refused(request, 422, "Not taken", f"{place}: {first['msg']}")
            except NoSuchUnit as error:
                return _refused(request, 404, "No such unit", f"There is no unit {error}.")
            except OtherMachine as error:
                return _refused(request, 409, "Another machine", f"Not recorded: {error}")
            except Moved:
                return _refused(request, 503, "Try again", "What this stands on kept changing; nothing was written.")
            except NoSuchOrganisation:
                return _refused(request, 404, "Not found", "There is no such organisation.")
            except StoreUnavailable as error:
                request.state.trouble = str(error)
                detail = "The store can't be used just now. Try again a little later."
                return _refused(request, 503, "Store unavailable", detail, {"Retry-After": "5"})

        return answered


class PageBesideJson(PageRoute):
    """A page at an address that answers programs with JSON; it is there only for who asks for HTML."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """How well a request fits."""
        accepted = b",".join(value for name, value in scope.get("headers", ()) if name == b"accept")
        return super().matches(scope) if b"text/html" in accepted else (Match.NONE, {})


def pages_router(route: type[PageRoute] = PageRoute, **options: Any) -> APIRouter:
    """A router of pages; they are no part of the OpenAPI document."""
    return APIRouter(route_class=route, include_in_schema=False, **options)


def see(path: str) -> Response:
    """Sends a browser on after something was done."""
    return RedirectResponse(path, 303, {"Cache-Control": "no-store"})


def keep(
    request: Request, answer: Response, name: str, value: str, seconds: int, hidden: bool, returning: bool = False
) -> None:
    """Puts a cookie into an answer.

    Args:
        hidden: from scripts.
        returning: it is also sent when another site leads the browser back to us.
    """
    secure = request.url.scheme == "https"
    sent: Literal["lax", "strict"] = "lax" if returning else "strict"
    answer.set_cookie(name, value, max_age=seconds, path="/", secure=secure, httponly=hidden, samesite=sent)


def must_be_own(request: Request) -> None:
    """Raises AccessRefused (403) for a form of another site."""
    if not from_own_page(request):
        raise forbidden("This came from a page of another site. Open this server's own page, and do it there.")


def own_path(text: str) -> str:
    """A path of this server out of a request, '/' for anything else."""
    safe = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if safe else "/"


def _to_sign_in(request: Request) -> Response:
    back = request.url.path if request.method == "GET" else "/"
    if request.url.query and request.method == "GET":
        back += f"?{request.url.query}"
    where = f"{SIGN_IN}?next={quote(back, safe='')}"
    if "hx-request" in request.headers:  # a piece of a page can't be led away; the whole page is
        return Response(status_code=401, headers={**HEADERS, "HX-Redirect": where})
    return see(where)


def _told(request: Request, error: BadInput) -> list[Problem]:
    return teller_of(view_of(request)).problems(error.problems)


def _refused(request: Request, status: int, title: str, detail: str, headers: dict[str, str] | None = None) -> Response:
    told = teller_of(view_of(request)).refusal(detail or FAILED)
    return page(request, "error.html", status, headers, title=title, detail=told)
