"""Writes the reviewed reports anew: python tests/acceptance/renew.py, then read the difference."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import rules
from api.wire import report_json
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook

FOLDER = Path(__file__).parent / "reports"
DEMO = Path(__file__).parents[2] / "api" / "demo"
CLEAN = ("unit-01", "unit-04", "unit-13")
FAULTY = ("unit-03", "unit-16", "unit-11")
REPORTS = [(crop, unit) for crop in ("corn", "soybean") for unit in (*CLEAN, *FAULTY)]


@cache
def auditor() -> Auditor:
    return Auditor(read_rulebook(rules.root()))


def short(crop: str, unit: str) -> dict[str, Any]:
    """A demo unit's report without the texts of rules and procedures, which the rulebook holds."""
    lines = (DEMO / f"before-{crop}.ndjson").read_bytes().splitlines()
    line = next(line for line in lines if json.loads(line)["unit"]["id"] == unit)
    plain = report_json(auditor().report(line, unit), auditor().rulebook)
    findings = [
        {
            "rule": finding["rule"],
            "on": finding["on"],
            "verdict": finding["verdict"],
            "holds_start": finding["holds_start"],
            "risk": f"{finding['risk']['level']} {finding['risk']['index']}",
            "found": [
                f"{one['quantity']} {one['side']}: {one['shown']}, wanted {one['wanted']}" for one in finding["found"]
            ],
            "cure": [cure["procedure"] for cure in finding["cure"]],
        }
        for finding in plain["findings"]
    ]
    kept = ("unit", "card", "crop", "header_kind", "clearance", "builds", "counts")
    return {**{key: plain[key] for key in kept}, "findings": findings}


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.glob("*.json"):
        path.unlink()
    for crop, unit in REPORTS:
        text = json.dumps(short(crop, unit), indent=1, ensure_ascii=False)
        (FOLDER / f"{crop}-{unit}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
