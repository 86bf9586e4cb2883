"""What /may-start is sent and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.record_models import Hours, Sent

Text = Annotated[str, Field(min_length=1, max_length=80)]


class MayStartSent(Sent):
    """The start that is asked for."""

    unit: Text
    crop: Annotated[str, Field(min_length=1, max_length=80, description="our name, a synonym, or the EPPO code")]
    header_kind: Text
    engine_hours: Hours | None = Field(None, description="as the machine shows them now")

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {"unit": "unit-07", "crop": "ZEAMX", "header_kind": "corn-head", "engine_hours": 1842.0}
        },
    )


class HoldReason(BaseModel):
    """One thing that holds a start."""

    text: str = Field(description="in plain words, to be shown as it is")
    why: str
    rule: str | None
    on: str | None


class MayStart(BaseModel):
    """Whether a unit may start a job."""

    answer: Literal["cleared", "held"]
    unit: str
    crop: str = Field(description="our name for it")
    header_kind: str
    say: str = Field(description="the answer in one line")
    reasons: list[HoldReason] = Field(description="empty only where it is cleared")
    issuer: str = Field(description="what this server calls itself in its certificates")
    organisation: str = Field(description="whose record it is")
    asked_at: str
    start: str | None = Field(description="the start on record, if one was asked for and cleared")
    expires: str | None
    certificate: str | None = Field(description="compact JWS, Ed25519; keys at /.well-known/jwks.json")
    details: str = Field(description="where the whole decision is, with findings and the work that would clear it")
