"""Changes to units, and to who is who, that are worked out on a snapshot and written at once.

What an import of thousands of machines brings takes seconds to work out, and whoever writes keeps everybody else from
writing. So it is worked out on what is on record without keeping anybody waiting; the transaction that writes it only
looks whether what that stood on is still so, and its statements do not grow with the machines. What is only to be
shown is never written at all. Whatever is read of a draft, it sees what was drafted before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from api.identity.caller import Caller
from api.service.gate import Gate, revocation
from api.service.in_force import InForce
from api.service.recording import Moved
from api.store import events, identities, import_questions, imports, machine_words, starts, type_cards, units
from api.store.database import Store, StoreUnavailable, Work
from api.store.events import Event, Saying
from api.store.identities import Identity
from api.store.import_questions import Question
from api.store.imports import ImportRow
from api.store.machine_words import Fault, Hours, Task, Value
from api.store.type_cards import TypeCard
from api.store.units import UnitRow
from audit.nouns.rulebook import Rulebook

_OF_A_UNIT = ("acceptance.", "note.", "photo.", "setup.", "start.", "work.")
"""Events that matter only to what is drafted of their own unit."""
_NEVER = ("rulebook.", "fleet-audit.", "token.", "webhook.", "calendar-feed.", "import_source.")
"""Events that matter to nothing that is drafted; which rulebook is in force is looked at by itself."""


@dataclass(frozen=True, slots=True)
class _Brought:
    """The row of an import with its report."""

    row: ImportRow
    text: bytes


Answer = TypeVar("Answer")
MOST_FAULTS = 1000
"""Fault codes of a unit that are looked through for one that is told again."""
MOST_TRIES = 5
"""How often something is drafted again because what it stood on changed meanwhile."""


class Draft:
    """Changes of one organisation that are not yet written.

    Args:
        work: the snapshot, or the transaction that writes them, which they are worked out on.
        who: who will have written them.   rulebook: the one in force there, where they stand on it.
    """

    def __init__(self, work: Work, who: str, rulebook: Rulebook | None = None) -> None:
        self.work, self.who, self.now = work, who, work.now
        self._rulebook = rulebook
        self._head, _ = events.head(work)
        self._said: list[Saying] = []
        self._brought: list[_Brought] = []
        self._taken_back: list[str] = []
        self._units: dict[str, UnitRow | None] = {}
        self._new_units: dict[str, UnitRow] = {}
        self._changed_units: dict[str, UnitRow] = {}
        self._serials: dict[str, dict[str, None]] = {}
        self._held: dict[tuple[str, str, str], Identity | None] = {}
        self._known_by: dict[str, list[Identity]] = {}
        self._new_identities: dict[str, Identity] = {}
        self._ended_identities: dict[str, float] = {}
        self._questions: dict[str, Question | None] = {}
        self._new_questions: dict[str, Question] = {}
        self._changed_questions: dict[str, Question] = {}
        self._number: int | None = None
        self._lines: dict[tuple[str, str], list[TypeCard]] = {}
        self._new_lines: dict[str, TypeCard] = {}
        self._ended_lines: dict[str, float] = {}
        self._hours: list[Hours] = []
        self._hours_said: set[tuple[str, float, float | None]] = set()
        self._values: dict[str, list[Value]] = {}
        self._faults: list[Fault] = []
        self._tasks: dict[str, Task] = {}
        self._waiting: dict[str, list[Task]] = {}
        self._revoked: dict[str, str] = {}

    def say(self, one: Saying) -> None:
        """An event that goes with what was drafted."""
        self._said.append(one)

    # units

    def unit(self, id: str) -> UnitRow | None:
        """A unit, None if there is none."""
        if id not in self._units:
            self._units[id] = units.find(self.work, id)
        return self._units[id]

    def units_of_serial(self, serial: str) -> list[UnitRow]:
        """Units of a serial in whatever case, in order of id."""
        wanted = serial.strip().lower()
        if wanted not in self._serials:
            self._serials[wanted] = {row.id: None for row in units.with_serial(self.work, serial)}
        ids = sorted({*self._serials[wanted], *self._new_units})
        rows = [row for id in ids if (row := self.unit(id)) is not None]
        return [row for row in rows if row.serial.strip().lower() == wanted]

    def put_unit(self, row: UnitRow, said: Saying | None = None) -> None:
        """A new unit, or one that is changed."""
        new = self.unit(row.id) is None or row.id in self._new_units
        (self._new_units if new else self._changed_units)[row.id] = row
        self._units[row.id] = row
        if said is not None:
            self.say(said)

    # by what units are known

    def held(self, scheme: str, issuer: str, value: str) -> Identity | None:
        """The identity that stands for this value, None if no unit has it."""
        key = scheme, issuer, value
        if key not in self._held:
            self._held[key] = identities.held(self.work, *key)
        return self._held[key]

    def known_by(self, unit: str) -> list[Identity]:
        """A unit's identities that stand, in the order in which they came."""
        if unit not in self._known_by:
            self._known_by[unit] = [] if unit in self._new_units else identities.of_unit(self.work, unit)
        return self._known_by[unit]

    def add_identity(self, one: Identity) -> None:
        """An identity of a unit, with its event."""
        self.known_by(one.unit).append(one)
        self._held[one.scheme, one.issuer, one.value] = self._new_identities[one.id] = one
        content = {name: getattr(one, name) for name in ("unit", "scheme", "issuer", "value", "proof")}
        self.say(Saying("identity.added", f"identity/{one.id}", content))

    def end_identity(self, one: Identity, why: str) -> Identity:
        """An identity that stands for its unit no more, with its event."""
        ended = replace(one, ended=self.now)
        self._known_by[one.unit] = [other for other in self.known_by(one.unit) if other.id != one.id]
        self._held[one.scheme, one.issuer, one.value] = None
        self._ended_identities[one.id] = self.now
        self.say(Saying("identity.ended", f"identity/{one.id}", {"unit": one.unit, "why": why}))
        return ended

    # questions

    def open_question(self, about: str) -> Question | None:
        """The open question about something."""
        if about not in self._questions:
            self._questions[about] = import_questions.open_about(self.work, about)
        return self._questions[about]

    def next_question(self) -> int:
        """Number of the next question."""
        if self._number is None:
            self._number = import_questions.next_number(self.work)
        return self._number

    def ask(self, one: Question) -> None:
        """A new question, with its event."""
        self._number = one.number + 1
        self._questions[one.about] = self._new_questions[one.id] = one
        content = {"number": one.number, "kind": one.kind, "about": one.about, "import": one.origin}
        self.say(Saying("question.asked", f"question/{one.id}", content))

    def change_question(self, one: Question) -> None:
        """A newer row waits for its answer."""
        (self._new_questions if one.id in self._new_questions else self._changed_questions)[one.id] = one
        self._questions[one.about] = one if one.answered is None else None

    def close_question(self, one: Question, answer: dict[str, Any]) -> Question:
        """What became of a question, with its event."""
        drafted = self._new_questions.get(one.id) or self._changed_questions.get(one.id) or one
        closed = replace(drafted, answered=self.now, answered_by=self.who, answer=answer)
        self.change_question(closed)
        self.say(Saying("question.answered", f"question/{one.id}", {"answer": answer}))
        return closed

    # machine cards of makers' types

    def lines_of_type(self, maker: str, type: str) -> list[TypeCard]:
        """Lines of a type that hold."""
        if (maker, type) not in self._lines:
            self._lines[maker, type] = type_cards.every(self.work, maker, type)
        return self._lines[maker, type]

    def add_line(self, one: TypeCard) -> None:
        """From now on a type is of a card, with its event."""
        self.lines_of_type(one.maker, one.type).append(one)
        self._new_lines[one.id] = one
        content = {name: getattr(one, name) for name in ("maker", "type", "serial_from", "serial_to", "card")}
        self.say(Saying("type_card.added", f"type-card/{one.id}", content))

    def end_line(self, one: TypeCard) -> None:
        """A line that holds no more, with its event."""
        key = one.maker, one.type
        self._lines[key] = [other for other in self.lines_of_type(*key) if other.id != one.id]
        self._ended_lines[one.id] = self.now
        self.say(Saying("type_card.ended", f"type-card/{one.id}", {"card": one.card}))

    # what machines and farm systems say

    def has_hours(self, unit: str, hours: float, taken: float | None) -> bool:
        """Whether this very reading is there already."""
        said = unit, hours, taken
        known = unit not in self._new_units and machine_words.has_hours(self.work, *said)
        return known or said in self._hours_said

    def add_hours(self, one: Hours) -> None:
        """A reading."""
        self._hours.append(one)
        self._hours_said.add((one.unit, one.hours, one.taken))

    def values_of(self, unit: str) -> list[Value]:
        """The newest value of each name and part of a unit."""
        stored = [] if unit in self._new_units else machine_words.values_of(self.work, unit)
        return machine_words.newest([*stored, *self._values.get(unit, ())])

    def add_value(self, one: Value) -> None:
        """A value."""
        self._values.setdefault(one.unit, []).append(one)

    def faults_of(self, unit: str) -> list[Fault]:
        """Fault codes of a unit, the newest first."""
        stored = [] if unit in self._new_units else machine_words.faults_of(self.work, unit, MOST_FAULTS)
        return [*(one for one in self._faults if one.unit == unit), *stored]

    def add_fault(self, one: Fault) -> None:
        """A fault code."""
        self._faults.append(one)

    def task(self, key: str) -> Task | None:
        """The newest planned harvest of a key."""
        return self._tasks.get(key) or next(iter(machine_words.tasks(self.work, key=key)), None)

    def waiting_tasks(self, origin: str) -> list[Task]:
        """Planned harvests of an import whose machine is not known."""
        if origin not in self._waiting:
            self._waiting[origin] = [one for one in machine_words.tasks(self.work, "") if one.origin == origin]
        drafted = [one for one in self._tasks.values() if one.origin == origin]
        return [one for one in (*self._waiting[origin], *drafted) if not self._tasks.get(one.key, one).unit]

    def add_task(self, one: Task) -> None:
        """A planned harvest."""
        self._tasks[one.key] = one

    # imports, and certificates that are true no more

    def bring(self, row: ImportRow, text: bytes, said: Saying) -> None:
        """An import with its report, after all that it brings."""
        self._brought.append(_Brought(row, text))
        self.say(said)

    def take_back(self, row: ImportRow, said: Saying) -> ImportRow:
        """An import that is undone: its values and planned harvests go, its readings count no more."""
        self._taken_back.append(row.id)
        self.say(said)
        return replace(row, undone=self.now, undone_by=self.who)

    def recheck(self, gate: Gate, ids: Iterable[str]) -> list[str]:
        """Revokes every good certificate of these units that would not be given now; which starts they are of."""
        rows = {id: row for id in ids if (row := self.unit(id)) is not None}
        found = list(gate.failing(self.work, rows)) if rows else []
        for start, why in found:
            self._revoked[start.id] = why
            self.say(revocation(start, why))
        return [start.id for start, _ in found]

    def write(self, work: Work, in_force: InForce | None = None) -> None:
        """Writes all of it, or nothing where what it stands on changed. Raises Moved.

        Args:
            in_force: tells the rulebook in force, for a draft that stands on one.
        """
        digest = "" if in_force is None else in_force.rulebook(work).digest
        if digest and self._rulebook is not None and digest != self._rulebook.digest:
            raise Moved
        if any(self._matters(one) for one in events.read(work, after=self._head)):
            raise Moved
        imports.add(work, [(one.row, one.text) for one in self._brought])
        units.add(work, *self._new_units.values())
        units.change(work, *self._changed_units.values())
        identities.add(work, list(self._new_identities.values()))
        identities.end(work, self._ended_identities)
        import_questions.add(work, list(self._new_questions.values()))
        import_questions.change(work, list(self._changed_questions.values()))
        type_cards.add(work, list(self._new_lines.values()))
        type_cards.end(work, self._ended_lines)
        machine_words.add_hours(work, self._hours)
        machine_words.add_values(work, [one for some in self._values.values() for one in some])
        machine_words.add_faults(work, self._faults)
        machine_words.add_tasks(work, self._tasks.values())
        for id in self._taken_back:
            machine_words.take_back(work, id)
            imports.end(work, id)
        for id, why in self._revoked.items():
            starts.revoke(work, id, why)
        events.append_all(work, self._said)

    def _matters(self, one: Event) -> bool:
        """Whether an event may have changed what this stands on."""
        if one.what.startswith(_NEVER):
            return False
        kind, _, id = one.subject.partition("/")
        unit = id if kind == "unit" else one.content.get("unit")
        return not (one.what.startswith(_OF_A_UNIT) and unit is not None and unit not in self._units)


def drawn(
    store: Store, in_force: InForce, caller: Caller, now: float, draw: Callable[[Draft, Rulebook], Answer]
) -> tuple[Draft, Answer]:
    """Drafts something on a snapshot, which keeps nobody from writing.

    Raises: NoSuchOrganisation, StoreUnavailable, Unreadable, and whatever ``draw`` raises.
    """
    with store.reading(caller.organisation, now) as work:
        rulebook = in_force.rulebook(work)
        draft = Draft(work, caller.who, rulebook)
        return draft, draw(draft, rulebook)


def done(
    store: Store, in_force: InForce, caller: Caller, now: float, draw: Callable[[Draft, Rulebook], Answer]
) -> Answer:
    """Drafts something and writes it; drafted again where what it stood on changed meanwhile.

    Raises: as ``drawn``; StoreUnavailable also where that kept changing.
    """
    for _ in range(MOST_TRIES):
        draft, answer = drawn(store, in_force, caller, now, draw)
        try:
            with store.writing(caller.organisation, caller.who, now) as work:
                draft.write(work, in_force)
        except Moved:
            continue
        return answer
    raise StoreUnavailable("what this stands on kept changing; nothing was written")
