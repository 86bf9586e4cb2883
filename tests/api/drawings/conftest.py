"""Machines, setups and reports that the drawings are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import pytest

from audit.facts import compute
from audit.intake.setups import read_setup
from audit.nouns.finding import Finding, Report
from audit.nouns.quantity import Sided, Value
from audit.nouns.rulebook import Rulebook
from audit.nouns.setup import Setup
from audit.run import audit_on_sheet
from audit.sheet import Sheet, make_sheet


@dataclass(frozen=True)
class Audited:
    """One setup with all that is known of it."""

    setup: Setup
    sheet: Sheet
    values: Mapping[str, Value | Sided]
    report: Report


@pytest.fixture(scope="session")
def audited(rulebook: Rulebook, demo_lines: dict[str, tuple[bytes, ...]]) -> Callable[[str, int], Audited]:
    """A setup of the demo fleet by crop and number of the unit."""

    def one(crop: str, unit: int) -> Audited:
        setup = read_setup(demo_lines[crop][unit - 1], "demo", rulebook)
        sheet = make_sheet(rulebook, rulebook.machines[setup.unit.card], rulebook.crops[setup.crop])
        return Audited(setup, sheet, compute(sheet, setup).values, audit_on_sheet(sheet, setup))

    return one


@pytest.fixture(scope="session")
def crowded(audited: Callable[[str, int], Audited]) -> Callable[[Report, list[str], int], Report]:
    """A report with so many broken findings at each of some stations, levels in turn."""
    pool: list[Finding] = [
        finding
        for crop in ("corn", "soybean")
        for unit in (3, 5, 17, 20, 22)
        for finding in audited(crop, unit).report.findings
    ]

    def crowd(report: Report, stations: list[str], each: int) -> Report:
        findings = [
            replace(pool[(n * each + k) % len(pool)], station=station, on="")
            for n, station in enumerate(stations)
            for k in range(each)
        ]
        return replace(report, findings=tuple(sorted(findings, key=lambda finding: finding.risk.level)))

    return crowd
