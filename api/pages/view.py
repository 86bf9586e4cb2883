"""How a page is answered: for whom, in which language and units, from which template."""

from __future__ import annotations

import gzip
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

from babel.dates import format_date, format_datetime
from babel.numbers import format_decimal
from fastapi import Request, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from api.identity.caller import Caller
from api.identity.rights import Right
from api.pages.assets import address
from api.pages.languages import Language, language_for, languages
from api.pages.units import UNITS
from api.service.desk import Desk

FOLDER = Path(__file__).parent / "templates"
PREFERENCES = "setup_audit_view"
"""A cookie with the language and the units that a reader chose, as ``de.si``."""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cache-Control": "private, no-store",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Vary": "Cookie, Accept-Language, Accept-Encoding",
}
LEAST_PACKED = 1000
"""Bytes below which packing a page saves nothing."""


@dataclass(frozen=True, slots=True)
class View:
    """Who looks, and how they want it.

    Attributes:
        caller: None where nobody is signed on.
        units: one of UNITS.
    """

    caller: Caller | None
    language: Language
    units: str

    def may(self, right: str) -> bool:
        """Whether they may do something, by the right's name in upper case."""
        return self.caller is not None and self.caller.may(Right[right])

    def number(self, value: float, digits: int = 1) -> str:
        """A number with at most so many digits after the sign that the language writes."""
        return str(format_decimal(round(value, digits), locale=self.language.locale))

    def day(self, at: str) -> str:
        """A date as of ISO 8601, with its day of the week."""
        return str(format_date(date.fromisoformat(at), "full", locale=self.language.locale))

    def moment(self, at: float | str) -> str:
        """A time in UTC, as the record has it: s since 1970, or text as of RFC 3339."""
        found = datetime.fromisoformat(at) if isinstance(at, str) else datetime.fromtimestamp(at, UTC)
        text: str = format_datetime(found.astimezone(UTC), "short", locale=self.language.locale)
        return f"{text} UTC"


def view_of(request: Request) -> View:
    """The view of a request. Who is signed on must have been found out before."""
    tag, _, units = request.cookies.get(PREFERENCES, "").partition(".")
    return View(
        getattr(request.state, "caller", None),
        language_for(tag, request.headers.get("accept-language", "")),
        units if units in UNITS else UNITS[0],
    )


def page(request: Request, template: str, status: int = 200, headers: Mapping[str, str] | None = None,
         **things: Any) -> Response:  # fmt: skip
    """A page from a template. The template sees ``view``, ``say``, ``several``, ``here`` and ``things``."""
    body = rendered(view_of(request), template, here=request.url.path, **_around(request), **things)
    return html(request, body, status, headers)


def html(request: Request, text: str, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """HTML with the headers that every page has."""
    return packed(request, text.encode("utf-8", "replace"), "text/html; charset=utf-8", status, headers)


def packed(
    request: Request, body: bytes, media: str, status: int = 200, headers: Mapping[str, str] | None = None
) -> Response:
    """Bytes of any kind with the headers that every page has, packed where the browser takes that."""
    more = {**HEADERS, **(headers or {})}
    if len(body) >= LEAST_PACKED and "gzip" in request.headers.get("accept-encoding", ""):
        body = gzip.compress(body, 6, mtime=0)
        more["Content-Encoding"] = "gzip"
    return Response(body, status, more, media)


def rendered(view: View, template: str, /, **things: Any) -> str:
    """A template's text for a view, without a request; for sheets too."""
    say, several = view.language.say, view.language.several
    return _templates().get_template(template).render(view=view, say=say, several=several, **things)


def _around(request: Request) -> dict[str, Any]:
    """What the frame of every page shows."""
    desk: Desk | None = request.app.state.desk
    return {"languages": languages(), "on_record": desk is not None}


@cache
def _templates() -> Environment:
    found = Environment(
        loader=FileSystemLoader(FOLDER), autoescape=select_autoescape(default=True), undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    found.globals["asset"] = address
    found.filters["drawing"] = Markup  # our own SVG, which escapes every text itself
    return found
