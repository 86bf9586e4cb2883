"""What is on record as a document of the ADAPT Standard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from api.exchange.out.adapt import UNITS, Device, Named, Setting, Wanted, document
from api.plan_wire import values_json
from api.record_wire import moment
from api.service.desk import Desk
from api.service.exporting import units_on_record
from api.store import outbox, setups
from api.store.database import Work
from api.store.setups import SetupRow
from api.store.units import UnitRow
from audit.intake.setups import read_setup
from audit.measures import from_canonical
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card


def adapt_document(desk: Desk, work: Work, only: Sequence[str]) -> dict[str, Any]:
    """Units that are not retired, with the settings of their newest setups, and the work that was asked for last.

    Args:
        only: units that whoever asks may see; empty for all.
    """
    rulebook = desk.in_force.rulebook(work)
    found = [(unit, setups.newest(work, unit.id)) for unit in units_on_record(work, only) if unit.retired is None]
    known = {unit.id for unit, _ in found}
    devices = [_device(desk, unit, setup, rulebook) for unit, setup in found]
    wanted = [one for one in _wanted(work) if one.unit in known]
    crops = sorted({setup.crop for _, setup in found if setup is not None} | {one.crop for one in wanted})
    return document(
        devices,
        [Named(card, rulebook.machines[card].title if card in rulebook.machines else card)
         for card in sorted({unit.card for unit, _ in found})],
        [Named(crop, rulebook.crops[crop].name, rulebook.crops[crop].eppo) if crop in rulebook.crops
         else Named(crop, crop) for crop in crops],
        wanted,
    )  # fmt: skip


def _device(desk: Desk, unit: UnitRow, setup: SetupRow | None, rulebook: Rulebook) -> Device:
    settings = () if setup is None else tuple(_settings(setup, rulebook))
    taken = "" if setup is None else str(moment(setup.taken))
    return Device(unit.id, f"{desk.address}/units/{unit.id}", unit.card, unit.serial, settings, taken)


def _settings(setup: SetupRow, rulebook: Rulebook) -> Iterator[Setting]:
    """The settings of a setup; none where the rulebook in force can't read it."""
    try:
        values = read_setup(setup.text, "", rulebook).values
    except BadInput:
        return
    names = on_card(rulebook.machines[setup.card], rulebook.vocabulary)
    for name, value in sorted(values.items()):
        quantity = names.get(name)
        if quantity is None or quantity.role is not Role.SETTING or value is None:
            continue
        for one in values_json(value, quantity):
            side = one["side"] or ""
            meaning = f"{quantity.meaning} ({side})" if side else quantity.meaning
            if quantity.unit in UNITS and isinstance(one["value"], float):
                number = from_canonical(one["value"], quantity.unit)
                yield Setting(name, side, meaning, f"{number:.10g}", quantity.unit)
            elif one["value"] is not None:
                yield Setting(name, side, meaning, one["shown"], "")


def _wanted(work: Work) -> Iterator[Wanted]:
    for told in outbox.newest_of_each_unit(work, "work.requested"):
        scope: dict[str, str] = next(iter(told.content["timeScopes"]), {})
        title = f"{told.unit}: {told.content['count']} steps before {told.content['crop']}"
        yield Wanted(
            told.content["work_request"], told.unit, told.content["crop"], title, scope.get("start"), scope.get("end")
        )
