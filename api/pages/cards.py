"""Machine cards and crop cards for people, the drive train drawn with its computed speeds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any

from fastapi import Query, Request, Response

from api.catalogue import crop_json, crop_line_json, machine_json, machine_line_json
from api.drawings.drive_strokes import Values
from api.drawings.drive_train import drive_train
from api.drawings.side_view import side_view
from api.pages.door import pages_router
from api.pages.telling import told
from api.pages.view import page, view_of
from api.plan_wire import out_of_time_after
from api.routes.cards import CardId, CropId, crop_named, machine_named
from api.routes.state import auditor_of, engines_of
from audit.facts import compute
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Role
from audit.nouns.rulebook import Rulebook
from audit.planning.solver import OutOfTime

router = pages_router()

SECONDS = 10.0
"""Longest that a setup which is right is searched for."""


@router.get("/cards")
def cards(request: Request) -> Response:
    """Every machine card and crop card."""
    view, rulebook = view_of(request), auditor_of(request).rulebook
    machines = [told(view, machine_line_json(card)) for card in rulebook.machines.values()]
    crops = [told(view, crop_line_json(card)) for card in rulebook.crops.values()]
    return page(request, "cards.html", machines=machines, crops=crops)


@router.get("/cards/{card}")
def machine(request: Request, card: CardId, crop: Annotated[str, Query(max_length=80)] = "") -> Response:
    """One machine card: stations in walk-round order, builds, its targets for one crop, and the drive train.

    Speeds are those of a machine of the first build of each kind that is set right for the crop; query parameters
    named like builds choose others.
    """
    view, rulebook = view_of(request), auditor_of(request).rulebook
    found = machine_named(request, card)
    crops = [name for name in rulebook.crops if name in crops_of(found, rulebook)]
    chosen = crop_named(request, crop).id if crop else crops[0]
    sheet = auditor_of(request).sheet(found.id, chosen)
    builds = _builds(request, found)
    in_order = _in_order(request, found, chosen, builds)
    values = in_order or {}
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
        train=drive_train(sheet, values), train_narrow=drive_train(sheet, values, narrow=True),
        builds=builds, in_order=bool(values), in_time=in_order is not None,
    )  # fmt: skip


def _builds(request: Request, card: MachineCard) -> dict[str, str]:
    """The build that is shown: the choice asked for where the card has it, else its first."""
    return {
        build.name: next(
            (name for name, _ in build.choices if name == request.query_params.get(build.name)), build.choices[0][0]
        )
        for build in card.builds
    }


def _in_order(request: Request, card: MachineCard, crop: str, builds: Mapping[str, str]) -> Values | None:
    """What the settings of a machine that is set right decide; what people would measure on it is left open.

    Nothing where no setup is right; None where none was found in time.
    """
    planner = engines_of(request).planner(request.app.state.hold_at)
    chosen = tuple((f"build.{name}", choice) for name, choice in builds.items())
    try:
        setup = planner.legal_setup(card.id, crop, "", chosen, out_of_time_after(SECONDS))
    except ValueError:
        return {}
    except OutOfTime:
        return None
    sheet = auditor_of(request).sheet(card.id, crop)
    kept = {name: value for name, value in setup.values.items() if sheet.names[name].role is not Role.READING}
    return compute(sheet, replace(setup, values=kept)).values


@router.get("/crops/{crop}")
def one_crop(request: Request, crop: CropId) -> Response:
    """One crop card."""
    found = crop_named(request, crop)
    return page(request, "crop.html", crop=told(view_of(request), crop_json(found, auditor_of(request).rulebook)))


def crops_of(card: MachineCard, rulebook: Rulebook) -> frozenset[str]:
    """Crops that a machine can be set for: those that it states targets for, all where it states none."""
    stated = frozenset(crop for crop, _, _ in card.targets if crop in rulebook.crops)
    return stated or frozenset(rulebook.crops)
