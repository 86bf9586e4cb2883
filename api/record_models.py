"""What the service of record is sent and answers, for reading small bodies and for the OpenAPI document."""

from __future__ import annotations

from typing import Annotated, Any, Generic, Literal, TypeVar

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.models import Audit, Digest, Finding, Number

Line = TypeVar("Line")
Name = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9][A-Za-z0-9._:-]*$")]
Text = Annotated[str, Field(max_length=300)]
Hours = Annotated[float, Field(ge=0, le=60000, allow_inf_nan=False)]


class Sent(BaseModel):
    """A body: unknown keys are refused, and nothing is guessed from another type."""

    model_config = ConfigDict(extra="forbid", strict=True)


class UnitSent(Sent):
    """What a unit is."""

    card: Annotated[str, Field(min_length=1, max_length=80)]
    serial: Text | None = None
    build_year: Annotated[int, Field(ge=1900, le=2200)] | None = None
    fitted: dict[str, str] | None = None
    owner: Text | None = None
    engine_hours: Hours | None = None

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {"card": "axial-single", "serial": "KX-01822", "build_year": 2021, "engine_hours": 1841.5}
        },
    )


class StartSent(Sent):
    """The start that is asked for."""

    crop: Annotated[str, Field(min_length=1, max_length=80)]
    header_kind: Annotated[str, Field(min_length=1, max_length=80)]
    engine_hours: Hours | None = Field(None, description="as the machine shows them now")

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={"example": {"crop": "corn", "header_kind": "corn-head", "engine_hours": 1842.0}},
    )


class AcceptanceSent(Sent):
    """One finding of one setup that somebody answers for."""

    setup: Annotated[str, Field(min_length=1, max_length=80, description="the setup whose finding was looked at")]
    rule: Annotated[str, Field(min_length=1, max_length=120)]
    on: Annotated[str, Field(max_length=120)] = ""
    by: Annotated[str, Field(min_length=1, max_length=120, description="the person who answers for it")]
    reason: Annotated[str, Field(min_length=1, max_length=2000)]
    until: Annotated[AwareDatetime, Field(strict=False)]

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {
                "setup": "setup-5a1c9e0f2b7d4433",
                "rule": "slip-clutch-slips",
                "on": "",
                "by": "Foreman of the north yard",
                "reason": "New plates come on Friday; it runs at half load until then.",
                "until": "2026-08-15T18:00:00Z",
            }
        },
    )


class UnitAnswer(BaseModel):
    """One machine on record."""

    id: str
    card: str
    serial: str
    build_year: int | None
    fitted: dict[str, str]
    owner: str
    engine_hours: float | None = Field(description="the most that is known")
    hours_at: str | None
    setups: int = Field(description="how many are on record")
    created: str
    retired: str | None
    edition: int


class SetupLine(BaseModel):
    """A setup on record, without its text."""

    id: str
    unit: str
    number: int
    digest: str = Field(description="SHA-256 of the text as kept")
    card: str
    crop: str
    header_kind: str
    state: str
    taken: str
    taken_by: str
    engine_hours: float | None
    recorded: str
    recorded_by: str


class PhotoAnswer(BaseModel):
    """A photo that belongs to a setup."""

    id: str
    unit: str
    setup: str
    quantity: str = Field(description="setting or reading that it shows, '' for the whole machine")
    media: str
    digest: str = Field(description="SHA-256 of the bytes")
    at: str
    by: str


class NoteAnswer(BaseModel):
    """A note that belongs to a setup."""

    id: str
    unit: str
    setup: str
    quantity: str = Field(description="setting or reading that it is about, '' for the whole machine")
    text: str
    at: str
    by: str


class AuditLine(BaseModel):
    """That a setup was audited, by which rulebook, and what came of it."""

    rulebook: Digest
    hold_at: Literal["high", "serious", "medium", "low"]
    clearance: Literal["cleared", "held"]
    holding: int
    at: str


class SetupAnswer(SetupLine):
    """A setup as it is kept, and its audits."""

    content: dict[str, Any]
    audits: list[AuditLine]


class SetupRecorded(BaseModel):
    """A setup as recorded, and its audit."""

    setup: SetupLine
    audit: Audit
    revoked: list[str] = Field(description="starts whose certificates are no longer true")


class AcceptanceAnswer(BaseModel):
    """An acceptance as it stands."""

    id: str
    rule: str
    on: str
    crop: str
    header_kind: str
    found: list[AcceptedValue]
    by: str
    reason: str
    at: str
    until: str
    withdrawn: str | None


class AcceptedValue(BaseModel):
    quantity: str
    side: Literal["", "left", "right"]
    value: Number


class HeldReason(BaseModel):
    """Why a start is held."""

    why: str
    text: str
    finding: Finding | None


class AcceptedFinding(BaseModel):
    finding: Finding | None
    acceptance: AcceptanceAnswer


class LapsedAcceptance(BaseModel):
    acceptance: AcceptanceAnswer
    why: str


class OfSetup(BaseModel):
    id: str
    digest: str
    taken: str


class ClearanceAnswer(BaseModel):
    """Whether a unit may start a job, and everything that led to it."""

    unit: str
    crop: str
    header_kind: str
    clearance: Literal["cleared", "held"]
    setup: OfSetup | None
    rulebook: Digest
    reasons: list[HeldReason]
    accepted: list[AcceptedFinding]
    lapsed: list[LapsedAcceptance]
    warned: list[Finding | None]
    plan: list[dict[str, Any]] | None = Field(
        description="the work that would clear it, as POST /plans answers its branches; null where it is cleared, "
        "where it was not asked for, or where none was found in time"
    )


class StartAnswer(BaseModel):
    """A cleared start with its certificate."""

    id: str
    unit: str
    number: int
    crop: str
    header_kind: str
    setup: str
    rulebook: Digest
    at: str
    by: str
    expires: str
    revoked: str | None
    revoked_why: str
    certificate: str = Field(description="compact JWS, Ed25519; keys at /.well-known/jwks.json")
    short: str = Field(description="for a QR code: where to ask, which start, which certificate")


class VerifyAnswer(BaseModel):
    """What a certificate's short form stands for, for whoever reads the code on the machine."""

    start: str
    state: Literal["good", "expired", "revoked"]
    unit: str
    crop: str
    header_kind: str
    at: str
    expires: str
    revoked: str | None


class HeldProblem(BaseModel):
    """A start that is held (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    decision: ClearanceAnswer


class PageOf(BaseModel, Generic[Line]):
    """A page of a list; ``next`` leads to the one after it."""

    items: list[Line]
    next: str | None


AcceptanceAnswer.model_rebuild()
