"""A day's log of one unit as plain values for JSON."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from api.fleet_wire import Teller
from audit.fleet.spells import LogAudit, OutOfWindow
from audit.nouns.rulebook import Rulebook

Plain = dict[str, Any]


def log_json(log: LogAudit, unit: str, card: str, rulebook: Rulebook) -> Plain:
    """A day's log of one unit."""
    tell = Teller(rulebook)
    return {
        "unit": unit,
        "card": card,
        "rulebook": {"digest": rulebook.digest},
        "rows": log.rows,
        "same_time": log.same_time,
        "unordered": log.unordered,
        "start": moment(log.start),
        "end": moment(log.end),
        "gap_limit_s": log.gap_limit,
        "debounce_s": log.debounce,
        "covered_s": log.covered,
        "gaps": [{"start": moment(start), "end": moment(end), "seconds": end - start} for start, end in log.gaps],
        "hectares": log.hectares,
        "seconds_no_area": log.seconds_no_area,
        "out": [_out_json(one, card, tell) for one in log.out],
        "never_answered": [
            {
                "rule": rule,
                "title": tell.title(rule),
                "on": on,
                "on_title": tell.on_title(card, on),
                "seconds": seconds,
            }
            for (rule, on), seconds in log.never_answered
        ],
    }


def _out_json(one: OutOfWindow, card: str, tell: Teller) -> Plain:
    return {
        "rule": one.rule,
        "title": tell.title(one.rule),
        "on": one.on,
        "on_title": tell.on_title(card, one.on),
        "level": one.level.name.lower(),
        "index": one.index,
        "danger_to_people": one.people,
        "downtime_h": one.downtime,
        "seconds": one.seconds,
        "seconds_unknown": one.seconds_unknown,
        "damage_time": one.damage_time,
        "hectares": one.hectares,
        "seconds_no_area": one.seconds_no_area,
        "short": one.short,
        "spells": [
            {
                "start": moment(spell.start),
                "end": moment(spell.end),
                "open": spell.open,
                "seconds": spell.seconds,
                "flickers": spell.flickers,
            }
            for spell in one.spells
        ],
    }


def moment(seconds: float) -> str:
    """RFC 3339 in UTC, to the second."""
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
