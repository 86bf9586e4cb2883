"""GET /rulebook"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.catalogue import rule_json, rule_line_json
from api.errors import Refusal
from api.models import RuleAnswer, RulebookAnswer
from api.routes.state import KEPT, auditor_of, kept_answer
from audit.nearest import did_you_mean
from audit.nouns.rule import Rule
from audit.nouns.rulebook import Rulebook

router = APIRouter(tags=["rulebook"], responses=KEPT)

RuleId = Annotated[str, Path(description="id of a rule in GET /rulebook", examples=["chopper-knife-missing"])]


@router.get("/rulebook", response_model=RulebookAnswer, summary="The rulebook: its digest and its rules in a line each")
def rulebook(request: Request) -> Response:
    found = auditor_of(request).rulebook
    lines = [rule_line_json(rule) for rule in found.rules.values()]
    return kept_answer(request, {"digest": found.digest, "rules": lines})


@router.get("/rulebook/rules/{rule}", response_model=RuleAnswer, summary="One rule in full")
def one_rule(request: Request, rule: RuleId) -> Response:
    found = auditor_of(request).rulebook
    return kept_answer(request, rule_json(rule_named(found, rule), found))


def rule_named(rulebook: Rulebook, name: str) -> Rule:
    """A rule by its id. Raises Refusal (404)."""
    rules = rulebook.rules
    if name not in rules:
        raise Refusal(404, "Not found", f"no rule is called '{name[:60]}'. {did_you_mean(name, rules)}".strip())
    return rules[name]
