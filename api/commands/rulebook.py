"""setup-audit rulebook"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from api.catalogue import rule_json, rule_line_json
from api.environment import page, rulebook, say_problems
from api.status import BAD_INPUT, CLEARED
from api.text import MARKS, Page
from audit.nearest import did_you_mean
from audit.nouns.problem import BadInput


def check(sites: Sequence[Path]) -> int:
    """Load every file and run every rule's own cases."""
    from audit.cases import failures

    try:
        found = rulebook(sites)
    except BadInput as error:
        say_problems(error.problems)
        print(f"{len(error.problems)} problems; nothing was loaded.", file=sys.stderr)
        return BAD_INPUT
    problems = [problem for rule in found.rules.values() for problem in failures(rule, found.vocabulary)]
    say_problems(problems)
    if problems:
        print(f"{len(problems)} cases do not give what they say.", file=sys.stderr)
        return BAD_INPUT
    cases = sum(len(rule.cases) for rule in found.rules.values())
    print(f"{len(found.rules)} rules keep their {cases} cases. Digest {found.digest[:16]}")
    print(
        f"{len(found.machines)} machine cards, {len(found.crops)} crop cards, {len(found.procedures)} procedures, "
        f"{len(found.sources)} sources"
    )
    return CLEARED


def show(rule: str | None, sites: Sequence[Path], as_json: bool) -> int:
    """List the rules, or show one in full."""
    try:
        found = rulebook(sites)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    if rule is None:
        lines = [rule_line_json(one) for one in found.rules.values()]
        if as_json:
            print(json.dumps(lines, ensure_ascii=False, indent=1))
            return CLEARED
        for pack in sorted({line["pack"] for line in lines}):
            print(pack)
            for line in lines:
                if line["pack"] == pack:
                    print(f"  {MARKS[line['level']]} {line['level']:8} {line['id']}: {line['title']}")
        return CLEARED
    one = found.rules.get(rule)
    if one is None:
        print(f"no rule is called '{rule}'. {did_you_mean(rule, found.rules)}", file=sys.stderr)
        return BAD_INPUT
    plain = rule_json(one, found)
    print(json.dumps(plain, ensure_ascii=False, indent=1) if as_json else "\n".join(_rule(plain, page(found))))
    return CLEARED


def _rule(rule: dict[str, object], sheet: Page) -> list[str]:
    lines = [sheet.strong(f"{rule['id']}: {rule['title']}")]
    for label, key in (
        ("Asked of", "each"), ("Asked when", "given"), ("Must hold", "hold"), ("Why", "why"), ("Damage", "damage"),
        ("Risk", "risk"), ("Put right", "cure"), ("Ground", "ground"), ("Standing", "standing"), ("File", "file"),
    ):  # fmt: skip
        if rule[key]:
            lines += sheet.labelled(label, str(rule[key]))
    lines.append("   Cases:")
    cases = rule["cases"]
    assert isinstance(cases, list)
    lines += [f"    {case['gives']:10} {case['name']}" for case in cases]
    return lines
