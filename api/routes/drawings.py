"""Drawings of a card or a unit, as SVG"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response

from api.drawings.drive_train import drive_train
from api.drawings.side_view import side_view
from api.drawings.svg import in_words
from api.errors import Refusal
from api.routes.cards import CardId, crop_named, machine_named
from api.routes.desk import desk_of, tag, unit_seen
from api.routes.state import auditor_of, tagged
from api.routes.units import Reader, UnitId
from api.service.recording import unit_named
from api.store import organisations, setups
from audit.facts import compute
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput
from audit.run import audit_on_sheet

of_cards = APIRouter(tags=["cards"])
of_units = APIRouter(tags=["units"])

MEDIA = "image/svg+xml"
_LANGUAGE = {"Content-Language": {"description": "of the texts in it (RFC 9110)", "schema": {"type": "string"}}}
_ETAG = {"ETag": {"description": "changes with the drawing and its language", "schema": {"type": "string"}}}
SVG: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {MEDIA: {}}, "headers": _LANGUAGE,
        "description": "a drawing, in the language that Accept-Language asks for, else in English",
    }
}  # fmt: skip
KEPT_SVG: dict[int | str, dict[str, Any]] = {
    200: {**SVG[200], "headers": {**_LANGUAGE, **_ETAG}},
    304: {"description": "the drawing is still that of the ETag sent as If-None-Match"},
}
View = Annotated[Literal["side", "drive-train"], Query(description="the machine from its left, or shafts and drives")]
Narrow = Annotated[bool, Query(description="for a phone")]
Words = tuple[str, str, Callable[[str], str]]
"""A language's tag, a system of units, and what tells a text of a drawing in them."""


@of_cards.get(
    "/machine-cards/{card}/drawing", response_class=Response, responses=SVG, summary="A type of machine as a picture"
)
def draw_card(
    request: Request,
    card: CardId,
    view: View = "side",
    crop: Annotated[str, Query(max_length=80, description="whose settings the card states")] = "corn",
    narrow: Narrow = False,
) -> Response:
    machine, grown = machine_named(request, card), crop_named(request, crop)
    language, _, tell = _words(request)
    with in_words(tell):
        if view == "side":
            drawn = side_view(machine, narrow=narrow)
        else:
            drawn = drive_train(auditor_of(request).sheet(machine.id, grown.id), {}, narrow=narrow)
    return Response(drawn, media_type=MEDIA, headers=_headers(language))


@of_units.get(
    "/units/{unit}/drawing",
    response_class=Response,
    responses=KEPT_SVG,
    summary="A unit as its newest setup has it, with the findings where they are",
)
def draw_unit(request: Request, caller: Reader, unit: UnitId, view: View = "side", narrow: Narrow = False) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        unit_named(work, unit_seen(caller, unit))
        newest = setups.newest(work, unit)
        auditor = desk.in_force.auditor(work, organisations.read(work).terms.hold_at)
    if newest is None:
        raise Refusal(404, "No setup", f"No setup of {unit} is on record.")

    def drawn() -> bytes:
        try:
            setup = read_setup(newest.text, "", auditor.rulebook)
        except BadInput:
            raise Refusal(
                409, "Not judged", "The rulebook in force can't read the newest setup; record it anew."
            ) from None
        sheet = auditor.sheet(setup.unit.card, setup.crop)
        report = audit_on_sheet(sheet, setup, auditor.hold_at)
        rules = auditor.rulebook.rules
        with in_words(tell):
            if view == "side":
                return side_view(sheet.card, report, rules, narrow).encode()
            return drive_train(sheet, compute(sheet, setup).values, report, rules, narrow=narrow).encode()

    language, units, tell = _words(request)
    hold_at = auditor.hold_at.name.lower()
    etag = tag(newest.digest[:16], auditor.rulebook.digest[:16], hold_at, view, narrow, language, units)
    return tagged(request, drawn, etag, "private, no-cache", MEDIA, _headers(language))


def _words(request: Request) -> Words:
    """The reader's words; the catalogues belong to the pages, which put the look-up here."""
    found: Words = request.app.state.words_of(request)
    return found


def _headers(language: str) -> dict[str, str]:
    return {"Content-Language": language, "Vary": "Cookie, Accept-Language"}
