"""What the drive train's drawing says of each shaft and of the drive that turns it, before it is laid out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from api.drawings.drive_strokes import UNKNOWN, Values, positions, sizes
from api.drawings.marks import Mark, Told, folded
from audit.measures import show
from audit.nouns.machine import Component, MachineCard

_NEAR = 0.5  # r/min; speeds that read alike are told once


@dataclass(frozen=True, slots=True)
class ShaftWords:
    """Attributes:
    drive: that turns it; None for the engine.   depth: drives between it and the engine.
    speed: as set.   speed_after: once the plan is done; '' where it stays.
    more: reach and measured speed, a line each.
    sizes, positions: of the drive.   sizes_after, positions_after: once the plan is done; '' where they stay.
    marks, drive_marks: findings on the shaft and on its drive.
    driven: shafts that it drives, in the card's order.
    """

    shaft: Component
    drive: Component | None
    depth: int
    speed: str
    speed_after: str
    more: tuple[str, ...]
    sizes: str
    positions: str
    sizes_after: str
    positions_after: str
    marks: tuple[Mark, ...]
    drive_marks: tuple[Mark, ...]
    driven: tuple[ShaftWords, ...]

    @property
    def changed(self) -> bool:
        """The plan changes the shaft's speed or its drive."""
        return bool(self.speed_after or self.sizes_after or self.positions_after)

    def drive_lines(self) -> list[tuple[str, bool]]:
        """What stands on the drive, each with whether it is what the plan sets."""
        as_found = ", ".join(text for text in (self.sizes, self.positions) if text)
        if not (self.sizes_after or self.positions_after):
            return [(as_found, False)] if as_found else []
        after = (self.sizes_after or self.sizes, self.positions_after or self.positions)
        return [(f"was {as_found}", False), (f"set {', '.join(text for text in after if text)}", True)]

    def walk(self) -> Iterator[ShaftWords]:
        """This shaft and all behind it, each before those it drives."""
        yield self
        for other in self.driven:
            yield from other.walk()


def train_words(
    card: MachineCard, values: Values, after: Values | None, found: Sequence[Told], most: int
) -> ShaftWords:
    """The engine with all that it drives; every shaft is driven once, so the train is a tree.

    Args:
        values: as found.   after: once the plan is done, None for no plan; both as the facts have them.
        most: marks on one shaft or drive.
    """
    drives: dict[str, list[Component]] = {}
    for drive in card.drives:
        drives.setdefault(drive.driver, []).append(drive)
    shafts = {shaft.id: shaft for shaft in card.shafts}
    here: dict[str, list[Told]] = {}
    for one in found:
        here.setdefault(one.on, []).append(one)

    def words(shaft: Component, drive: Component | None, depth: int) -> ShaftWords:
        before_after = [values] if after is None else [values, after]
        speeds = [_speed(shaft.id, some) for some in before_after]
        drive_sizes = [sizes(drive, some) if drive else "" for some in before_after]
        drive_positions = [positions(drive, some) if drive else "" for some in before_after]
        return ShaftWords(
            shaft, drive, depth, speeds[0], _changed(speeds), tuple(_more(shaft.id, values)),
            drive_sizes[0], drive_positions[0], _changed(drive_sizes), _changed(drive_positions),
            tuple(folded(here.get(shaft.id, []), most)), tuple(folded(here.get(drive.id, []), most)) if drive else (),
            tuple(words(shafts[other.driven], other, depth + 1) for other in drives.get(shaft.id, [])),
        )  # fmt: skip

    return words(shafts[card.governed_shaft], None, 0)


def _changed(found: Sequence[str]) -> str:
    return found[1] if len(found) > 1 and found[1] != found[0] else ""


def _speed(shaft: str, values: Values) -> str:
    value = values.get(f"{shaft}.speed")
    return show(value, "r/min") if isinstance(value, float) else f"speed {UNKNOWN}"


def _more(shaft: str, values: Values) -> Iterator[str]:
    """The reach where the speed is not the only one, and the measured speed where there is one."""
    low, high, speed, measured = (
        values.get(f"{shaft}.{name}") for name in ("speed_low", "speed_high", "speed", "measured_speed")
    )
    if isinstance(low, float) and isinstance(high, float):
        alone = isinstance(speed, float) and abs(low - speed) < _NEAR and abs(high - speed) < _NEAR
        if not alone:
            yield f"reach {show(low, '1')}–{show(high, '1')}"
    elif not isinstance(speed, float):
        yield f"reach {UNKNOWN}"
    if isinstance(measured, float):
        yield f"{show(measured, '1')} measured"


def told_in_words(train: ShaftWords, titles: Mapping[str, str]) -> Iterator[str]:
    """The train in sentences."""
    for one in train.walk():
        speed = f"{one.speed}, to become {one.speed_after}" if one.speed_after else one.speed
        by = ""
        if one.drive is not None:
            lines = ", ".join(text for text, _ in one.drive_lines())
            by = f" from {titles[one.drive.driver]} by {one.drive.title}{f' ({lines})' if lines else ''}"
        yield f"{one.shaft.title}: {'; '.join((speed, *one.more))}{by}."
        for mark in (*one.marks, *one.drive_marks):
            yield f"{mark.tip}."
