"""setup-audit rulebook"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from api.catalogue import rule_json, rule_line_json
from api.commands.options import add_site
from api.environment import page, rulebook, say_problems
from api.plan_wire import setup_json
from api.status import BAD_INPUT, CLEARED, HELD
from api.text import MARKS, Page
from audit.intake.setups import find_crop
from audit.nearest import did_you_mean
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.proof import Machine, Proof
from audit.nouns.rulebook import Rulebook

LISTED = {"--card": "card show", "--legal": "card show", "--near": "rulebook show"}
"""The command that lists what an option may name."""


SAYS = {
    "check": "load every file and run every rule's own cases",
    "show": "list the rules, or one in full",
    "prove": "look for contradictions: a legal setup for every machine, a near miss for every rule",
}
EXAMPLES = {
    "check": ("setup-audit rulebook check --site our-rules",),
    "show": ("setup-audit rulebook show elevator-chain-too-tight",),
    "prove": (
        "setup-audit rulebook prove --site our-rules",
        "setup-audit rulebook prove --legal axial-single corn | setup-audit check -",
    ),
}


def add(command: argparse.ArgumentParser, name: str) -> None:
    """Arguments and options of one of the commands."""
    if name == "show":
        command.add_argument("rule", nargs="?", help="id of a rule")
    if name == "prove":
        command.add_argument("--card", help="counts of this card only")
        one = command.add_mutually_exclusive_group()
        one.add_argument(
            "--legal", nargs="+", metavar=("CARD", "CROP"), help="print a legal setup (card, crop, header)"
        )
        one.add_argument("--near", metavar="RULE", help="print a setup that breaks this rule alone")
    if name != "check":
        command.add_argument("--json", action="store_true", help="for programs")
    add_site(command)


def run(arguments: argparse.Namespace, name: str) -> int:
    """Run one of the commands."""
    if name == "check":
        return check(arguments.site)
    if name == "show":
        return show(arguments.rule, arguments.site, arguments.json)
    return prove(arguments)


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


def prove(arguments: argparse.Namespace) -> int:
    """Whether every card has a legal setup for each of its crops, and every rule a near miss; or print one of those."""
    from audit.planning.proving import prove as prove_rulebook

    try:
        found = rulebook(arguments.site)
        _check_asked(arguments, found)
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    if arguments.legal:
        return _print_legal(arguments.legal, found)
    proof = prove_rulebook(
        found, [arguments.card] if arguments.card else (), [arguments.near] if arguments.near else ()
    )
    if arguments.near:
        return _print_near(arguments.near, proof, found)
    cards = [arguments.card] if arguments.card else list(found.machines)
    print(json.dumps(proof_json(proof, cards, found), ensure_ascii=False) if arguments.json else _told(proof, cards))
    return HELD if proof.flaws else CLEARED


def _check_asked(arguments: argparse.Namespace, found: Rulebook) -> None:
    problems: list[Problem] = []

    def known(option: str, name: str, names: Iterable[str]) -> None:
        if name not in names:
            advice = did_you_mean(name, names, f"'setup-audit {LISTED[option]}' lists them.")
            problems.append(Problem(Place(option), f"there is no '{name[:60]}'.", advice))

    if arguments.card:
        known("--card", arguments.card, found.machines)
    if arguments.near:
        known("--near", arguments.near, found.rules)
    if arguments.legal:
        if len(arguments.legal) not in (2, 3):
            problems.append(Problem(Place("--legal"), "takes a card, a crop and, if it matters, a header kind."))
        else:
            known("--legal", arguments.legal[0], found.machines)
            crop = arguments.legal[1]
            if not find_crop(crop, found):
                advice = did_you_mean(crop, found.crops, f"Known: {', '.join(found.crops)}.")
                problems.append(Problem(Place("--legal"), f"no crop card is called '{crop[:60]}'.", advice))
            kinds = [word for word, _ in found.vocabulary.fixed["job.header_kind"].words]
            if len(arguments.legal) > 2 and arguments.legal[2] not in kinds:
                advice = did_you_mean(arguments.legal[2], kinds, f"Known: {', '.join(kinds)}.")
                problems.append(Problem(Place("--legal"), f"no header is called '{arguments.legal[2][:60]}'.", advice))
    if problems:
        raise BadInput(problems)


def _print_legal(asked: Sequence[str], found: Rulebook) -> int:
    """Straight from the planner, which needs no proof of all machines for one."""
    from audit.planning.planner import Planner

    card, crop, header = asked[0], find_crop(asked[1], found), asked[2] if len(asked) > 2 else ""
    try:
        setup = Planner(found).legal_setup(card, crop, header, (), lambda: False)
    except ValueError as error:
        print(f"{error}{f' with {header}' if header else ''}.", file=sys.stderr)
        return HELD
    machine = Machine(card, setup.unit.fitted, crop, setup.header_kind)
    print(json.dumps(setup_json(machine, setup.values, found), ensure_ascii=False, indent=1))
    return CLEARED


def _print_near(rule: str, proof: Proof, found: Rulebook) -> int:
    for one in proof.near_misses:
        if one.question[0] == rule:
            print(json.dumps(setup_json(one.machine, one.values, found), ensure_ascii=False, indent=1))
            return CLEARED
    together = next((others for name, others in proof.breaks_with if name == rule), ())
    advice = f" It breaks together with {', '.join(together)}." if together else ""
    print(f"{rule} has no near miss.{advice}", file=sys.stderr)
    return HELD


def proof_json(proof: Proof, cards: Sequence[str], found: Rulebook) -> dict[str, object]:
    """A proof in counts by card, with every flaw and its places."""
    return {
        "rulebook": {"digest": found.digest},
        "cards": [
            {
                "card": card,
                "legal": sum(one.machine.card == card for one in proof.legal),
                "near_misses": sum(one.machine.card == card for one in proof.near_misses),
            }
            for card in cards
        ],
        "breaks_with": [{"rule": rule, "with": list(others)} for rule, others in proof.breaks_with],
        "flaws": [
            {
                "says": flaw.says,
                "hint": flaw.hint,
                "rules": list(flaw.rules),
                "places": [{"source": p.source, "line": p.line, "column": p.column} for p in flaw.places],
            }
            for flaw in proof.flaws
        ],
    }


def _told(proof: Proof, cards: Sequence[str]) -> str:
    lines = []
    for card in cards:
        legal = sum(one.machine.card == card for one in proof.legal)
        near = sum(one.machine.card == card for one in proof.near_misses)
        lines.append(f"{card:20} {legal:4} legal setups {near:4} near misses")
    for flaw in proof.flaws:
        where = ", ".join(f"{place.source}:{place.line}" if place.line else str(place) for place in flaw.places)
        lines.append(f"{where}: {flaw.says} {flaw.hint}".rstrip())
    flaws = f"{len(proof.flaws)} flaw{'s' * (len(proof.flaws) != 1)}" if proof.flaws else "No flaw"
    only = len(proof.breaks_with)
    together = f"; {only} rule{'s break' if only > 1 else ' breaks'} only with others, as declared" if only else ""
    lines.append(f"{flaws}: {len(proof.legal)} legal setups, {len(proof.near_misses)} near misses{together}.")
    return "\n".join(lines)
