"""What the routes of rulebooks are sent and answer."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models import RuleLine
from api.record_models import Sent

Digest = Annotated[str, Field(pattern=r"^([0-9a-f]{64}|shipped)$")]
Effect = Literal["shown", "warned", "holds"]
State = Literal["cleared", "held", "unreadable"]
_DIGEST = "f81e7a3fbc117b4c8ba6b1e45d944817dd7bd7a45bbe4d23143300fb20af6254"


class RulebookSent(Sent):
    """An organisation's own files, to be laid over those that came with the program."""

    files: dict[str, str] = Field(description="text by path, such as packs/feeder/chain-too-long.yaml")
    note: str = Field(max_length=1000, description="what is new")
    signature: str = Field("", max_length=200, description="Ed25519 over the digest in hex, where one is asked for")

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {"files": {"retired.yaml": "[chain-too-long]\n"}, "note": "An id that we used on paper."}
        },
    )


class InForceSent(Sent):
    """Which version shall judge."""

    digest: Digest = Field(description="of a version on record; 'shipped' to follow what comes with the program")

    model_config = ConfigDict(extra="forbid", strict=True, json_schema_extra={"example": {"digest": _DIGEST}})


class EffectSent(Sent):
    """What a broken rule does."""

    effect: Effect

    model_config = ConfigDict(extra="forbid", strict=True, json_schema_extra={"example": {"effect": "warned"}})


class KeySent(Sent):
    """The public half of the key that must sign rulebooks, a JWK (RFC 8037)."""

    kty: Literal["OKP"]
    crv: Literal["Ed25519"]
    x: str = Field(max_length=100)
    kid: str | None = Field(None, max_length=200, description="of no account; the key is named by its thumbprint")

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        json_schema_extra={
            "example": {"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}
        },
    )


class Version(BaseModel):
    """A rulebook on record."""

    digest: str
    number: int
    note: str
    signed_by: str = Field(description="RFC 7638 thumbprint of the key, '' for none")
    added: str
    added_by: str
    activated: str | None = Field(description="when it went in force last")
    in_force: bool

    model_config = ConfigDict(
        json_schema_extra={
            "example": {
                "digest": _DIGEST,
                "number": 3,
                "note": "Our own limit for the slats",
                "signed_by": "",
                "added": "2026-08-11T07:40:00.000Z",
                "added_by": "token:rules desk",
                "activated": None,
                "in_force": False,
            }
        }
    )


class Versions(BaseModel):
    """A page of versions, the last one first; ``next`` leads to the one after it."""

    items: list[Version]
    next: str | None


class InForceAnswer(BaseModel):
    """What judges now."""

    digest: str
    follows_shipped: bool = Field(description="nothing was activated, so what comes with the program judges")


class Activated(Version):
    """The version that judges from now on."""

    revoked_starts: list[str] = Field(description="ids of good starts that would not be cleared by it")


class Files(BaseModel):
    """All files of a version: those that came with the program, and the organisation's own over them."""

    shipped: dict[str, str]
    site: dict[str, str]


class Tally(BaseModel):
    """Setups of the fleet that break a rule, leave it unknown, or are held by it."""

    broken: int
    unknown: int
    holds: int


class RuleStands(RuleLine):
    """A rule, what it does if it is broken, and how often it is."""

    effect: Effect
    fleet: Tally


class RulesAnswer(BaseModel):
    """The rules in force over the newest setup of every unit."""

    digest: str
    setups: int
    not_read: int = Field(description="setups that the rulebook in force can't read")
    rules: list[RuleStands]


class EffectAnswer(BaseModel):
    """What a broken rule does from now on."""

    rule: str
    effect: Effect
    revoked_starts: list[str]


class KeyAnswer(BaseModel):
    """The key that must sign what goes in force."""

    key: str = Field(description="RFC 7638 thumbprint, '' for none")


class Where(BaseModel):
    """A rule, and the component it is asked of."""

    rule: str
    on: str


class Change(BaseModel):
    """A unit that is held for other findings than now."""

    unit: str
    setup: str
    before: State
    after: State
    held_by: list[Where] = Field(description="findings that hold it by the candidate only")
    freed_of: list[Where] = Field(description="findings that hold it now only")


class NotRead(BaseModel):
    """A setup that the candidate can't read, and why; its unit would be held."""

    unit: str
    setup: str
    before: State
    problems: list[str]


class States(BaseModel):
    before: State
    after: State
    setups: int


class RuleChange(BaseModel):
    """A rule whose tallies differ; null where one of the rulebooks has no such rule."""

    rule: str
    before: Tally | None
    after: Tally | None


class ReplayAnswer(BaseModel):
    """The newest setup of every unit by the rulebook in force, and by another one."""

    before: str
    after: str
    setups: int
    newly_held: int
    newly_cleared: int
    states: list[States]
    changes: list[Change]
    more_changes: int = Field(description="units that change and are not listed")
    not_read: list[NotRead]
    more_not_read: int
    rules: list[RuleChange]
