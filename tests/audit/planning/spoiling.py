"""Random as-found setups: a setup that is right for its crop, with a few things put wrong, left unknown or locked."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from audit.nouns.plan import Locks
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.setup import Setup
from audit.planning.candidates import bounds
from audit.planning.worksheet import WorkSheet
from audit.sheet import Sheet

_FACTORS = (0.0, 0.5, 0.9, 0.97, 1.03, 1.1, 2.0, 10.0)
_COUNTS = (1.0, 5.0, 20.0, 100.0)
_TIMES = (1000.0, 2000.0)


@dataclass(frozen=True, slots=True)
class Spoiled:
    """A setup as found, and what may not be done about it."""

    setup: Setup
    locks: Locks


class Spoiler:
    """Spoils one right setup in many ways, the same for the same seed.

    The kind of header is left as it is or not known, never one that the crop does not take: the planner then plans
    for each kind that it takes, which is tested with changeovers.

    Args:
        legal: a setup that keeps every rule.
    """

    def __init__(self, worksheet: WorkSheet, legal: Setup) -> None:
        self.worksheet, self.legal = worksheet, legal
        self.sheet: Sheet = worksheet.sheet
        names = self.sheet.names
        builds = {name for name in worksheet.inputs if names[name].role is Role.BUILD}
        self.names = [name for name in worksheet.inputs if name not in builds and name != "job.crop"]
        self.joint = [
            [name for name in probe.inputs if name in self.names] for probe in worksheet.probes if len(probe.inputs) > 1
        ]
        self.step = {carried.name: carried.step for carried in self.sheet.card.carried}

    def setups(self, seed: str, count: int) -> Iterator[Spoiled]:
        """So many spoiled setups."""
        chance = random.Random(seed)
        for number in range(count):
            values = dict(self.legal.values)
            touched = self.touched(chance)
            for name in touched:
                spoiled = self.spoiled(name, chance)
                if spoiled is None:
                    values.pop(name, None)
                else:
                    values[name] = spoiled
            unit = replace(self.legal.unit, id=f"unit-{number}")
            setup = replace(self.legal, unit=unit, values=values, header_kind=str(values.get("job.header_kind") or ""))
            yield Spoiled(setup, self.locks(touched, chance) if chance.random() < 0.35 else Locks())

    def touched(self, chance: random.Random) -> list[str]:
        """One to eight quantities, some of them behind one question."""
        found: dict[str, None] = {}
        for _ in range(chance.randint(1, 4)):
            if chance.random() < 0.5:
                behind = chance.choice(self.joint)
                found.update(dict.fromkeys(chance.sample(behind, min(len(behind), chance.randint(1, 2)))))
            else:
                found[chance.choice(self.names)] = None
        return list(found)

    def spoiled(self, name: str, chance: random.Random) -> Value | Sided:
        """Another value, or None for not known."""
        quantity = self.sheet.names[name]
        legal = self.legal.values.get(name)
        if quantity.form is Form.TIME:
            return chance.choice((None, *_TIMES))
        if name == "job.header_kind" or chance.random() < 0.15:
            return None
        left, right = legal if isinstance(legal, tuple) else (legal, legal)
        if not quantity.sided:
            return self.other(quantity, left, chance)
        sides = chance.choice(("left", "right", "both", "half known"))
        other = self.other(quantity, left, chance)
        if sides == "half known":
            return None, other
        return (right if sides == "right" else other), (left if sides == "left" else other)

    def other(self, quantity: Quantity, legal: Value, chance: random.Random) -> Value:
        if quantity.form is Form.YES_NO:
            return not legal
        if quantity.form is Form.WORD:
            words = [word for word, _ in quantity.words if word != legal]
            return chance.choice(words) if words else legal
        low, high = bounds(quantity)
        if quantity.role is Role.SETTING:
            share = chance.randint(0, 20) / 20
            value = low + share * (high - low)
        elif isinstance(legal, float) and legal:
            value = legal * chance.choice(_FACTORS)
        else:
            value = chance.choice(_COUNTS)
        return float(min(max(value, low), high))

    def locks(self, touched: Sequence[str], chance: random.Random) -> Locks:
        """A few locks, most of them on what was spoiled."""
        tasks = self.worksheet.tasks
        work = sorted({number for name in touched for number in tasks.remedies.get(name, ())})
        keys = sorted({tasks.all[number].key[0] for number in work})
        parts = sorted({part for number in work for part in (*tasks.all[number].parts, *tasks.all[number].tools)})
        leave = [name for name in (*touched, *keys) if chance.random() < 0.2]
        return Locks(
            leave=tuple(leave),
            lacking=tuple(part for part in parts if chance.random() < 0.15),
            people=1 if chance.random() < 0.15 else None,
            minutes=float(chance.choice((5, 30, 90, 240))) if chance.random() < 0.2 else None,
        )
