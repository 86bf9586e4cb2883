"""A quantity's values over the setups, parted where something was replaced, adjusted or set otherwise."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from audit.history.subjects import Subject, side_value
from audit.history.timeline import Timeline
from audit.history.works import Works
from audit.nouns.history import Bound, Doing, LeftOut, Point, Run, Shown

LEFT_SHARE = 0.05
"""As left differs from as found by at least this share of its room: it was adjusted, not only measured again."""
BACK_SHARE = 0.2
"""A value jumps back by at least this share of its room, and by half of what it had moved."""
BACK_OF_MOVED = 0.5


@dataclass(frozen=True, slots=True)
class _Cut:
    """Between two setups a quantity was started anew."""

    after: int
    before: int
    doing: Doing


def runs_of(
    subject: Subject, side: int, timeline: Timeline, doings: Sequence[Doing], works: Works, bounds: Sequence[Bound]
) -> tuple[tuple[Run, ...], tuple[Point, ...]]:
    """The comparable runs of one side of a quantity, and the points that belong to none.

    The last run is of the part as it is now; it is empty where no value was taken since the last work on it.
    """
    points, left_out = _points(subject, side, timeline)
    cuts = [_Cut(doing.after, doing.before, doing) for doing in doings if starts_anew(subject, doing, works)]
    cuts += _moved(subject, timeline, points)
    cuts.sort(key=lambda cut: (cut.before, cut.after))
    epochs: dict[int, list[Point]] = {}
    for point in points:
        if any(cut.after < point.setup < cut.before for cut in cuts):
            left_out.append(replace(point, left_out=LeftOut.BEFORE_OR_AFTER))
        else:
            epochs.setdefault(sum(cut.before <= point.setup for cut in cuts), []).append(point)
    runs: list[Run] = []
    shows = _Signs(bounds, works.wears(subject.quantity.name), timeline)
    for epoch, some in sorted(epochs.items()):
        runs += _parted(some, cuts[epoch - 1].doing if epoch else None, shows, timeline, subject.quantity.name)
    if cuts and len(cuts) not in epochs:
        runs.append(Run((), cuts[-1].doing))
    return tuple(runs), tuple(sorted(left_out, key=lambda point: point.setup))


def starts_anew(subject: Subject, doing: Doing, works: Works) -> bool:
    """Whether what was done starts a quantity anew: every work that would show itself so brings one of its readings."""
    able = (works.by_key[doing.procedure, doing.on],) if doing.procedure else works.recorders.get(doing.by, ())
    own = all(not subject.owner or work.on in ("", subject.owner) for work in able)
    return bool(able) and own and all(work.renews & subject.readings for work in able)


def _points(subject: Subject, side: int, timeline: Timeline) -> tuple[list[Point], list[Point]]:
    name, crop = subject.quantity.name, timeline.setups[-1].crop
    kept: list[Point] = []
    left_out: list[Point] = []
    for place, setup in enumerate(timeline.setups):
        value = side_value(timeline.values[place].get(name), side)
        if value is None:
            continue
        point = Point(place, timeline.at[place], setup.taken.state, timeline.hours[place], value)
        found = timeline.visit_of(place)
        if subject.of_crop and setup.crop != crop:
            left_out.append(replace(point, left_out=LeftOut.OTHER_CROP))
        elif found is not None and side_value(timeline.values[found].get(name), side) == value:
            left_out.append(replace(point, left_out=LeftOut.REPEATED))
        else:
            kept.append(point if point.engine_hours is not None else replace(point, left_out=LeftOut.NO_HOURS))
    return kept, left_out


def _moved(subject: Subject, timeline: Timeline, points: Sequence[Point]) -> list[_Cut]:
    """Where the settings and builds that the value depends on were other ones, or no longer known."""
    cuts: list[_Cut] = []
    for one, two in pairwise(points):
        was, now = timeline.values[one.setup], timeline.values[two.setup]
        changed = next((name for name in subject.base if was.get(name) != now.get(name)), None)
        if changed is not None:
            low, high = timeline.hours_between(one.setup, two.setup, None)
            doing = Doing("", "", Shown.SETTING, changed, None, one.setup, two.setup, low, high)
            cuts.append(_Cut(one.setup, two.setup, doing))
    return cuts


def _parted(points: Iterable[Point], began: Doing | None, signs: _Signs, timeline: Timeline, name: str) -> list[Run]:
    """Runs of points with nothing on record between them, parted where a value as left, or a jump, shows work."""
    runs: list[Run] = []
    run: list[Point] = []
    for point in points:
        shown = signs.between(run, point) if run else None
        if shown is not None:
            runs.append(Run(tuple(run), began))
            after = run[-1].setup
            low, high = timeline.hours_between(after, point.setup, None)
            began, run = Doing("", "", shown, name, None, after, point.setup, low, high), []
        run.append(point)
    return [*runs, Run(tuple(run), began)]


@dataclass(frozen=True, slots=True)
class _Signs:
    """Signs of work in the values themselves. ``wears``: which way the quantity goes by itself, 0 for not stated."""

    bounds: Sequence[Bound]
    wears: float
    timeline: Timeline

    def between(self, run: Sequence[Point], point: Point) -> Shown | None:
        """What shows that the value was started anew between a run's last point and the next; None for nothing."""
        if self.timeline.visit_of(point.setup) == run[-1].setup:
            adjusted = abs(point.value - run[-1].value) >= LEFT_SHARE * self.room(point.value)
            return Shown.AS_LEFT if adjusted else None
        moved = run[-1].value - run[0].value
        toward = self.toward(run[-1].value, moved)
        back = toward * (run[-1].value - point.value)
        if back > 0.0 and back >= max(BACK_SHARE * self.room(point.value), BACK_OF_MOVED * toward * moved):
            return Shown.JUMP
        return None

    def toward(self, value: float, moved: float) -> float:
        """Which way it wears: as stated, else to the only limit there is, else the way it moved, 0 for unknown."""
        low, high = self.nearest(value, False), self.nearest(value, True)
        if self.wears:
            return self.wears
        if low is None or high is None:
            return 1.0 if low is None else -1.0
        return math.copysign(1.0, moved) if moved else 0.0

    def room(self, value: float) -> float:
        """The scale on which a change is small or large: the width of its window, or the size of its one limit."""
        low, high = self.nearest(value, False), self.nearest(value, True)
        if low is not None and high is not None:
            return high - low
        limit = high if low is None else low
        return 0.0 if limit is None else abs(limit)

    def nearest(self, value: float, most: bool) -> float | None:
        """The nearest limit of one kind that is not passed yet; the innermost where all are."""
        limits = sorted(bound.value if most else -bound.value for bound in self.bounds if bound.most is most)
        if not limits:
            return None
        found = next((limit for limit in limits if limit >= (value if most else -value)), limits[0])
        return found if most else -found
