"""What the routes of visits are sent and answer, for reading small bodies and for the OpenAPI document."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from api.record_models import Name, Sent, Text

LOCAL = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T([01][0-9]|2[0-3]):[0-5][0-9]$"
Local = Annotated[
    str, Field(pattern=LOCAL, description="local time at the farm, without an offset", examples=["2026-09-15T08:15"])
]
Named = Annotated[str, Field(min_length=1, max_length=120)]
MOST_MINUTES = 1440
"""Longest visit, and longest work of one, min."""


class PieceSent(Sent):
    """What is done on one unit."""

    unit: Name
    minutes: Annotated[int, Field(ge=1, le=MOST_MINUTES)]
    technicians: Annotated[int, Field(ge=1, le=2, description="at the same time")] = 1
    part: Annotated[int, Field(ge=1, le=366, description="1 for the first of the visits that its work takes")] = 1
    parts: list[Text] = Field(default=[], max_length=100)
    tools: list[Text] = Field(default=[], max_length=100)


class VisitSent(Sent):
    """A visit as it is to be."""

    technician: Named
    farm: Named
    begins: Local
    leaves: Local
    arrives: Local | None = Field(None, description="as it begins where nothing is said")
    work: Annotated[list[PieceSent], Field(min_length=1, max_length=200)]

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {
                "technician": "tech-01",
                "farm": "Oxgill Farm",
                "begins": "2026-09-15T08:15",
                "leaves": "2026-09-15T10:00",
                "work": [{"unit": "unit-07", "minutes": 105, "tools": ["tension gauge"]}],
            }
        },
    )

    @model_validator(mode="after")
    def _in_order(self) -> VisitSent:
        arrives, begins, leaves = (_moment(text) for text in (self.arrives or self.begins, self.begins, self.leaves))
        if not arrives <= begins < leaves:
            raise ValueError("'arrives' must not lie after 'begins', and 'begins' must lie before 'leaves'")
        if (leaves - arrives).total_seconds() > MOST_MINUTES * 60:
            raise ValueError("a visit lasts at most a day")
        return self


class PieceAnswer(BaseModel):
    """What is done on one unit."""

    unit: str
    minutes: int
    technicians: int
    part: int
    parts: list[str]
    tools: list[str]


class VisitAnswer(BaseModel):
    """A visit; ``plan`` is '' for one put by hand."""

    id: str
    plan: str
    technician: str
    farm: str
    day: str
    arrives: str
    begins: str
    leaves: str
    minutes: int = Field(description="of work")
    work: list[PieceAnswer]
    edition: int
    created: str
    created_by: str
    changed: str
    cancelled: str | None


class LeftOutAnswer(BaseModel):
    """A unit with something wrong that is in no visit of a plan, and why."""

    unit: str
    farm: str
    held: bool
    why: str


class VisitPlanLine(BaseModel):
    """A plan in a list."""

    id: str
    number: int
    fleet_audit: str
    rulebook: str
    made: str
    made_by: str


class VisitPlanAnswer(VisitPlanLine):
    """A plan: the file that it was made of, when which unit is done, and what is in no visit."""

    asked: str
    effort: float
    done: list[dict[str, str]]
    left_out: list[LeftOutAnswer]
    proven: bool
    cost: dict[str, Any]
    least: dict[str, Any]


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"there is no {text} in the calendar") from None
