"""The history of a unit as plain values for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.record_wire import moment
from api.store.setups import SetupRow
from api.wire import basis_json
from audit.measures import from_canonical
from audit.nouns.history import Doing, DueItem, History, Point, Projection, Rate, Run, Trend
from audit.nouns.rulebook import Rulebook

Plain = dict[str, Any]


def history_json(history: History, rows: Sequence[SetupRow], unread: Sequence[str], rulebook: Rulebook) -> Plain:
    """Trends and due items.

    Args:
        rows: the setups that the history was told from, in its order.
        unread: ids of setups that the rulebook in force can no longer read.
    """
    teller = _Teller(rows, rulebook)
    return {
        "unit": history.unit,
        "card": history.card,
        "setups": history.setups,
        "unread": list(unread),
        "engine_hours": history.engine_hours,
        "hours_per_day": history.hours_per_day,
        "due": [teller.due(item) for item in history.due],
        "trends": [teller.trend(trend) for trend in history.trends],
        "doings": [teller.doing(doing) for doing in history.doings],
    }


class _Teller:
    def __init__(self, rows: Sequence[SetupRow], rulebook: Rulebook) -> None:
        self.rows, self.rulebook = rows, rulebook

    def setup(self, place: int | None) -> str | None:
        return self.rows[place].id if place is not None and 0 <= place < len(self.rows) else None

    def title(self, procedure: str) -> str:
        found = self.rulebook.procedures.get(procedure)
        return found.title if found is not None else ""

    def doing(self, doing: Doing) -> Plain:
        return {
            "procedure": doing.procedure, "title": self.title(doing.procedure), "on": doing.on,
            "certain": doing.certain, "shown": doing.shown.value, "by": doing.by, "at": moment(doing.at),
            "after_setup": self.setup(doing.after), "before_setup": self.setup(doing.before),
            "hours_low": doing.hours_low, "hours_high": doing.hours_high,
        }  # fmt: skip

    def due(self, item: DueItem) -> Plain:
        return {
            "state": item.state.value, "why": item.why, "procedure": item.procedure,
            "title": self.title(item.procedure), "on": item.on, "take": list(item.take),
            "instead": list(item.instead), "because": item.because, "basis": basis_json(item.basis, self.rulebook),
            "due_at": item.due_at, "overdue_at": item.overdue_at, "due_by": moment(item.due_by),
            "closed_by": self.setup(item.closed_by), "done": self.doing(item.done),
        }  # fmt: skip

    def trend(self, trend: Trend) -> Plain:
        unit = trend.unit
        return {
            "quantity": trend.quantity, "side": trend.side, "meaning": trend.meaning, "unit": unit,
            "bounds": [
                {"rule": bound.rule, "on": bound.on, "value": _shown(bound.value, unit), "text": bound.text,
                 "most": bound.most}
                for bound in trend.bounds
            ],
            "runs": [self.run(run, unit) for run in trend.runs],
            "left_out": [self.point(point, unit) for point in trend.left_out],
            "rate_per_100_h": None if trend.rate is None else _rate(trend.rate, unit),
            "projections": [self.projection(one, unit) for one in trend.projections],
            "why_not": "" if trend.why_not is None else trend.why_not.value,
        }  # fmt: skip

    def run(self, run: Run, unit: str) -> Plain:
        return {
            "began": None if run.began is None else self.doing(run.began),
            "points": [self.point(point, unit) for point in run.points],
        }

    def point(self, point: Point, unit: str) -> Plain:
        return {
            "setup": self.setup(point.setup), "at": moment(point.at), "state": point.state,
            "engine_hours": point.engine_hours, "value": _shown(point.value, unit),
            "left_out": "" if point.left_out is None else point.left_out.value,
        }  # fmt: skip

    def projection(self, one: Projection, unit: str) -> Plain:
        bound = one.bound
        return {
            "rule": bound.rule, "on": bound.on, "limit": _shown(bound.value, unit), "limit_text": bound.text,
            "at_hours": _range(one.at_hours, one.at_hours_low, one.at_hours_high),
            "hours_left": _range(one.hours_left, one.hours_left_low, one.hours_left_high),
            "date": {"value": moment(one.date), "low": moment(one.date_low), "high": moment(one.date_high)},
        }  # fmt: skip


def _range(value: float, low: float | None, high: float | None) -> Plain:
    return {"value": value, "low": low, "high": high}


def _shown(value: float, unit: str) -> float:
    return from_canonical(value, unit)


def _rate(rate: Rate, unit: str) -> Plain:
    """In display units per 100 h: a difference, so that an offset of the unit does not count."""

    def change(value: float | None) -> float | None:
        return None if value is None else _shown(100.0 * value, unit) - _shown(0.0, unit)

    return {"points": rate.points, "value": change(rate.per_hour), "low": change(rate.low), "high": change(rate.high)}
