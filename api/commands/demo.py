"""setup-audit demo"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from api.environment import page, rulebook, say_problems
from api.status import BAD_INPUT, CLEARED
from api.text import Page
from api.wire import judged_json
from audit.auditor import Auditor
from audit.nouns.problem import BadInput

FOLDER = Path(__file__).parents[1] / "demo"


EXAMPLES = {"demo": ("setup-audit demo",)}


def add(_: argparse.ArgumentParser, __: str) -> None:
    """It takes no arguments."""


def run(_: argparse.Namespace, __: str) -> int:
    """Audit the demo fleet: a line for each unit, then every ranked finding of the fleet, worst first."""
    try:
        auditor = Auditor(rulebook())
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    sheet = page(auditor.rulebook)
    for path in sorted(FOLDER.glob("*.ndjson")):
        units = [
            judged_json(auditor.judge(line, f"{path.name}:{number}"), auditor.rulebook)
            for number, line in enumerate(path.read_bytes().splitlines(), 1)
        ]
        print(sheet.strong(f"Tarnfield Growers, {path.stem.replace('-', ' ')}: {len(units)} machines as found"))
        print("\n".join(_fleet(units, sheet)))
        print()
    print("\n".join(sheet.safety()))
    command = sys.argv[0] if Path(sys.argv[0]).name == "setup-audit" else "setup-audit"
    file = min((str(FOLDER / "before-corn.ndjson"), os.path.relpath(FOLDER / "before-corn.ndjson")), key=len)
    print(f"Marks: {sheet.legend()}. Every finding in full, or one machine's:")
    print(f"  {command} check --full {file}")
    print(f"  sed -n 2p {file} | {command} check -")
    return CLEARED


def _fleet(units: list[dict[str, Any]], sheet: Page) -> Iterator[str]:
    for unit in units:
        held = sheet.paint("HELD   ", "high") if unit["clearance"] == "held" else "cleared"
        counts = unit["counts"]
        yield (
            f"  {held}  {unit['unit']}  {unit['card']:18} {counts['broken']:3} broken {counts['unknown']:4} not known"
        )
    yield sheet.strong("Broken, worst first")
    broken = [
        (unit["unit"], finding) for unit in units for finding in unit["findings"] if finding["verdict"] == "broken"
    ]
    for unit_id, finding in sorted(broken, key=_rank):
        yield f"  {sheet.brief_finding(finding, unit_id)}: {sheet.compared(finding)[0]}"
    yield f"{sum(unit['counts']['unknown'] for unit in units)} further questions can't be answered yet."


def _rank(entry: tuple[str, dict[str, Any]]) -> tuple[int, float, float, str]:
    """The order of findings within one report, carried over a fleet; the index grows with the level."""
    unit_id, finding = entry
    risk = finding["risk"]
    return risk["index"], -risk["downtime_h"], -risk["margin_share"], unit_id
