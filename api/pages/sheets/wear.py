"""What wears, and when it reaches its limit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from api.pages.sheets.tables import Cell, Column, Table
from api.pages.view import View
from api.wire import Plain


def limits_of(histories: Iterable[Plain]) -> list[Plain]:
    """When parts of some units reach their nearest limit, the first to do so first.

    Args:
        histories: as ``history_wire.history_json`` gives them.
    """
    found = [
        {
            "unit": history["unit"], "meaning": trend["meaning"], "quantity": trend["quantity"], "side": trend["side"],
            "limit": one["limit_text"], "hours_left": one["hours_left"]["value"], "date": one["date"]["value"],
            "trend": trend,
        }
        for history in histories for trend in history["trends"] for one in trend["projections"][:1]
    ]  # fmt: skip
    return sorted(found, key=lambda one: (one["hours_left"], one["unit"], one["quantity"], one["side"]))


def wear_table(limits: Sequence[Plain], view: View) -> Table:
    """Limits as ``limits_of`` tells them."""
    say = view.language.say
    columns = (
        Column(say("Unit of the fleet"), wide=18), Column(say("What wears"), wide=44), Column(say("Side")),
        Column(say("Limit"), wide=20), Column(say("Hours left"), "h"), Column(say("Date at the limit"), wide=18),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (one["unit"], one["meaning"], say(one["side"]), one["limit"], one["hours_left"], _moment(one["date"]))
        for one in limits
    ]
    return Table(say("Wear"), columns, rows)


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
