"""The walk round a machine with a phone: one thing at a time, also where there is no signal."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Annotated

from fastapi import Query, Request, Response

from api.errors import Refusal
from api.identity.caller import Caller
from api.pages.asking import plain_of
from api.pages.assets import address, assets
from api.pages.cards import crops_of
from api.pages.door import pages_router
from api.pages.standing import Standing, standing
from api.pages.view import packed, page, view_of
from api.pages.walking.checklist import Known, checklist, known_of
from api.pages.walking.purposes import due_now, purposes
from api.record_wire import moment
from api.routes import histories
from api.routes.cards import crop_named
from api.routes.desk import desk_of
from api.routes.units import Reader, UnitId
from api.store import setups
from api.store.units import UnitRow
from audit.intake.setups import read_setup
from audit.nouns.problem import BadInput
from audit.nouns.setup import Unit
from audit.nouns.vocabulary import on_card

router = pages_router()

LEASE = 3 * 24 * 3600
"""Seconds that a list may be carried before the page asks for it to be fetched again."""
MOST_SETUPS = 10
"""Newest setups that are looked through for what was known last."""
SCRIPTS = (
    "walk.js", "walk-frame.js", "walk-course.js", "walk-start.js", "walk-steps.js", "walk-looks.js",
    "walk-overview.js", "walk-finished.js", "walk-controls.js", "walk-setup.js", "walk-photos.js", "walk-store.js",
    "walk-send.js", "judge.js",
)  # fmt: skip
WORKER = "walk-worker.js"
ICONS = (("icon-192.png", "192x192"), ("icon-512.png", "512x512"))


@router.get("/unit/{unit}/walk-round")
def walk_round(request: Request, unit: UnitId, caller: Reader) -> Response:
    """The page; what it asks comes as a list of its own, which the page keeps."""
    found = standing(request, caller, unit)
    card = found.rulebook.machines.get(found.unit.card)
    crops = [one for one in found.rulebook.crops if card and one in crops_of(card, found.rulebook)]
    words = on_card(card, found.rulebook.vocabulary)["job.header_kind"].words if card else ()
    newest = found.newest
    return page(
        request, "walk-round.html", unit=found.unit, crops=crops, kinds=[word for word, _ in words],
        crop=newest.crop if newest else "", header_kind=newest.header_kind if newest else "", card=card,
        scope=f"/unit/{unit}/walk-round", worker=f"/walk-round/worker.js?{_version()}",
        kept=[address("page.css"), address("walk.css"), address("icon.svg"), *(_beside(name) for name in SCRIPTS)],
    )  # fmt: skip


@router.get("/unit/{unit}/walk-round.json")
def walk_list(request: Request, unit: UnitId, caller: Reader, crop: Annotated[str, Query(max_length=80)]) -> Response:
    """Everything that a walk round this unit asks for a crop, to be kept by the page.

    Answers 200 with the list of ``checklist``, the number and time of the newest setup, and until when it may be
    carried. It is no part of what is promised to programs.
    """
    found = standing(request, caller, unit)
    grown = crop_named(request, crop).id
    known = newest_known(request, found, caller.organisation, grown)
    plain = checklist(view_of(request), found.auditor, unit_of(found.unit), grown, known)
    content = {
        **plain,
        "rules": [{key: value for key, value in one.items() if key not in _NOT_ASKED} for one in plain["rules"]],
        "purposes": purposes(found, grown, plain["rules"], _due(request, unit, caller)),
        "newest": found.newest and {"number": found.newest.number, "taken": moment(found.newest.taken)},
        "until": moment(desk_of(request).clock() + LEASE),
    }  # fmt: skip
    body = json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")
    return packed(request, body, "application/json")


@router.get("/unit/{unit}/walk-round.webmanifest")
def manifest(request: Request, unit: UnitId) -> Response:
    """What a phone needs to keep the page beside its other programs. It says nothing that is on record."""
    scope = f"/unit/{unit}/walk-round"
    say = view_of(request).language.say
    content = {
        "id": scope, "name": say("Walk-round {unit}", unit=unit), "short_name": unit, "start_url": scope,
        "scope": scope, "display": "standalone", "background_color": "#ffffff", "theme_color": "#1b1f24",
        "icons": [{"src": address(name), "sizes": sizes, "type": "image/png"} for name, sizes in ICONS],
    }  # fmt: skip
    body = json.dumps(content, ensure_ascii=False).encode()
    return Response(body, media_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@router.get("/walk-round/worker.js")
def worker(request: Request) -> Response:
    """The script that answers for the server where there is no signal; the page keeps it to its own address."""
    headers = {"Service-Worker-Allowed": "/unit/", "Cache-Control": "no-cache"}
    return packed(request, assets()[WORKER].body, "text/javascript", headers=headers)


def unit_of(row: UnitRow) -> Unit:
    """The unit as the engine reads it."""
    return Unit(row.id, row.card, row.serial, row.build_year, tuple(row.fitted.items()), row.owner)


def newest_known(request: Request, found: Standing, organisation: str, crop: str) -> dict[str, Known]:
    """The newest answers on record for a unit, out of its last setups that can be read."""
    desk = desk_of(request)
    with desk.store.reading(organisation, desk.clock()) as work:
        rows = setups.page(work, found.unit.id, None, MOST_SETUPS)
    read = []
    for row in sorted(rows, key=lambda one: (one.taken, one.number), reverse=True):
        try:
            read.append((read_setup(row.text, "", found.rulebook), row.taken))
        except BadInput:  # of another rulebook, or before the unit was another machine
            continue
    card = found.rulebook.machines.get(found.unit.card)
    return known_of(read, crop, on_card(card, found.rulebook.vocabulary)) if card else {}


def _due(request: Request, unit: str, caller: Caller) -> set[str] | None:
    """What is to be taken again; None where the setups on record say nothing together."""
    try:
        return due_now(plain_of(histories.history(request, unit, caller, engine_hours=None)))
    except Refusal:
        return None


_NOT_ASKED = frozenset({"no", "rule", "on", "station"})
"""Of a rule, what the page does without: a list goes over a weak signal."""


def _beside(name: str) -> str:
    """Where a script is found that another one beside it asks for."""
    return address(SCRIPTS[0]).rpartition("/")[0] + f"/{name}"


def _version() -> str:
    """Changes with any script, so that a page never runs an old one beside a new one."""
    names = (*SCRIPTS, WORKER, "walk.css")
    return sha256("".join(assets()[name].digest for name in names).encode()).hexdigest()[:16]
