"""May this unit start? Asking for it, and the certificate with its code for the machine."""

from __future__ import annotations

import json
from secrets import token_urlsafe
from typing import Annotated, Any

from fastapi import Form, Query, Request, Response

from api.certificates.qr import svg
from api.pages.asking import keyed, number, plain_of
from api.pages.cards import crops_of
from api.pages.door import PageBesideJson, pages_router, see
from api.pages.standing import Standing, standing
from api.pages.telling import told
from api.pages.view import page, view_of
from api.routes import starts as doors
from api.routes.starts import Digest, Starter, StartId
from api.routes.units import Reader, UnitId
from audit.nouns.vocabulary import on_card

router = pages_router()
beside_json = pages_router(PageBesideJson)

Word = Annotated[str, Query(max_length=80)]


@router.get("/unit/{unit}/start")
def clearance(request: Request, unit: UnitId, caller: Reader, crop: Word = "", header_kind: Word = "") -> Response:
    """Cleared or held for a job, with every reason, and a form that asks for the start."""
    found = standing(request, caller, unit)
    newest = found.newest
    if not (crop and header_kind):
        crop, header_kind = (newest.crop, newest.header_kind) if newest else ("", "")
    decision = None
    if crop and header_kind:
        decision = plain_of(doors.clearance(request, unit, caller, crop, header_kind, plan=True))
    return _page(request, found, decision, crop, header_kind)


@router.post("/unit/{unit}/start")
def start(
    request: Request, caller: Starter, unit: UnitId, crop: Annotated[str, Form()], header_kind: Annotated[str, Form()],
    key: Annotated[str, Form(max_length=64, pattern=r"^[A-Za-z0-9_-]+$")], engine_hours: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Asks for a harvest start; the key makes sure that sending the form twice asks once."""
    asked: dict[str, Any] = {"crop": crop, "header_kind": header_kind}
    if engine_hours.strip():
        asked["engine_hours"] = number(engine_hours)
    answer = doors.start(keyed(request, key), caller, unit, json.dumps(asked).encode())
    if answer.status_code == 201:
        return see(f"/start/{plain_of(answer)['id']}")
    found = standing(request, caller, unit)
    return _page(request, found, plain_of(answer)["decision"], crop, header_kind, refused=True)


@router.get("/start/{start}")
def certificate(request: Request, start: StartId, caller: Reader) -> Response:
    """One start: its certificate, the code for the machine, and whether it still counts."""
    plain = plain_of(doors.get_start(request, caller, start))
    return page(request, "certificate.html", start=plain, code=svg(plain["short"], plain["id"]))


@beside_json.get("/verify/{start}/{digest}")
def verify(request: Request, start: StartId, digest: Digest) -> Response:
    """What the code on a machine stands for, for whoever reads it with a phone; no token is needed."""
    return page(request, "verify.html", start=plain_of(doors.verify(request, start, digest)))


def _page(
    request: Request, found: Standing, decision: dict[str, Any] | None, crop: str, header_kind: str,
    refused: bool = False,
) -> Response:  # fmt: skip
    card = found.rulebook.machines.get(found.unit.card)
    crops = [one for one in found.rulebook.crops if card and one in crops_of(card, found.rulebook)]
    words = on_card(card, found.rulebook.vocabulary)["job.header_kind"].words if card else ()
    return page(
        request, "start.html", 409 if refused else 200, unit=found.unit, newest=found.newest, crop=crop,
        header_kind=header_kind, decision=None if decision is None else told(view_of(request), decision),
        crops=crops, kinds=[word for word, _ in words], key=token_urlsafe(16), refused=refused,
    )  # fmt: skip
