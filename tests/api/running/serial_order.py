"""Walks a record in its order and decides everything on it anew, by a small reckoning of its own.

Writers of an organisation take turns, so the order of events is an order in which the same requests could have come one
after another. What the service answered while many asked at once must be right in that order: nothing is cleared that
it would have held, nothing held that it would have cleared, and no certificate stays good that would not be given any
more. Nothing of the service's own gate is used here; findings are those of the plain reading of the rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from api.store.events import Event

IDENTITY = ("card", "serial", "build_year", "fitted")
USUAL_TERMS = {"hold_at": "high", "most_hours": 50.0, "most_days": 14.0, "valid_for": 24.0}


class Open(NamedTuple):
    """A finding that holds a start: by which rule, on what, with which values found, and whether one may accept it."""

    rule: str
    on: str
    found: frozenset[tuple[str, str, Any]]
    acceptable: bool
    people: bool


class Recorded(NamedTuple):
    """A setup as the walk remembers it."""

    id: str
    number: int
    job: tuple[str, str]
    taken: float
    hours: float | None
    digest: str


@dataclass
class UnitSeen:
    """A unit as it stands in the order of the record."""

    identity: tuple[Any, ...]
    hours: float | None = None
    changed_after: int = 0
    retired: bool = False
    setups: list[Recorded] = field(default_factory=list)
    acceptances: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    good: dict[str, Mapping[str, Any]] = field(default_factory=dict)

    def learn_hours(self, hours: float | None) -> None:
        if hours is not None:
            self.hours = max(hours, self.hours or 0.0)


class Walk:
    """A walk over one organisation's record.

    Args:
        open_findings: what holds a start, by a setup's digest and the level that holds.
        hours_of: engine hours that a setup says, by its digest.
    """

    def __init__(
        self, open_findings: Callable[[str, str], Sequence[Open]], hours_of: Callable[[str], float | None]
    ) -> None:
        self.open_findings, self.hours_of = open_findings, hours_of
        self.units: dict[str, UnitSeen] = {}
        self.terms: Mapping[str, Any] = USUAL_TERMS
        self.effects: Mapping[str, str] = {}
        self.unexplained: dict[str, str] = {}

    def faults(self, events: Iterable[Event]) -> Iterator[str]:
        """Everything that would have been answered otherwise, one request after another."""
        last: Event | None = None
        for one in events:
            if last is not None and one.what != "start.revoked":
                yield from self.still_good(last)
            yield from (f"event {one.number}, {one.what} of {one.subject}: {said}" for said in self.take(one))
            last = one
        if last is not None:
            yield from self.still_good(last)
        yield from self.unexplained.values()

    def take(self, one: Event) -> Iterator[str]:
        """Lets one event happen."""
        id, content = one.subject.partition("/")[2], one.content
        if one.what == "organisation.changed":
            self.terms, self.effects = content["terms"], content["effects"]
        elif one.what == "unit.added":
            self.units[id] = UnitSeen(_identity(content), content["engine_hours"])
        elif one.what == "unit.changed":
            unit = self.units[id]
            if _identity(content) != unit.identity:
                unit.identity, unit.changed_after = _identity(content), len(unit.setups)
            unit.hours = content["engine_hours"]
        elif one.what == "unit.retired":
            self.units[id].retired = True
        elif one.what == "setup.recorded":
            yield from self.recorded(id, one)
        elif one.what == "acceptance.given":
            self.units[content["unit"]].acceptances[id] = {**content, "at": one.at}
        elif one.what == "acceptance.withdrawn":
            del self.units[content["unit"]].acceptances[id]
        elif one.what == "start.cleared":
            yield from self.cleared(id, one)
        elif one.what == "start.held":
            yield from self.held(id, one)
        elif one.what == "start.revoked":
            yield from self.revoked(id, one)
        elif one.what == "signing-key.compromised":
            for start in one.content["revoked"]:
                self.unexplained.pop(start, None)

    def recorded(self, id: str, one: Event) -> Iterator[str]:
        unit, content = self.units[one.content["unit"]], one.content
        if content["number"] != len(unit.setups) + 1:
            yield f"it is number {content['number']} after {len(unit.setups)} setups"
        hours, job = self.hours_of(one.after), (content["crop"], content["header_kind"])
        unit.setups.append(Recorded(id, content["number"], job, content["taken"], hours, one.after))
        unit.learn_hours(hours)
        if content["hold_at"].lower() != self.terms["hold_at"]:
            yield f"judged at {content['hold_at']}, where {self.terms['hold_at']} held"
        holds = bool(self.open_findings(one.after, self.terms["hold_at"]))
        if (content["clearance"] == "held") != holds:
            yield f"its audit says {content['clearance']}, the plain reading {'held' if holds else 'cleared'}"

    def cleared(self, id: str, one: Event) -> Iterator[str]:
        unit, content = self.units[one.content["unit"]], one.content
        if (unit.hours or 0.0) > (content["engine_hours"] or 0.0):
            yield "it was decided on fewer engine hours than were known"
        unit.learn_hours(content["engine_hours"])
        against = list(self.against(unit, _job(content), one.at))
        if against:
            yield f"cleared against: {'; '.join(against)}"
            return
        newest = _newest(unit)
        if (content["setup"], one.after) != (newest.id, newest.digest):
            yield f"it stands on {content['setup']}, the newest is {newest.id}"
        used = [unit.acceptances.get(acceptance) for acceptance in content["accepted"]]
        if None in used:
            yield "it stands on an acceptance that was not in force"
        ends = [one.at + self.terms["valid_for"] * 3600, newest.taken + self.terms["most_days"] * 86400]
        ends += [acceptance["until"] for acceptance in used if acceptance is not None]
        if content["expires"] > max(min(ends), one.at + 1):
            yield "it is good for longer than what it stands on"
        for finding in self.to_be_accepted(newest):
            if not any(acceptance is not None and _covers(acceptance, finding) for acceptance in used):
                yield f"it does not name who accepted {finding.rule}"
        unit.good[id] = content

    def held(self, id: str, one: Event) -> Iterator[str]:
        unit = self.units[id]
        unit.learn_hours(one.content["engine_hours"])
        if not list(self.against(unit, _job(one.content), one.at)):
            yield "held, and nothing speaks against it"
        if not one.content["reasons"]:
            yield "held without a reason"

    def revoked(self, id: str, one: Event) -> Iterator[str]:
        unit = self.units[one.content["unit"]]
        start = unit.good.pop(id, None)
        if start is None:
            yield "revoked, but it was not good"
        elif not list(self.against(unit, _job(start), one.at)):  # unless its key turns out to be known to others
            self.unexplained[id] = f"event {one.number}, {one.what} of {one.subject}: nothing speaks against it"

    def still_good(self, last: Event) -> Iterator[str]:
        """Certificates that are good although they would not be given now."""
        for name, unit in self.units.items():
            for id, start in unit.good.items():
                against = list(self.against(unit, _job(start), last.at)) if start["expires"] > last.at else []
                if against:
                    yield f"after event {last.number} {id} of {name} is still good against: {'; '.join(against)}"

    def against(self, unit: UnitSeen, job: tuple[str, str], now: float) -> Iterator[str]:
        """All that speaks against a start."""
        if unit.retired:
            yield "the unit is retired"
        if not unit.setups:
            yield "there is no setup"
            return
        newest = _newest(unit)
        if newest.job != job:
            yield "the newest setup is for another job"
        if newest.number < len(unit.setups):
            yield "a setup taken before it was recorded after it"
        if newest.number <= unit.changed_after:
            yield "the unit is another since"
        if now - newest.taken > self.terms["most_days"] * 86400:
            yield "the setup is too old"
        if newest.hours is None:
            yield "its engine hours are not known"
        elif max(newest.hours, unit.hours or 0.0) - newest.hours > self.terms["most_hours"]:
            yield "the engine has run too long since"
        for finding in self.to_be_accepted(newest):
            given = [one for one in unit.acceptances.values() if _covers(one, finding)]
            if not any(finding.acceptable and one["until"] > now and _job(one) == job for one in given):
                yield f"{finding.rule} on '{finding.on}' is open"

    def to_be_accepted(self, setup: Recorded) -> list[Open]:
        """Findings that hold a start unless somebody accepts them."""
        found = self.open_findings(setup.digest, self.terms["hold_at"])
        return [one for one in found if one.people or self.effects.get(one.rule, "holds") == "holds"]


def _newest(unit: UnitSeen) -> Recorded:
    return max(unit.setups, key=lambda one: (one.taken, one.number))


def _covers(acceptance: Mapping[str, Any], finding: Open) -> bool:
    """Whether an acceptance is about a finding as it is found."""
    found = frozenset((name, side, value) for name, side, value in acceptance["found"])
    return (acceptance["rule"], acceptance["on"], found) == (finding.rule, finding.on, finding.found)


def _job(content: Mapping[str, Any]) -> tuple[str, str]:
    return content["crop"], content["header_kind"]


def _identity(content: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(repr(content.get(name)) for name in IDENTITY)
