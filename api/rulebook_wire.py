"""Rulebooks on record and replays as plain values for JSON; the same shape for the command line and for HTTP."""

from __future__ import annotations

from collections.abc import Mapping

from api.catalogue import rule_line_json
from api.record_wire import Plain, moment
from api.service.replay import Fleet, Replay, State, Tally, Where
from api.store.rulebooks import RulebookRow
from audit.clearing import effect_of
from audit.nouns.clearance import Effect
from audit.nouns.rulebook import Rulebook


def version_json(row: RulebookRow, in_force: str) -> Plain:
    """A version, without its files."""
    return {
        "digest": row.digest,
        "number": row.number,
        "note": row.note,
        "signed_by": row.signed_by,
        "added": moment(row.added),
        "added_by": row.added_by,
        "activated": moment(row.activated),
        "in_force": row.digest == in_force,
    }


def rules_json(rulebook: Rulebook, effects: Mapping[str, Effect], fleet: Fleet) -> Plain:
    """Every rule with what it does if broken, and how often it is in the fleet."""
    return {
        "digest": rulebook.digest,
        "setups": fleet.setups,
        "not_read": fleet.not_read,
        "rules": [
            {
                **rule_line_json(rule),
                "effect": effect_of(rule.id, rulebook.rules, effects).value,
                "fleet": _tally(fleet.rules.get(rule.id)),
            }
            for rule in rulebook.rules.values()
        ],
    }


def replay_json(found: Replay) -> Plain:
    """A replay: counts first, then who changes and by which rules."""
    return {
        "before": found.before,
        "after": found.after,
        "setups": found.setups,
        "newly_held": found.states.get((State.CLEARED, State.HELD), 0),
        "newly_cleared": found.states.get((State.HELD, State.CLEARED), 0),
        "states": [
            {"before": before.value, "after": after.value, "setups": count}
            for (before, after), count in sorted(
                found.states.items(), key=lambda one: [state.value for state in one[0]]
            )
        ],
        "changes": [
            {
                "unit": one.unit,
                "setup": one.setup,
                "before": one.before.value,
                "after": one.after.value,
                "held_by": [_where(where) for where in one.held_by],
                "freed_of": [_where(where) for where in one.freed_of],
            }
            for one in found.changes
        ],
        "more_changes": found.more_changes,
        "not_read": [
            {"unit": one.unit, "setup": one.setup, "before": one.before.value, "problems": list(one.problems)}
            for one in found.not_read
        ],
        "more_not_read": found.more_not_read,
        "rules": [
            {"rule": rule, "before": _tally(before), "after": _tally(after)}
            for rule, (before, after) in found.rules.items()
        ],
    }


def _where(where: Where) -> Plain:
    return {"rule": where[0], "on": where[1]}


def _tally(found: Tally | None) -> Plain | None:
    return None if found is None else {"broken": found.broken, "unknown": found.unknown, "holds": found.holds}
