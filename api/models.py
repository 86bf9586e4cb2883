"""What HTTP answers look like, for the OpenAPI document."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

Number = float | str | bool | None


class Source(BaseModel):
    key: str
    title: str
    by: str
    edition: str
    publisher: str
    year: str
    status: str = Field(description="read: its figures were seen; memory: recalled, to be checked")


class Basis(BaseModel):
    """On what ground a rule or number stands."""

    ground: str
    source: Source | None
    at: str
    note: str


class Risk(BaseModel):
    """Risk by MIL-STD-882E; severities rescaled to one machine."""

    level: Literal["high", "serious", "medium", "low"]
    index: int = Field(description="hazard risk index of MIL-STD-882D, 1 the worst of 20")
    severity: str
    probability: str = Field(description="over one season if the fault stays")
    downtime_h: float
    margin_share: float = Field(description="distance past the limit as a share of it")
    danger_to_people: bool


class Station(BaseModel):
    id: str
    title: str


class Past(BaseModel):
    value: float
    shown: str


class Found(BaseModel):
    """What was found against what is wanted; ``value`` is in canonical units, ``shown`` as a reader sees it."""

    quantity: str
    meaning: str
    side: Literal["", "left", "right"]
    value: Number
    shown: str
    unit: str = Field(description="unit of `shown`")
    wanted: str
    past: Past | None
    why_unknown: str


class Missing(BaseModel):
    """What must be found out before a question can be answered."""

    name: str
    meaning: str
    how: str


class Harm(BaseModel):
    to: str
    how: str


class Step(BaseModel):
    do: str
    trap: str = Field(description="what goes wrong if it is done otherwise")


class Titled(BaseModel):
    procedure: str
    title: str


class Cure(BaseModel):
    """How it is put right, with this machine's own times and tools."""

    procedure: str
    title: str
    minutes: float
    people: int
    tools: list[str]
    parts: list[str]
    before: list[Titled]
    steps: list[Step]
    cautions: list[str]
    special_cautions: list[str]
    after: list[Titled]


class Target(BaseModel):
    """A target that a rule compared with, and who says so."""

    quantity: str
    text: str
    card: str
    basis: Basis


class Finding(BaseModel):
    """A rule that is broken, or that can't be answered yet."""

    rule: str
    title: str
    verdict: Literal["broken", "unknown"]
    on: str = Field(description="shaft, drive or part it is about; empty for the machine")
    on_title: str
    station: Station
    holds_start: bool
    risk: Risk
    found: list[Found]
    missing: list[Missing]
    why: str
    harm: Harm
    cure: list[Cure]
    basis: Basis
    targets: list[Target]
    standing: Literal["in force", "trial"]
    pack: str
    origin: str = Field(description="site folder the rule comes from; empty for a shipped one")
    overrides: bool


class FactInput(BaseModel):
    name: str
    value: Number


class Fact(BaseModel):
    """A computed fact with its trace."""

    name: str
    meaning: str
    value: Number
    unit: str
    shown: str
    formula: str
    equation: str
    source: str
    at: str
    inputs: list[FactInput]
    why_unknown: str


class Unasked(BaseModel):
    rule: str
    on: str
    reason: str


class Counts(BaseModel):
    kept: int
    broken: int
    unknown: int
    not_asked: int


class Digest(BaseModel):
    digest: str


class HourStanding(BaseModel):
    """What an hour of standing costs."""

    hectares: float
    acres: float
    kg: float | None


class Taken(BaseModel):
    at: str
    by: str
    state: str = Field(description="as-found, as-left, or empty for not stated")


class Audit(BaseModel):
    """The answer to one setup: findings worst first."""

    unit: str
    card: str
    crop: str
    header_kind: str
    taken: Taken
    clearance: Literal["cleared", "held"]
    rulebook: Digest
    builds: dict[str, str]
    counts: Counts
    hour_standing: HourStanding | None
    findings: list[Finding]
    unasked: list[Unasked]
    facts: list[Fact] | None = None


class Question(BaseModel):
    """A rule as it is asked of one part, or of the machine where `on` is empty."""

    rule: str
    title: str
    on: str
    on_title: str


class FoundFinding(Question):
    """A finding in short; `POST /audits` says the rest."""

    verdict: Literal["broken", "unknown"]
    level: Literal["high", "serious", "medium", "low"]
    holds_start: bool
    danger_to_people: bool


class SideValue(BaseModel):
    """A value of one side, or of both where `side` is empty; canonical, and as a reader sees it."""

    side: Literal["", "left", "right"]
    value: Number
    shown: str


class Named(BaseModel):
    quantity: str
    meaning: str
    unit: str = Field(description="unit of `shown`")


class Changed(Named):
    """A quantity before and after."""

    before: list[SideValue]
    after: list[SideValue]


class StepChange(Changed):
    """One quantity that a step sets, brings right or takes; for a reading `after` is a value that would be right."""

    role: str
    how: str
    taken: bool = Field(description="only looked at or measured; `after` is what is expected")
    right: list[str] = Field(description="in words what is right")


class Record(BaseModel):
    event: str
    meaning: str


class Because(Titled):
    """A procedure of this plan that calls for the step, and the steps that it is."""

    steps: list[int]


class WorkStep(BaseModel):
    """A procedure on one part of the machine, or, with an empty `procedure`, a reading to take."""

    number: int
    procedure: str
    title: str
    on: str
    on_title: str
    station: Station
    when: Literal["stopped", "running", "at work"]
    minutes: float
    people: int
    tools: list[str]
    parts: list[str]
    changes: list[StepChange]
    records: list[Record] = Field(description="events whose time must be written down")
    clears: list[FoundFinding]
    because: list[Because]
    otherwise: list[Titled] = Field(description="for a reading to take: what brings it right if it is not")
    steps: list[Step]
    safe: list[str]
    cautions: list[str] = Field(description="beyond those of `safety`")


class Safety(BaseModel):
    stopped: list[str] = Field(description="before any work on the stopped machine, and again after it has run")
    restart: list[str] = Field(description="before the engine is started")
    last: str


class Plan(BaseModel):
    """The cheapest work after which every asked rule holds, in the order in which it is done."""

    steps: list[WorkStep]
    header_kind: str = Field(description="header that is on after the work")
    minutes: float
    people: int = Field(description="most that one step needs")
    parts: int
    tools: list[str]
    parts_needed: list[str]
    moves: int
    change: float
    proven: bool = Field(description="nothing cheaper exists; false where time ran out first")
    safety: Safety


class RuleLine(BaseModel):
    id: str
    pack: str
    title: str
    level: str
    people: bool
    standing: str
    origin: str
    overrides: bool


class RulebookAnswer(BaseModel):
    digest: str
    rules: list[RuleLine]


class CaseLine(BaseModel):
    name: str
    gives: str


class RuleAnswer(RuleLine):
    """A rule in full, its conditions in words."""

    each: str
    given: str
    hold: str
    why: str
    damage: str
    risk: str
    cure: str
    ground: str
    basis: Basis
    cases: list[CaseLine]
    was: list[str]
    file: str


class CardLine(BaseModel):
    card: str
    title: str
    manual: str
    origin: str
    overrides: bool


class CropLine(BaseModel):
    crop: str
    name: str
    eppo: str
    also: list[str]
    names: dict[str, list[str]]
    row_crop: bool
    grain_class: str
    origin: str
    overrides: bool


class Health(BaseModel):
    status: Literal["ok"]
    digest: str
    rules: int
    machine_cards: int
    crop_cards: int


class ProblemLine(BaseModel):
    source: str
    line: int
    column: int
    path: str
    message: str
    advice: str


class ProblemAnswer(BaseModel):
    """RFC 9457 problem details."""

    type: str
    title: str
    status: int
    detail: str
    instance: str | None = Field(None, description="the request, as the log names it")
    problems: list[ProblemLine] | None = Field(None, description="for a refused setup: every problem with its place")


JsonSchema = dict[str, Any]
