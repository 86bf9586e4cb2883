"""Imports from farm systems: read, seen without a trace, applied whole or not at all, each row with its fate.

An import is worked out as a draft; a dry run is the draft that nobody writes, so that it shows what would happen and
nothing else. Importing the same again changes nothing. Settings that a machine says of itself are kept beside the unit
for whoever takes a setup; they are never part of one by themselves, and never count as verified.
"""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from hashlib import sha256
from typing import Any

from api.exchange.identifiers import PROOF, Claim, claims
from api.exchange.reading.files import Files
from api.exchange.reading.kept import plain_unit
from api.exchange.reading.nouns import (
    HourReading,
    MachineFault,
    MachineValue,
    NotRead,
    Read,
    ReadCrop,
    ReadTask,
    ReadUnit,
)
from api.exchange.reading.registry import format_of
from api.exchange.reading.times import zone_named
from api.service.draft import Draft
from api.service.gate import Gate
from api.service.hours import Fall, hear, why_not
from api.service.placing import METER, WHICH_CARD, WHICH_UNIT, Ask, Decided, New, Not, about, place
from api.service.recording import said_unit
from api.store import imports
from api.store.events import Saying
from api.store.identities import Identity
from api.store.import_questions import Question
from api.store.imports import ImportRow
from api.store.machine_words import Fault, Task, Value
from api.store.units import UnitRow
from audit.intake.setups import find_crop
from audit.nouns.problem import BadInput
from audit.nouns.rulebook import Rulebook

CHANGES = frozenset({"new unit", "updated", "planned", "waits"})
"""Fates after which something is on record that was not there before."""


MOST_UNITS = 2000
"""Machines of one import."""
MOST_ROWS = 10_000


@dataclass(frozen=True, slots=True)
class Prepared:
    """A file that is read, and what it was read from.

    Attributes:
        name: of the file or address.   source: what its fleet numbers and tasks are unique within.
        polled: the source on record that was asked, '' for none.   digest: SHA-256 of content and mapping.
    """

    format: str
    name: str
    source: str
    polled: str
    digest: str
    read: Read


@dataclass(frozen=True, slots=True)
class Line:
    """What came of one row."""

    place: str
    what: str
    fate: str
    unit: str = ""
    text: str = ""
    advice: str = ""
    question: str = ""


@dataclass(slots=True)
class Report:
    """What came of an import."""

    row: ImportRow
    lines: list[Line] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    revoked: list[str] = field(default_factory=list)
    repeated: bool = False

    def counts(self) -> dict[str, int]:
        """How many rows had which fate."""
        return dict(sorted(Counter(line.fate for line in self.lines).items()))

    def plain(self) -> dict[str, Any]:
        """For JSON, without what the row itself says."""
        return {
            "counts": self.counts(), "lines": [asdict(line) for line in self.lines], "notes": self.notes,
            "revoked": self.revoked,
        }  # fmt: skip


def prepare(files: Files, mapping: bytes = b"", format: str = "", source: str = "", timezone: str = "") -> Prepared:
    """Reads what was sent. Raises NotRead.

    Args:
        mapping: text of a mapping file, for formats that need one.
        format: name of the format, '' to see.
        source: a name for where it comes from, '' for what the file itself says.
        timezone: IANA's name of the time zone of clocks whose times have no offset, '' for not known.
    """
    chosen, zone = format_of(files, format), zone_named(timezone)
    found = sha256(f"{chosen.name}\0{source}\0".encode() + sha256(mapping).digest() + timezone.encode())
    for path in files.paths():
        found.update(f"{path}\0".encode() + sha256(files.read(path)).digest())
    read = chosen.read(files, mapping, zone)
    check_size(files.name, read)
    return Prepared(chosen.name, files.name[:200], source or read.origin, "", found.hexdigest(), read)


def check_size(name: str, read: Read) -> None:
    """Raises NotRead for more than one transaction should take: nobody else writes meanwhile."""
    if len(read.units) > MOST_UNITS:
        raise NotRead(name, f"holds more than {MOST_UNITS:,} machines", "Send it in parts")
    if sum(map(len, (read.units, read.crops, read.tasks, read.rows))) > MOST_ROWS:
        raise NotRead(name, f"holds more than {MOST_ROWS:,} machines, crops, tasks and bad rows", "Send it in parts")


def apply(draft: Draft, gate: Gate, rulebook: Rulebook, prepared: Prepared) -> Report:
    """Drafts what is new, with an event; of a file whose every row is there already, nothing."""
    before = imports.same(draft.work, prepared.digest)
    row = ImportRow(
        id=f"import-{secrets.token_hex(8)}", number=imports.next_number(draft.work), format=prepared.format,
        name=prepared.name, source=prepared.polled, digest=prepared.digest, at=draft.now, by=draft.who, undone=None,
        undone_by=None,
    )  # fmt: skip
    applying = Applying(draft, rulebook, row, prepared.source)
    read = prepared.read
    lines = [
        Line(one.place, "row", "refused" if one.wrong else "passed over", "", one.why, one.advice) for one in read.rows
    ]
    applying.begun = before is None
    lines += [applying.unit(one) for one in read.units]
    lines += [applying.crop(one) for one in read.crops]
    lines += [line for one in read.tasks for line in applying.task(one)]
    report = Report(row, lines, [*read.notes, *applying.notes])
    if before is not None and not applying.begun:
        return replace(report, row=before, repeated=True)
    report.revoked = draft.recheck(gate, applying.touched)
    text = imports.text_of(report.plain())
    content = {
        "number": row.number, "format": row.format, "name": row.name, "source": row.source, "digest": row.digest,
        "counts": report.counts(), "hours": applying.hours,
    }  # fmt: skip
    draft.bring(row, text, Saying("import.applied", f"import/{row.id}", content, after=sha256(text).hexdigest()))
    return report


class Applying:
    """One import while its rows are drafted.

    Attributes:
        begun: whether it brings anything that was not on record.
        answering: the question whose row is put on record, '' for none.
        units: ids of units by the keys that the file uses.   touched: units that changed in what a start depends on.
        hours: before and after of every unit whose hours rose.
    """

    def __init__(self, draft: Draft, rulebook: Rulebook, row: ImportRow, source: str) -> None:
        self.draft, self.rulebook, self.row, self.source = draft, rulebook, row, source
        self.begun = False
        self.answering = ""
        self.units: dict[str, str] = {}
        self.touched: set[str] = set()
        self.hours: dict[str, list[float | None]] = {}
        self.notes: list[str] = []

    def unit(self, one: ReadUnit, decided: Decided = Decided()) -> Line:  # noqa: B008 - frozen
        """One machine."""
        claimed, said = claims(one, self.source)
        self.notes += [f"{one.place}: {text}." for text in said]
        if not claimed:
            return Line(one.place, "unit", "refused", "", f"{'; '.join(said)}", "Nobody knows which machine it is")
        if one.hours is not None and (wrong := why_not(one.hours, self.draft.now)):
            return Line(one.place, "unit", "refused", "", wrong, "Ask the sender; the machine was not changed")
        found = place(self.draft, self.rulebook, one, claimed, decided)
        if isinstance(found, Not):
            return Line(one.place, "unit", "refused", "", found.why, found.advice)
        if isinstance(found, Ask):
            return self.ask(one, found, new=decided.new)
        changes: list[str] = []
        if isinstance(found, New):
            made = self._made(one, found)
            if isinstance(made, Line):
                return made
            row, proof, fate = made, "it came with this unit", "new unit"
            changes.append(f"added with card {row.card}")
        else:
            row, proof, fate = found.unit, found.proof, "updated"
        self.units[one.key] = row.id
        self._settle(claimed)
        if decided != Decided():
            self._give_tasks(one.key, row.id)
        changes += self._join(row, claimed, proof, bool(decided.unit or decided.new))
        fall = self._hear(row, one.hours, changes)
        changes += self._values(row, one.values)
        changes += self._faults(row, one.faults)
        if fall is not None:
            line = self.ask(one, Ask(METER, f"{METER}|{row.id}", fall.text, ("replaced", "wrong")), row.id)
            return replace(line, text="; ".join([*changes, line.text])) if changes else line
        text = "; ".join([*changes, *(_not_taken(row, one) if fate == "updated" else ())])
        return Line(one.place, "unit", fate if changes else "nothing new", row.id, text)

    def ask(self, one: ReadUnit, asked: Ask, unit: str = "", new: bool = False) -> Line:
        """A row that waits for an answer; the same question is asked once, and the newest row waits."""
        content = {
            "text": asked.text, "choices": list(asked.choices), "unit": unit, "source": self.source,
            "new": new, "row": plain_unit(one),
        }  # fmt: skip
        open = self.draft.open_question(asked.about)
        if open is not None:
            if open.content != content:
                self.begun = True
                self.draft.change_question(replace(open, content=content))
            return Line(one.place, "unit", "waits", unit, asked.text, "", open.id)
        self.begun = True
        question = Question(
            f"question-{secrets.token_hex(8)}", self.draft.next_question(), self.row.id, asked.kind, asked.about,
            content, self.draft.now,
        )  # fmt: skip
        self.draft.ask(question)
        return Line(one.place, "unit", "waits", unit, asked.text, "", question.id)

    def crop(self, one: ReadCrop) -> Line:
        """A crop that the file names: whether the rulebook knows it."""
        found = {crop for said in one.said if (crop := find_crop(said, self.rulebook))}
        shown = one.said[0][:60]
        if len(found) == 1:
            return Line(one.place, "crop", "recognised", "", f"'{shown}' is {found.pop()}")
        why = f"'{shown}' is no name of a crop card" if not found else f"'{shown}' names {' and '.join(sorted(found))}"
        return Line(
            one.place, "crop", "not recognised", "", why, "Add the name to 'names' of your crop card; none is guessed"
        )

    def task(self, one: ReadTask) -> list[Line]:
        """A planned harvest, once for every unit that it names."""
        found = {crop for said in one.crops if (crop := find_crop(said, self.rulebook))}
        crop = found.pop() if len(found) == 1 else ""
        said = "" if crop else f"its crop ({', '.join(one.crops)[:80] or 'not named'}) is not known for certain"
        lines = []
        for named in one.units or ("",):
            unit = self.units.get(named, "")
            task = Task(
                key=f"{self.row.format}|{self.source}|{one.key}|{named}", unit=unit, name=one.name[:200],
                field=one.field[:200], crop=crop, crop_said=", ".join(one.crops)[:200], begins=one.begins,
                ends=one.ends, state=one.state, origin=self.row.id, at=self.draft.now, local=one.local,
            )  # fmt: skip
            before = self.draft.task(task.key)
            if before is not None and replace(before, origin=task.origin, at=task.at) == task:
                lines.append(Line(one.place, "task", "nothing new", unit))
                continue
            self.begun = True
            self.draft.add_task(task)
            lines.append(
                Line(one.place, "task", "planned", unit, "; ".join(filter(None, (f"'{one.name[:60]}'", said))))
            )
        return lines

    def _give_tasks(self, named: str, unit: str) -> None:
        """Planned harvests of a machine that waited for an answer are its unit's from now on."""
        for task in self.draft.waiting_tasks(self.row.id):
            if task.key.endswith(f"|{named}"):
                self.draft.add_task(replace(task, unit=unit))

    def _settle(self, claimed: Sequence[Claim]) -> None:
        """Closes questions that this row no longer asks, as somebody said meanwhile what it waited for."""
        for kind in (WHICH_UNIT, WHICH_CARD):
            open = self.draft.open_question(about(kind, claimed))
            if open is not None and open.id != self.answering:
                self.begun = True
                self.draft.close_question(open, {"settled": True})

    def _made(self, one: ReadUnit, found: New) -> UnitRow | Line:
        says = {
            "card": found.card, "serial": one.serial or None, "build_year": one.build_year, "fitted": None,
            "owner": one.owner or None, "engine_hours": None,
        }  # fmt: skip
        try:
            row, event = said_unit(self.rulebook, found.id, says, self.draft.unit(found.id), self.draft.now)
        except BadInput as error:
            said = " ".join(f"{problem.place}: {problem.message}" for problem in error.problems[:5])
            return Line(one.place, "unit", "refused", "", said, "Put it right where it comes from")
        self.begun = True
        self.draft.put_unit(row, event)
        self.touched.add(row.id)
        return row

    def _join(self, row: UnitRow, claimed: Sequence[Claim], proof: str, person: bool) -> list[str]:
        """Gives a unit the identities that it has not. One of another unit moves only if a person said so."""
        said = []
        for claim in claimed:
            held = self.draft.held(claim.scheme.value, claim.issuer, claim.value)
            if held is not None and held.unit == row.id:
                continue
            if held is not None and not (person and claim.scheme in PROOF):
                self.notes.append(f"{claim.scheme.value} '{claim.shown[:40]}' is that of {held.unit} and stays there.")
                continue
            self.begun = True
            if held is not None:
                self.draft.end_identity(held, f"a person said that it is {row.id}'s")
            add_identity(self.draft, row.id, claim, proof, self.row.id)
            said.append(f"{claim.scheme.value} {claim.shown[:40]}")
        return [f"known by {', '.join(said)}"] if said else []

    def _hear(self, row: UnitRow, reading: HourReading | None, changes: list[str]) -> Fall | None:
        """Takes a reading of engine hours; what is to be asked of a fall."""
        if reading is None:
            return None
        heard = hear(self.draft, row, reading, self.row.id)
        if isinstance(heard, Fall):
            return heard
        if heard.text:
            self.begun = True
            changes.append(heard.text)
            self.draft.add_hours(heard.kept)
        if heard.after is not None:
            self.draft.put_unit(heard.after)
            self.hours[row.id] = [row.engine_hours, heard.after.engine_hours]
            self.touched.add(row.id)
        return None

    def _values(self, row: UnitRow, values: Sequence[MachineValue]) -> list[str]:
        """Keeps what the machine says of its settings; it is shown as not verified."""
        if not values:
            return []
        known = {(one.code, one.role, one.part): (one.value, one.taken) for one in self.draft.values_of(row.id)}
        fresh = [one for one in values if known.get((one.code, one.role.value, one.part)) != (one.value, one.taken)]
        for one in fresh:
            self.begun = True
            self.draft.add_value(
                Value(
                    row.id, one.quantity, one.code, one.role.value, one.part[:80], one.value, one.measure, one.taken,
                    self.row.id, self.draft.now, one.local,
                )
            )  # fmt: skip
        return [f"{len(fresh)} settings from the machine, not verified"] if fresh else []

    def _faults(self, row: UnitRow, faults: Sequence[MachineFault]) -> list[str]:
        """Keeps fault codes that the machine tells, as facts: nothing is judged by them."""
        if not faults:
            return []
        known = {(one.code, one.source, one.taken) for one in self.draft.faults_of(row.id)}
        fresh = [one for one in faults if (one.code[:80], one.source[:80], one.taken) not in known]
        for one in fresh:
            self.begun = True
            self.draft.add_fault(
                Fault(
                    row.id, one.code[:80], one.says[:200], one.severity[:40], one.source[:80], one.taken, self.row.id,
                    self.draft.now, one.local,
                )
            )  # fmt: skip
        return [f"{len(fresh)} fault codes, as the machine tells them"] if fresh else []


def _not_taken(row: UnitRow, one: ReadUnit) -> list[str]:
    """What a file says otherwise than the record of what a unit is: imports never change that."""
    years = ("build year", one.build_year, row.build_year)
    pairs = (("card", one.card, row.card), years, ("owner", one.owner, row.owner))
    return [
        f"{name} {said} is not taken: on record is {known or 'none'}"
        for name, said, known in pairs
        if said and said != known
    ]


def add_identity(draft: Draft, unit: str, claim: Claim, proof: str, origin: str) -> Identity:
    """Gives a unit an identity."""
    one = Identity(
        f"identity-{secrets.token_hex(8)}", unit, claim.scheme.value, claim.issuer, claim.value, claim.shown[:200],
        proof, origin, draft.now,
    )  # fmt: skip
    draft.add_identity(one)
    return one
