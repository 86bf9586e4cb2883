"""The door: the setups of one unit in, its trends and what is due out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from audit.history.doings import find_doings, in_order
from audit.history.due import Present, due_items
from audit.history.subjects import Subject, subjects_of
from audit.history.timeline import SheetOf, make_timeline
from audit.history.trends import Anchor, trends_of
from audit.history.works import Works, works_of
from audit.nouns.history import Doing, History, Shown, Trend
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup


def history_of(
    rulebook: Rulebook, sheet: SheetOf, setups: Sequence[Setup], now: float, engine_hours: float | None = None
) -> History:
    """Trends and due items of one unit.

    Limits are those of the newest crop and of the newest setup that gives the value and settles them. A trend is fitted
    to the points since the part was last replaced or adjusted; see ``Trend``. A due item stands for the newest time
    that a procedure was done to a component.

    Args:
        rulebook: what the setups were read by.
        sheet: the check sheet of a card for a crop, such as ``Auditor.sheet``.
        setups: at least one, all of one unit, in the order in which they were taken.
        now: seconds since 1970.
        engine_hours: the unit's engine hours now, h; None where only the setups tell.

    Raises:
        BadInput: setups of several units, out of order, or with engine hours that go back.
    """
    timeline = make_timeline(sheet, setups)
    card = rulebook.machines[setups[-1].unit.card]
    newest = sheet(card.id, setups[-1].crop)
    works = works_of(rulebook, card, newest.names)
    recorded = find_doings(works, timeline)
    known, read_at = timeline.last_hours()
    anchor = Anchor(known, read_at) if engine_hours is None else Anchor(max(engine_hours, known or 0.0), now)
    subjects = subjects_of(newest)
    trends = tuple(trends_of(subjects, newest, timeline, recorded, works, anchor))
    doings = in_order([*recorded, *_shown_by(trends, subjects, works)])
    return History(
        setups[-1].unit.id, card.id, len(setups), anchor.engine_hours, timeline.hours_per_day(range(len(timeline))),
        doings, trends, due_items(rulebook, card, newest.names, timeline, doings, Present(now, engine_hours)),
    )  # fmt: skip


def _shown_by(trends: Sequence[Trend], subjects: Mapping[str, Subject], works: Works) -> Iterator[Doing]:
    """Work with nothing on record that a value shows, where one procedure alone can have done it."""
    for trend in trends:
        subject = subjects[trend.quantity]
        able = {
            (work.procedure.key, work.on)
            for reading in subject.readings
            for work in works.bringers.get(reading, ())
            if subject.owner in ("", work.on) or not work.on
        }
        for run in trend.runs:
            if run.began is not None and run.began.shown in (Shown.AS_LEFT, Shown.JUMP) and len(able) == 1:
                ((procedure, on),) = able
                yield replace(run.began, procedure=procedure, on=on)
