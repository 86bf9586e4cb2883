"""What a card leaves open: rules that are not asked of it, and targets that nobody states."""

from __future__ import annotations

from collections.abc import Iterable

from audit.conditions import comparisons, limits
from audit.nouns.machine import CropCard, MachineCard
from audit.nouns.rule import Literal
from audit.nouns.rulebook import Rulebook
from audit.sheet import make_sheet


def unasked_rules(card: MachineCard, found: Rulebook) -> list[str]:
    """Rules that are not asked of this card, each with why."""
    told: dict[str, None] = {}
    for crop in found.crops.values():
        sheet = make_sheet(found, card, crop)
        told |= {f"{one.rule}{f' ({one.on})' if one.on else ''}: {one.reason}": None for one in sheet.unasked}
    return list(told)


def missing_targets(card: MachineCard, found: Rulebook, crops: Iterable[CropCard]) -> dict[str, list[str]]:
    """Targets that neither this card nor the crop card states, each with the crops that lack it."""
    missing: dict[str, list[str]] = {}
    for crop in crops:
        for question in make_sheet(found, card, crop).questions:
            for compare in comparisons(question.hold):
                for limit in limits(compare.relation):
                    if isinstance(limit, Literal) and limit.value is None and " has a target for " in limit.text:
                        without = missing.setdefault(limit.text.rpartition(" ")[2], [])
                        if crop.id not in without:
                            without.append(crop.id)
    return missing
