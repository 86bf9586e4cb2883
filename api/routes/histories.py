"""/units/{unit}/history"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field

from api.errors import Refusal
from api.history_wire import history_json
from api.models import Basis
from api.routes.desk import answered, desk_of, tag, unit_seen
from api.routes.units import Reader, UnitId
from api.service.histories import setups_of, tell
from api.service.recording import unit_named
from audit.nouns.problem import BadInput

router = APIRouter(tags=["units"])


class Span(BaseModel):
    """A value with its 95 % interval; its ends are null where there is none."""

    value: float
    low: float | None
    high: float | None


class Dates(BaseModel):
    value: str | None
    low: str | None
    high: str | None


class RateAnswer(BaseModel):
    """Change in 100 engine hours, fitted by least squares."""

    points: int
    value: float | None
    low: float | None
    high: float | None


class DoingAnswer(BaseModel):
    """Work that was done between two setups, as far as they tell."""

    procedure: str
    title: str
    on: str
    certain: bool
    shown: str
    by: str
    at: str | None
    after_setup: str | None
    before_setup: str | None
    hours_low: float | None
    hours_high: float | None


class DueAnswer(BaseModel):
    """A re-check that some work calls for."""

    state: Literal["overdue", "due", "waiting", "closed"]
    why: str
    procedure: str
    title: str
    on: str
    take: list[str]
    instead: list[str]
    because: str
    basis: Basis
    due_at: float | None
    overdue_at: float | None
    due_by: str | None
    closed_by: str | None
    done: DoingAnswer


class PointAnswer(BaseModel):
    setup: str | None
    at: str | None
    state: str
    engine_hours: float | None
    value: float
    left_out: str = Field(description="why it is not fitted, '' where it is")


class RunAnswer(BaseModel):
    """Points that can be compared: nothing was replaced or adjusted between them."""

    began: DoingAnswer | None
    points: list[PointAnswer]


class BoundAnswer(BaseModel):
    rule: str
    on: str
    value: float
    text: str
    most: bool


class ProjectionAnswer(BaseModel):
    """When a limit is reached if the part wears on as it did."""

    rule: str
    on: str
    limit: float
    limit_text: str
    at_hours: Span
    hours_left: Span
    date: Dates


class TrendAnswer(BaseModel):
    """How one quantity went over engine hours; only the last run is fitted."""

    quantity: str
    side: Literal["", "left", "right"]
    meaning: str
    unit: str
    bounds: list[BoundAnswer]
    runs: list[RunAnswer]
    left_out: list[PointAnswer]
    rate_per_100_h: RateAnswer | None
    projections: list[ProjectionAnswer]
    why_not: str


class HistoryAnswer(BaseModel):
    """What the setups of one unit say together."""

    unit: str
    card: str
    setups: int
    unread: list[str] = Field(description="setups that the rulebook in force can no longer read")
    engine_hours: float | None
    hours_per_day: float | None
    due: list[DueAnswer]
    trends: list[TrendAnswer]
    doings: list[DoingAnswer]


@router.get(
    "/units/{unit}/history",
    response_model=HistoryAnswer,
    summary="Wear over engine hours, and what is due to be looked at again",
    description="Trends are fitted since the part was last replaced or adjusted, never from one point; re-checks are "
    "closed by a later setup that takes the reading.",
)
def history(
    request: Request,
    unit: UnitId,
    caller: Reader,
    engine_hours: Annotated[float | None, Query(ge=0, le=60000, description="the unit's hours now")] = None,
) -> Response:
    desk = desk_of(request)
    with desk.store.reading(caller.organisation, desk.clock()) as work:
        found = setups_of(work, desk.in_force, unit_named(work, unit_seen(caller, unit)))
    rulebook = found.auditor.rulebook
    try:
        told = tell(found, engine_hours)
    except BadInput as error:
        raise Refusal(409, "No history", f"The setups contradict each other: {error.problems[0]}") from None
    if told is None:
        raise Refusal(404, "No setup", f"No setup of {unit} is on record that the rulebook in force can read.")
    content: dict[str, Any] = history_json(told.history, told.rows, told.unread, rulebook)
    return answered(request, content, tag(len(found.rows), rulebook.digest[:16], f"{told.history.engine_hours}"))
