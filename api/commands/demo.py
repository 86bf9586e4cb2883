"""setup-audit demo"""

from __future__ import annotations

from pathlib import Path

from api.environment import page, rulebook, say_problems
from api.status import BAD_INPUT, CLEARED
from api.text import MARKS, SAFETY_FIRST
from api.wire import report_json
from audit.auditor import Auditor
from audit.nouns.finding import Clearance
from audit.nouns.problem import BadInput

FOLDER = Path(__file__).parents[1] / "demo"


def demo() -> int:
    """Audit the demo fleet: a line for each unit, then every ranked finding of the fleet, worst first."""
    try:
        auditor = Auditor(rulebook())
    except BadInput as error:
        say_problems(error.problems)
        return BAD_INPUT
    sheet = page()
    for path in sorted(FOLDER.glob("*.ndjson")):
        lines = path.read_bytes().splitlines()
        reports = [auditor.report(line, f"{path.name}:{number}") for number, line in enumerate(lines, 1)]
        print(sheet.strong(f"Tarnfield Growers, {path.stem.replace('-', ' ')}: {len(reports)} machines as found"))
        for report in reports:
            held = "HELD   " if report.clearance is Clearance.HELD else "cleared"
            counts = report.counts
            print(f"  {held}  {report.unit}  {report.card:18} {counts.broken:3} broken {counts.unknown:4} not known")
        ranked = sorted(
            (
                (
                    finding.risk.level,
                    finding.risk.index,
                    -finding.risk.downtime,
                    -finding.risk.share,
                    report.unit,
                    finding,
                )
                for report in reports
                for finding in report.findings
                if finding.verdict.value == "broken"
            ),
            key=lambda entry: entry[:5],
        )
        print(sheet.strong("Broken, worst first"))
        plain = {report.unit: report_json(report, auditor.rulebook) for report in reports}
        for *_, unit, finding in ranked:
            found = next(
                one for one in plain[unit]["findings"] if (one["rule"], one["on"]) == (finding.rule, finding.on)
            )
            print(f"  {sheet.level(found)}  {unit}  {sheet.place(found)}: {sheet.compared(found)[0]}")
        unknown = sum(report.counts.unknown for report in reports)
        print(f"{unknown} further questions can't be answered yet.\n")
    print(SAFETY_FIRST)
    print(f"{', '.join(f'{mark} {level}' for level, mark in MARKS.items())}. One machine in full:")
    print("  sed -n 2p api/demo/before-corn.ndjson | .venv/bin/setup-audit check -")
    return CLEARED
