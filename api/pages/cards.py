"""Machine cards and crop cards for people, the drive train drawn with its computed speeds."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Query, Request, Response

from api.catalogue import crop_json, crop_line_json, machine_json, machine_line_json
from api.drawings.drive_train import drive_train
from api.drawings.side_view import side_view
from api.pages.door import pages_router
from api.pages.telling import told
from api.pages.view import page, view_of
from api.routes.cards import CardId, CropId, crop_named, machine_named
from api.routes.state import auditor_of
from audit.nouns.machine import MachineCard
from audit.nouns.rulebook import Rulebook

router = pages_router()


@router.get("/cards")
def cards(request: Request) -> Response:
    """Every machine card and crop card."""
    view, rulebook = view_of(request), auditor_of(request).rulebook
    machines = [told(view, machine_line_json(card)) for card in rulebook.machines.values()]
    crops = [told(view, crop_line_json(card)) for card in rulebook.crops.values()]
    return page(request, "cards.html", machines=machines, crops=crops)


@router.get("/cards/{card}")
def machine(request: Request, card: CardId, crop: Annotated[str, Query(max_length=80)] = "") -> Response:
    """One machine card: stations in walk-round order, drive train, builds, and its targets for one crop."""
    view, rulebook = view_of(request), auditor_of(request).rulebook
    found = machine_named(request, card)
    crops = [name for name in rulebook.crops if name in crops_of(found, rulebook)]
    chosen = crop_named(request, crop).id if crop else crops[0]
    sheet = auditor_of(request).sheet(found.id, chosen)
    plain = told(view, machine_json(found, rulebook))
    by_part: dict[str, list[dict[str, Any]]] = {}
    for quantity in plain["quantities"]:
        by_part.setdefault(quantity["name"].partition(".")[0], []).append(quantity)
    stations = [
        {**one, "quantities": [quantity for part in one["parts"] for quantity in by_part.get(part, [])]}
        for one in plain["stations"]
    ]
    return page(
        request, "card.html", card=plain, stations=stations, crops=crops, crop=chosen,
        targets=[one for one in plain["targets"] if one["crop"] in (chosen, "every")],
        side=side_view(found), side_narrow=side_view(found, narrow=True),
        train=drive_train(sheet, {}), train_narrow=drive_train(sheet, {}, narrow=True),
    )  # fmt: skip


@router.get("/crops/{crop}")
def one_crop(request: Request, crop: CropId) -> Response:
    """One crop card."""
    found = crop_named(request, crop)
    return page(request, "crop.html", crop=told(view_of(request), crop_json(found, auditor_of(request).rulebook)))


def crops_of(card: MachineCard, rulebook: Rulebook) -> frozenset[str]:
    """Crops that a machine can be set for: those that it states targets for, all where it states none."""
    stated = frozenset(crop for crop, _, _ in card.targets if crop in rulebook.crops)
    return stated or frozenset(rulebook.crops)
