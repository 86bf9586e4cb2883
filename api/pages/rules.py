"""The rulebook for people: every rule with its sentence, ground, harm and cases."""

from __future__ import annotations

from itertools import groupby
from typing import Annotated, Any

from fastapi import Query, Request, Response

from api.catalogue import rule_json, rule_line_json
from api.pages.door import pages_router
from api.pages.telling import told
from api.pages.view import page, view_of
from api.routes.rulebook import RuleId, rule_named
from api.routes.state import auditor_of
from audit.nouns.risk import Level

router = pages_router()

LEVELS = tuple(level.name.lower() for level in Level)
Text = Annotated[str, Query(max_length=200)]


@router.get("/rules")
def rules(request: Request, text: Text = "", pack: Text = "", level: Text = "") -> Response:
    """Rules by pack; a search looks at titles, reasons and damage as the reader sees them."""
    view, rulebook = view_of(request), auditor_of(request).rulebook
    lines = [told(view, {**rule_line_json(rule), "why": rule.why, "to": rule.harm.to})
             for rule in rulebook.rules.values()]  # fmt: skip
    wanted = text.casefold().split()
    found = [line for line in lines if _found(line, wanted) and pack in ("", line["pack"])]
    found = [line for line in found if level in ("", line["level"])]
    found.sort(key=lambda line: line["pack"])
    packs = [(name, list(some)) for name, some in groupby(found, key=lambda line: line["pack"])]
    return page(
        request, "rules.html", packs=packs, count=len(found), of=len(lines), digest=rulebook.digest, levels=LEVELS,
        names=sorted({line["pack"] for line in lines}), text=text, pack=pack, level=level,
    )  # fmt: skip


@router.get("/rules/{rule}")
def one_rule(request: Request, rule: RuleId) -> Response:
    """One rule in full."""
    rulebook = auditor_of(request).rulebook
    found = rule_named(rulebook, rule)
    cure = [{"key": key, "title": rulebook.procedures[key].title} for key in found.cure]
    plain = {
        **rule_json(found, rulebook),
        "cures": cure,
        "harm": {"to": found.harm.to, "how": found.harm.how},
        "level": rule_line_json(found)["level"],
    }
    return page(request, "rule.html", rule=told(view_of(request), plain), digest=rulebook.digest)


def _found(line: dict[str, Any], wanted: list[str]) -> bool:
    said = " ".join((line["id"], line["title"], line["why"], line["to"])).casefold()
    return all(word in said for word in wanted)
