"""What wears, and when it reaches its limit: as lines, as plots, as a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from api.drawings.plots import Reach, Wear, wear_trend
from api.pages.sheets.tables import Cell, Column, Table
from api.pages.units import INTO
from api.pages.view import View
from api.wire import Plain
from audit.measures import SIGNS, dimension_of, from_canonical, to_canonical


def limits_of(histories: Iterable[Plain]) -> list[Plain]:
    """When parts of some units reach their nearest limit, the first to do so first, each with its ``trend``.

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


def wear_plots(limits: Sequence[Plain], view: View, most: int) -> list[str]:
    """Plots of those that reach their limit first."""
    return [plot for plot in (wear_trend(_wear(one, view), view.number) for one in limits[:most]) if plot]


def _wear(one: Plain, view: View) -> Wear:
    say, trend = view.language.say, one["trend"]
    unit = INTO[view.units].get(trend["unit"], trend["unit"])

    def into(value: float) -> float:
        return from_canonical(to_canonical(value, trend["unit"], dimension_of(unit)), unit)

    runs = (
        tuple((point["engine_hours"], into(point["value"])) for point in run["points"] if point["engine_hours"])
        for run in trend["runs"]
    )
    at, rate = trend["projections"][0]["at_hours"], trend["rate_per_100_h"]
    when = say("at about {hours} h", hours=view.number(at["value"], 0))
    side = f", {say(one['side'])}" if one["side"] else ""
    limits = ((into(bound["value"]), say("limit {text}", text=bound["text"])) for bound in trend["bounds"])
    return Wear(
        title=f"{one['unit']}: {one['meaning']}{side}",
        hours_axis=say("Engine hours [h]"),
        value_axis=f"{one['quantity']} [{SIGNS.get(unit, unit)}]" if unit != "1" else one["quantity"],
        runs=tuple(run for run in runs if run),
        limits=tuple(dict.fromkeys(limits)),
        rate=None if rate is None else (into(rate["value"]) - into(0.0)) / 100,
        reach=Reach(at["value"], at["low"], at["high"], f"{when}, {one['date'][:10]}" if one["date"] else when),
    )


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
