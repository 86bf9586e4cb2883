"""How fast the audit is, as ratios measured side by side in one run on one core.

Run with ``make bench``. The floor is pydantic reading and validating the same bytes, and doing nothing else. Two floors
are shown: a model with a field of its own for every setting and reading of the card (lean: it checks types and words,
not units or ranges), and one that takes settings and readings as free mappings. Nothing here fails: machines differ.
"""

from __future__ import annotations

import json
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model

import rules
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook
from audit.nouns.answer import Answer
from audit.nouns.machine import MachineCard
from audit.nouns.quantity import Form, Quantity, Role
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

SETUPS = 10_000
ROUNDS = 7
DEMO = Path(__file__).parents[2] / "api" / "demo"


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Measured(Strict):
    value: str | float | None = None
    unit: str | None = None
    with_: str | None = Field(None, alias="with")


Number = str | float | Measured | None


class Sides(Strict):
    left: str | float | bool | Measured | None = None
    right: str | float | bool | Measured | None = None


class Header(Strict):
    kind: str | None = None
    width: Number = None
    rows: Number = None
    row_spacing: Number = None
    drive_speed: Number = None


class Unit(Strict):
    id: str
    card: str
    serial: str = ""
    build_year: int | None = None
    fitted: dict[str, str] | None = None
    owner: str = ""
    engine_hours: Number = None


class Job(Strict):
    crop: str
    condition: str | None = None
    header: Header | None = None
    ground_speed: Number = None
    grain_yield: Number = None
    hectares: Number = None
    seeds_per_kg: Number = None


class Taken(Strict):
    at: str = ""
    by: str = ""
    state: str = ""


Free = dict[str, str | float | bool | Measured | Sides | None]


class FreeSetup(Strict):
    unit: Unit
    job: Job
    taken: Taken | None = None
    settings: Free = {}
    readings: Free = {}
    events: dict[str, str] = {}


def typed_model(card: MachineCard, rulebook: Rulebook) -> type[BaseModel]:
    """A model with a field for every setting, reading and event of a card."""
    names = on_card(card, rulebook.vocabulary)

    def section(role: Role) -> type[BaseModel]:
        fields: dict[str, Any] = {}
        for name, quantity in names.items():
            if quantity.role is role:
                fields[f"f{len(fields)}"] = (_type(quantity), Field(None, alias=name))
        return create_model(role.value, __base__=Strict, **fields)

    parts: dict[str, Any] = {
        "unit": (Unit, ...),
        "job": (Job, ...),
        "taken": (Taken | None, None),
        "settings": (section(Role.SETTING), ...),
        "readings": (section(Role.READING), ...),
        "events": (section(Role.EVENT) | None, None),
    }
    return create_model("Setup", __base__=Strict, **parts)


def _type(quantity: Quantity) -> Any:
    if quantity.form is Form.NUMBER:
        plain: Any = Number
    elif quantity.form is Form.YES_NO:
        plain = bool | None
    elif quantity.form is Form.TIME:
        plain = str | None
    else:
        plain = Literal[tuple(word for word, _ in quantity.words)] | None
    return plain | Sides if quantity.sided else plain


def fleet(count: int, seed: int = 1) -> Iterator[bytes]:
    """Setups made from the demo's complete ones: other serials, other readings within a hair, a few faults each."""
    chance = random.Random(seed)
    models = [json.loads(line) for path in sorted(DEMO.glob("*.ndjson")) for line in path.read_bytes().splitlines()]
    models = [model for model in models if len(model.get("readings", {})) > 100]
    for number in range(count):
        setup = json.loads(json.dumps(chance.choice(models)))
        unit = setup["unit"]
        unit["id"] = f"unit-{number:06d}"
        unit["serial"] = f"{unit.get('serial', 'KX-1')[:3]}{chance.randrange(1000, 3000):05d}"
        readings = setup["readings"]
        for key, value in readings.items():
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                readings[key] = round(value * chance.uniform(0.995, 1.005), 0 if isinstance(value, int) else 1)
        for key in chance.sample(sorted(readings), 3):
            if isinstance(readings[key], bool):
                readings[key] = not readings[key]
        yield json.dumps(setup, separators=(",", ":"), ensure_ascii=False).encode()


def seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def main() -> None:
    os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    rulebook = read_rulebook(rules.root())
    auditor = Auditor(rulebook)
    lines = list(fleet(SETUPS))
    cards = [json.loads(line)["unit"]["card"] for line in lines]
    typed = {card.id: typed_model(card, rulebook).__pydantic_validator__ for card in rulebook.machines.values()}
    free = FreeSetup.__pydantic_validator__

    def audit() -> None:
        for _ in auditor.answer_all(lines, str):
            pass

    first = seconds(audit)
    answers = list(auditor.answer_all(lines, str))
    judged = [
        auditor.judge(line, "") for line, answer in zip(lines, answers, strict=True) if isinstance(answer, Answer)
    ]
    asked = statistics.mean(len(answer.sheet.questions) for answer in judged)
    print(f"{len(lines):,} setups of {statistics.mean(map(len, lines)) / 1000:.1f} kB, {asked:.0f} questions each,")
    hits = statistics.mean(len(answer.hits) for answer in judged)
    print(f"{hits:.1f} findings each, {len(lines) - len(judged)} refused; one core, {ROUNDS} rounds, medians")

    def floor_typed() -> None:
        for line, card in zip(lines, cards, strict=True):
            typed[card].validate_json(line)

    def floor_free() -> None:
        for line in lines:
            free.validate_json(line)

    runs = {
        "pydantic, a field each": floor_typed,
        "pydantic, free mappings": floor_free,
        "whole audit": audit,
    }
    taken: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, run in runs.items():
            taken[name].append(seconds(run))
    base = taken["pydantic, a field each"]
    for name, times in taken.items():
        ratio = statistics.median(one / floor for one, floor in zip(times, base, strict=True))
        print(f"  {name:36s} {statistics.median(times) / len(lines) * 1e6:7.1f} µs a setup   x {ratio:.2f}")
    warm = statistics.median(taken["whole audit"])
    print(f"  first pass, tables still empty: x {first / warm:.2f} of a later one")

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    further = fleet(5 * SETUPS, seed=2)
    while some := list(islice(further, SETUPS // 10)):
        for _ in auditor.answer_all(some, str):
            pass
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    print(f"  peak memory grew by {grown / 1024:.1f} MiB over {5 * SETUPS:,} further setups")
    cold_start(lines[0])


def cold_start(line: bytes) -> None:
    """`setup-audit check` on one file, each time in a new process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "setup.json"
        path.write_bytes(line)
        command = [sys.executable, "-m", "api.cli", "check", str(path)]
        bare = [sys.executable, "-c", "pass"]
        times: dict[str, list[float]] = {"check": [], "bare": []}
        for _ in range(ROUNDS):
            for name, argv in (("check", command), ("bare", bare)):
                times[name].append(seconds(lambda argv=argv: subprocess.run(argv, capture_output=True, check=False)))  # type: ignore[misc]
    check, empty = (statistics.median(times[name]) for name in ("check", "bare"))
    print(f"  check on one file, new process: {check:.2f} s (an empty python: {empty:.2f} s)")


if __name__ == "__main__":
    main()
