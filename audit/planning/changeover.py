"""The work from today's setup to a legal one for the next crop, and what changes from crop to crop on a machine."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from audit.nouns.plan import Locks, Planned
from audit.nouns.quantity import Form, Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.planner import Planner
from audit.planning.worksheet import WorkSheet


def changeover(
    planner: Planner, setup: Setup, crop: str, header_kind: str, locks: Locks, out_of_time: Callable[[], bool]
) -> Planned:
    """The work from a setup to a legal one for another crop.

    What was found on the machine counts on, faults included; what belongs to the crop that was cut (losses, moisture,
    the state of the crop) does not, and is asked for again where a rule needs it.

    Args:
        crop: id of the next crop.
        header_kind: header for it; '' to keep the one that is on if the crop takes it, else to change to one it takes.

    Raises: OutOfTime: before any plan was found.
    """
    names = planner.worksheet(setup.unit.card, crop).sheet.names
    values = {name: value for name, value in setup.values.items() if name not in names or not names[name].of_crop}
    values["job.crop"] = crop
    return planner.plan(replace(setup, crop=crop, values=values), locks, out_of_time, header_kind)


def what_changes(
    planner: Planner, card: str, from_crop: str, to_crop: str, header_kind: str, builds: tuple[tuple[str, str], ...],
    out_of_time: Callable[[], bool],
) -> Planned:  # fmt: skip
    """What must be moved on a machine of a card that is set right for one crop, so that it is right for another.

    A setting that one crop's window leaves and the other's does not is taken to stand at the end that must move: the
    sheet lists every setting that may have to be moved. Of words that both crops allow, one is taken that may stay.

    Args:
        builds: choices by ``build.<name>``; the first choice of the card for those not given.

    Raises: ValueError: no legal setup for the first crop.   OutOfTime.
    """
    today = planner.legal_setup(card, from_crop, "", builds, out_of_time)
    before, after = planner.worksheet(card, from_crop), planner.worksheet(card, to_crop)
    values = dict(today.values)
    for name, quantity in before.sheet.names.items():
        if quantity.role is not Role.SETTING or (name not in before.by_input and name not in after.by_input):
            continue
        allowed = _allowed(before, name, values)
        if quantity.form is Form.NUMBER:
            wrong = [value for value in allowed if not _fits(after, name, value, values)]
            if wrong:
                values[name] = wrong[0]
        elif not _fits(after, name, values.get(name), values):
            values[name] = next((value for value in allowed if _fits(after, name, value, values)), values.get(name))
    return changeover(planner, replace(today, values=values), to_crop, header_kind, Locks(), out_of_time)


def _allowed(worksheet: WorkSheet, name: str, values: Mapping[str, Value | Sided]) -> list[Value | Sided]:
    """Values of a setting that are legal where all else stays; the ends of its window for a number."""
    sided = worksheet.quantity(name).sided
    tried = worksheet.candidates.of(name, values, frozenset())
    whole = [(value, value) if sided else value for value in tried]
    return [value for value in whole if _fits(worksheet, name, value, values)] or [values.get(name)]


def _fits(worksheet: WorkSheet, name: str, value: Value | Sided, values: Mapping[str, Value | Sided]) -> bool:
    changed = worksheet.filled({**values, name: value, "job.crop": worksheet.sheet.crop.id})
    return all(
        worksheet.probes[n].suits(changed)
        for n in worksheet.by_input.get(name, ())
        if len(worksheet.probes[n].inputs) == 1
    )
