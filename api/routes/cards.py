"""GET /machine-cards and /crop-cards"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.catalogue import crop_json, crop_line_json, machine_json, machine_line_json
from api.errors import Refusal
from api.models import CardLine, CropLine
from api.routes.state import KEPT, auditor_of, kept_answer
from api.schema import setup_schema
from audit.nearest import did_you_mean
from audit.nouns.machine import CropCard, MachineCard

router = APIRouter(tags=["cards"], responses=KEPT)

CardId = Annotated[str, Path(description="id of a card in GET /machine-cards", examples=["axial-single"])]
CropId = Annotated[str, Path(description="id of a card in GET /crop-cards", examples=["corn"])]


@router.get("/machine-cards", response_model=list[CardLine], summary="Every machine card")
def machine_cards(request: Request) -> Response:
    machines = auditor_of(request).rulebook.machines.values()
    return kept_answer(request, [machine_line_json(card) for card in machines])


@router.get("/machine-cards/{card}", summary="One machine card: stations, settings, readings, drive train, targets")
def machine_card(request: Request, card: CardId) -> Response:
    rulebook = auditor_of(request).rulebook
    return kept_answer(request, machine_json(machine_named(request, card), rulebook))


@router.get("/machine-cards/{card}/schema", summary="JSON Schema of a setup of this card")
def machine_schema(request: Request, card: CardId) -> Response:
    rulebook = auditor_of(request).rulebook
    return kept_answer(request, setup_schema(machine_named(request, card), rulebook))


@router.get("/crop-cards", response_model=list[CropLine], summary="Every crop card")
def crop_cards(request: Request) -> Response:
    crops = auditor_of(request).rulebook.crops.values()
    return kept_answer(request, [crop_line_json(card) for card in crops])


@router.get("/crop-cards/{crop}", summary="One crop card: names, targets and measures with their grounds")
def crop_card(request: Request, crop: CropId) -> Response:
    rulebook = auditor_of(request).rulebook
    return kept_answer(request, crop_json(crop_named(request, crop), rulebook))


def machine_named(request: Request, name: str) -> MachineCard:
    """A machine card by its id. Raises Refusal (404)."""
    machines = auditor_of(request).rulebook.machines
    if name not in machines:
        raise Refusal(
            404, "Not found", f"no machine card is called '{name[:60]}'. {did_you_mean(name, machines)}".strip()
        )
    return machines[name]


def crop_named(request: Request, name: str) -> CropCard:
    """A crop card by its id. Raises Refusal (404)."""
    crops = auditor_of(request).rulebook.crops
    if name not in crops:
        raise Refusal(404, "Not found", f"no crop card is called '{name[:60]}'. {did_you_mean(name, crops)}".strip())
    return crops[name]
