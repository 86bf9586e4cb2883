"""What imports from farm systems are sent and answer, for reading small bodies and for the OpenAPI document."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.record_models import Name, Sent

Short = Annotated[str, Field(max_length=200)]


class AnswerSent(Sent):
    """An answer to a question; which members it takes, the question's kind says."""

    unit: Name | None = Field(None, description="which-unit: the unit that it is")
    new: bool | None = Field(None, description="which-unit: it is not on record")
    card: Annotated[str, Field(max_length=80)] | None = Field(None, description="which-card: the machine card")
    only: bool | None = Field(None, description="which-card: for this one machine, not for its type")
    serial_from: Short | None = Field(None, description="which-card: first serial of the type that it holds for")
    serial_to: Short | None = None
    replaced: bool | None = Field(None, description="meter-replaced: true for a new meter, false for a wrong reading")

    model_config = ConfigDict(extra="forbid", strict=True, json_schema_extra={"example": {"card": "axial-single"}})


class IdentitySent(Sent):
    """By what a unit is known elsewhere; a serial needs its maker and type."""

    pin: Short = ""
    maker: Short = ""
    type: Short = ""
    serial: Short = ""
    isobus_name: Annotated[str, Field(max_length=16)] = ""
    fleet_number: Short = ""
    source: Short = Field("", description="within what the fleet number is unique; '' for the organisation's own")

    model_config = ConfigDict(extra="forbid", strict=True, json_schema_extra={"example": {"pin": "XXXMDA1AC00000482"}})


class SplitSent(Sent):
    """Why an identity is not this unit's, and whose it is."""

    to: Annotated[str, Field(max_length=80)] = Field("", description="the unit that gets it, '' for none")
    why: Annotated[str, Field(min_length=1, max_length=1000)]

    model_config = ConfigDict(
        extra="forbid", strict=True, json_schema_extra={"example": {"to": "unit-08", "why": "plates were mixed up"}}
    )


class ImportLine(BaseModel):
    """What came of one row."""

    place: str
    what: Literal["unit", "crop", "task", "row"]
    fate: Literal[
        "new unit",
        "updated",
        "nothing new",
        "waits",
        "refused",
        "passed over",
        "recognised",
        "not recognised",
        "planned",
    ]
    unit: str
    text: str
    advice: str
    question: str = Field(description="id of the question that it waits for, '' for none")


class ImportAnswer(BaseModel):
    """An import as it stands."""

    id: str
    number: int
    format: str
    name: str
    source: str
    digest: str = Field(description="SHA-256 of what was sent and of how it was read")
    at: str
    by: str
    undone: str | None
    undone_by: str | None


class ImportReport(ImportAnswer):
    """An import with every row's fate."""

    dry_run: bool = Field(description="it only shows what would happen; nothing is on record")
    repeated: bool = Field(description="all of it was on record already, by this import")
    counts: dict[str, int]
    lines: list[ImportLine]
    notes: list[str]
    revoked: list[str] = Field(description="starts whose certificates are no longer true")


class UndoneAnswer(ImportAnswer):
    """An import that was taken back."""

    done: list[str]
    left: list[str] = Field(description="what could not be taken back, and why")
    revoked: list[str]


class QuestionAnswer(BaseModel):
    """What an import could not decide."""

    id: str
    number: int
    kind: Literal["which-unit", "which-card", "meter-replaced"]
    text: str
    choices: list[str] = Field(description="units, or cards, that it may be")
    machine: dict[str, Any] = Field(description="the row that waits, as it was read")
    origin: str = Field(description="id of the import that asks")
    asked: str
    answered: str | None
    answered_by: str | None
    answer: dict[str, Any] | None


class AnsweredAnswer(BaseModel):
    """A question that was answered, and what came of the rows that waited for it."""

    question: QuestionAnswer
    lines: list[ImportLine]
    revoked: list[str]


class IdentityAnswer(BaseModel):
    """One identity of one unit."""

    id: str
    unit: str
    scheme: Literal["pin", "serial", "isobus-name", "system-id", "fleet-number"]
    issuer: str
    value: str
    shown: str
    proof: str
    origin: str
    added: str
    ended: str | None


class SplitAnswer(BaseModel):
    """An identity as it ended, and as it began on the unit that got it."""

    ended: IdentityAnswer
    begun: IdentityAnswer | None


class TypeCardAnswer(BaseModel):
    """Which machine card is used for a maker's type."""

    id: str
    maker: str
    type: str
    serial_from: str
    serial_to: str
    card: str
    since: str


class SourceAnswer(BaseModel):
    """An address that is asked for snapshots; its token is never shown."""

    id: str
    format: str
    address: str
    period: float = Field(description="shortest time between two polls, s")
    polled: str | None
    outcome: str


class MachineValueAnswer(BaseModel):
    """A setting as the machine itself says. Nobody has looked at it; it is never part of a setup by itself."""

    settings: list[str] = Field(description="settings of the unit's card that it may stand for")
    verified: Literal[False]
    code: str
    role: Literal["wanted", "actual", "fixed"]
    part: str
    value: float
    measure: str
    taken: str | None = Field(description="without an offset where that is not known; then it proves no age")
    origin: str


class HoursAnswer(BaseModel):
    """Engine hours as a farm system said."""

    hours: float
    taken: str | None = Field(description="without an offset where that is not known; then it proves no age")
    fate: Literal["counts", "older", "replaced", "wrong", "undone"]
    origin: str


class MachineFaultAnswer(BaseModel):
    """A fault code as the machine tells it: something to look at, and never a verdict. All but time as it was sent."""

    code: str
    says: str
    severity: str
    source: str
    taken: str | None = Field(description="without an offset where that is not known")
    origin: str


class FromMachineAnswer(BaseModel):
    """What machines and farm systems said of one unit."""

    unit: str
    values: list[MachineValueAnswer]
    hours: list[HoursAnswer] = Field(description="the newest first")
    faults: list[MachineFaultAnswer] = Field(description="the newest first; nothing is judged by them")


class PlannedTaskAnswer(BaseModel):
    """A planned harvest."""

    unit: str = Field(description="'' while no machine is named, or it is not known")
    name: str
    field: str
    crop: str = Field(description="crop card, '' where what was said is not known")
    crop_said: str
    begins: str | None = Field(description="without an offset where that is not known")
    ends: str | None = Field(description="without an offset where that is not known")
    state: Literal["planned", "template"]
    origin: str
