"""Reads what a fleet audit wrote into its folder: summary, a line for each setup, a line for each finding."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from audit.fleet.units import FindingLine, Fleet, Newest, UnitLine, Work
from audit.intake.moments import read_moment
from audit.measures import Unreadable
from audit.nouns.problem import BadInput, Place, Problem
from audit.nouns.risk import Level
from audit.nouns.rule import Verdict

UNITS, FINDINGS, SUMMARY = "units.ndjson", "findings.ndjson", "summary.json"
AGAIN = "Audit the fleet again with 'setup-audit fleet'."
Plain = dict[str, Any]
T = TypeVar("T")


def read_fleet(folder: Path) -> Fleet:
    """The newest setup of every unit in a folder that ``setup-audit fleet`` wrote. Raises BadInput."""
    newest = Newest()
    digest = _digest(folder / SUMMARY)
    for line in _lines(folder / UNITS, unit_line):
        newest.add(line)
    return newest.fleet(_lines(folder / FINDINGS, finding_line), digest)


def unit_line(plain: Plain) -> UnitLine:
    """One line of the units. Raises KeyError, TypeError or ValueError where it is none."""
    work = plain["work"]
    return UnitLine(
        row=int(plain["row"]),
        unit=str(plain["unit"]),
        farm=str(plain["farm"] or ""),
        serial=str(plain["serial"] or ""),
        build_year=None if plain["build_year"] is None else int(plain["build_year"]),
        card=str(plain["card"]),
        crop=str(plain["crop"]),
        header_kind=str(plain["header_kind"] or ""),
        taken=read_moment(plain["taken"]) if plain["taken"] else None,
        by=str(plain["by"] or ""),
        held=plain["clearance"] == "held",
        kept=int(plain["kept"]),
        broken=int(plain["broken"]),
        unknown=int(plain["unknown"]),
        worst=Level[plain["worst"].upper()] if plain["worst"] else None,
        work=None
        if work is None
        else Work(
            minutes=float(work["minutes"]),
            people=int(work["people"]),
            parts=tuple(work["parts"]),
            tools=tuple(work["tools"]),
            steps=int(work["steps"]),
            proven=bool(work["proven"]),
            conflict=bool(work["conflict"]),
        ),
    )


def finding_line(plain: Plain) -> FindingLine:
    """One line of the findings. Raises KeyError, TypeError or ValueError where it is none."""
    return FindingLine(
        row=int(plain["row"]),
        rule=str(plain["rule"]),
        on=str(plain["on"] or ""),
        station=str(plain["station"] or ""),
        verdict=Verdict(plain["verdict"]),
        level=Level[plain["level"].upper()],
        index=int(plain["index"]),
        holds=bool(plain["holds"]),
        downtime=float(plain["downtime_h"]),
        share=float(plain["share"]),
        people=bool(plain["people"]),
        quantity=str(plain["quantity"] or ""),
        side=str(plain["side"] or ""),
        found=str(plain["found"] or ""),
        wanted=str(plain["wanted"] or ""),
    )


def _digest(path: Path) -> str:
    """Digest of the rulebook that judged."""
    try:
        return str(json.loads(path.read_bytes())["rulebook"]["digest"])
    except OSError as error:
        advice = f"It is the folder that 'setup-audit fleet --out {path.parent}' writes."
        raise BadInput([Problem(Place(str(path)), f"can't be read: {error.strerror}.", advice)]) from None
    except (ValueError, KeyError, TypeError):
        raise BadInput([Problem(Place(str(path)), "is not the summary of a fleet audit.", AGAIN)]) from None


def _lines(path: Path, read: Callable[[Plain], T]) -> Iterator[T]:
    try:
        with path.open("rb") as stream:
            for number, line in enumerate(stream, 1):
                try:
                    yield read(json.loads(line))
                except (KeyError, TypeError, ValueError, AttributeError, Unreadable):
                    problem = Problem(Place(str(path), number), "is not a line of a fleet audit.", AGAIN)
                    raise BadInput([problem]) from None
    except OSError as error:
        raise BadInput([Problem(Place(str(path)), f"can't be read: {error.strerror}.", AGAIN)]) from None
