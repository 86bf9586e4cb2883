"""What is on record as plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from api.store.photos import NoteRow, PhotoRow
from api.store.setups import SetupRow
from api.store.starts import StartRow
from api.store.units import UnitRow
from api.wire import finding_json
from audit.nouns.clearance import Acceptance, Decision, Reason
from audit.nouns.finding import Finding
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

Plain = dict[str, Any]


def moment(seconds: float | None) -> str | None:
    """RFC 3339 in UTC."""
    if seconds is None:
        return None
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def unit_json(unit: UnitRow) -> Plain:
    return {
        "id": unit.id, "card": unit.card, "serial": unit.serial, "build_year": unit.build_year,
        "fitted": dict(unit.fitted), "owner": unit.owner, "engine_hours": unit.engine_hours,
        "hours_at": moment(unit.hours_at), "setups": unit.setups, "created": moment(unit.created),
        "retired": moment(unit.retired), "edition": unit.edition,
    }  # fmt: skip


def setup_json(setup: SetupRow) -> Plain:
    return {
        "id": setup.id, "unit": setup.unit, "number": setup.number, "digest": setup.digest, "card": setup.card,
        "crop": setup.crop, "header_kind": setup.header_kind, "state": setup.state, "taken": moment(setup.taken),
        "taken_by": setup.taken_by, "engine_hours": setup.engine_hours, "recorded": moment(setup.recorded),
        "recorded_by": setup.recorded_by,
    }  # fmt: skip


def photo_json(photo: PhotoRow) -> Plain:
    return {
        "id": photo.id, "unit": photo.unit, "setup": photo.setup, "quantity": photo.quantity, "media": photo.media,
        "digest": photo.digest, "at": moment(photo.at), "by": photo.by,
    }  # fmt: skip


def note_json(note: NoteRow) -> Plain:
    return {
        "id": note.id, "unit": note.unit, "setup": note.setup, "quantity": note.quantity, "text": note.text,
        "at": moment(note.at), "by": note.by,
    }  # fmt: skip


def start_json(start: StartRow, short: str) -> Plain:
    return {
        "id": start.id, "unit": start.unit, "number": start.number, "crop": start.crop,
        "header_kind": start.header_kind, "setup": start.setup, "rulebook": {"digest": start.rulebook},
        "at": moment(start.at), "by": start.by, "expires": moment(start.expires), "revoked": moment(start.revoked),
        "revoked_why": start.revoked_why or "", "certificate": start.certificate, "short": short,
    }  # fmt: skip


def acceptance_json(one: Acceptance) -> Plain:
    return {
        "id": one.id, "rule": one.rule, "on": one.on, "crop": one.job.crop, "header_kind": one.job.header_kind,
        "found": [{"quantity": name, "side": side, "value": value} for name, side, value in one.found],
        "by": one.by, "reason": one.reason, "at": moment(one.at), "until": moment(one.until),
        "withdrawn": moment(one.withdrawn),
    }  # fmt: skip


def decision_json(decision: Decision, unit: UnitRow, rulebook: Rulebook, steps: list[Plain] | None) -> Plain:
    """A decision with every reason.

    Args:
        steps: the work that would clear it, as ``plan_wire`` writes branches; None where it was not asked for.
    """
    stand = decision.stand
    teller = _Teller(unit, rulebook)
    return {
        "unit": unit.id,
        "crop": decision.job.crop,
        "header_kind": decision.job.header_kind,
        "clearance": decision.clearance.value,
        "setup": None if stand is None else {"id": stand.setup, "digest": stand.digest, "taken": moment(stand.taken)},
        "rulebook": {"digest": decision.rulebook},
        "reasons": [teller.reason(reason) for reason in decision.reasons],
        "accepted": [
            {"finding": teller.finding(one.finding), "acceptance": acceptance_json(one.acceptance)}
            for one in decision.accepted
        ],
        "lapsed": [{"acceptance": acceptance_json(one.acceptance), "why": one.why} for one in decision.lapsed],
        "warned": teller.findings(decision.warned),
        "plan": steps,
    }


class _Teller:
    def __init__(self, unit: UnitRow, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.card = rulebook.machines.get(unit.card)
        self.names = {} if self.card is None else on_card(self.card, rulebook.vocabulary)

    def finding(self, finding: Finding) -> Plain | None:
        if self.card is None:
            return None
        return finding_json(finding, self.rulebook, self.card, self.names)

    def findings(self, some: Iterable[Finding]) -> list[Plain | None]:
        return [self.finding(one) for one in some]

    def reason(self, reason: Reason) -> Plain:
        finding = None if reason.finding is None else self.finding(reason.finding)
        return {"why": reason.why.value, "text": reason.text, "finding": finding}
