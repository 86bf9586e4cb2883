"""The house keeps its own rules."""

from __future__ import annotations

import importlib
import pkgutil
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import audit
import rules
from audit.field import FACTS
from audit.intake.rulebook import read_rulebook
from audit.kinds import drive_kinds, part_kinds
from audit.measures import CANONICAL, dimension_of
from audit.nouns.kind import FactOf, Kind
from audit.physics.formula import formula_of

ROOT = Path(__file__).parents[2]
NOT_SOURCES = {"definition", "common practice", "memory", "machine card"}
MOST_LINES = 400


def tracked() -> list[Path]:
    """Files that belong to the project, tests and data included."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0 and listed.stdout:
        return [ROOT / name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]
    return [path for top in ("audit", "rules", "api", "tests") for path in (ROOT / top).rglob("*") if path.is_file()]


def formulas() -> Iterator[tuple[str, Callable[..., object]]]:
    """Every marked function of the engine."""
    for entry in pkgutil.walk_packages(audit.__path__, "audit."):
        module = importlib.import_module(entry.name)
        for name, member in vars(module).items():
            if hasattr(member, "__formula__") and getattr(member, "__module__", "") == entry.name:
                yield f"{entry.name}.{name}", member


FORMULAS = dict(formulas())
KINDS = {**drive_kinds(), **part_kinds()}


@pytest.mark.parametrize("name", FORMULAS)
def test_a_formula_can_be_audited(name: str) -> None:
    """Name, equation and source are stated, and the source is on the list."""
    sheet = formula_of(FORMULAS[name])
    assert sheet.name
    assert sheet.equation
    assert sheet.source in NOT_SOURCES | set(read_sources())
    assert FORMULAS[name].__doc__


def read_sources() -> set[str]:
    global _sources
    if not _sources:
        _sources = set(read_rulebook(rules.root()).sources)
    return _sources


_sources: set[str] = set()


@pytest.mark.parametrize("name", [name for name in FORMULAS if name.startswith("audit.physics.")])
def test_a_formula_of_physics_states_args_returns_raises_source_and_an_example(name: str) -> None:
    text = FORMULAS[name].__doc__ or ""
    for head in ("Args:", "Returns:", "Raises:", "Source:", ">>>"):
        assert head in text, f"{name} lacks {head}"


def facts_of(kind: Kind) -> tuple[FactOf, ...]:
    return kind.facts


@pytest.mark.parametrize("name", KINDS)
def test_a_kind_has_its_shape(name: str) -> None:
    kind = KINDS[name]
    assert kind.families[-1] == name or kind.families == (name,)
    assert kind.meaning
    names = [p.name for p in kind.parameters] + [q.name for q in kind.quantities] + [f.name for f in kind.facts]
    assert len(names) == len(set(names))
    for fact in kind.facts:
        known = {*names, "speed", "measured_speed", *(q for q in ("temperature",))}
        for arg in fact.args:
            assert not isinstance(arg, str) or "." in arg or arg in known, f"{name}.{fact.name}: {arg}"


@pytest.mark.parametrize("fact", [*FACTS, *(f for kind in KINDS.values() for f in kind.facts)], ids=lambda f: f.name)
def test_a_fact_is_in_the_canonical_unit(fact: FactOf) -> None:
    unit = formula_of(fact.function).unit
    if unit:
        assert CANONICAL[dimension_of(unit)] == unit


def test_modules_are_short_enough_to_read() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in tracked()
        if path.suffix == ".py" and path.parts[len(ROOT.parts)] in ("audit", "api", "rules")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES
    }
    assert long == {}


# written in two halves so that this file does not find itself
FORBIDDEN = (
    *("pypi" + ".org", "python" + "hosted", "npm" + "js.org", "deb.deb" + "ian", "/wo" + "rk/", "/ro" + "ot/"),
    *("seed docu" + "ment", "TO" + "DO", "FIX" + "ME"),
)


@pytest.mark.parametrize("word", FORBIDDEN)
def test_words_that_have_no_place_here(word: str) -> None:
    found = []
    for path in tracked():
        if path.suffix in (".png", ".woff2"):
            continue
        if word in path.read_text(encoding="utf-8", errors="replace"):
            found.append(str(path.relative_to(ROOT)))
    assert found == []


def test_locks_name_hashes_and_no_address() -> None:
    for name in ("requirements.lock", "requirements-test.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        pinned = re.findall(r"^([a-z0-9][\w.-]*)==", text, re.MULTILINE)
        assert len(pinned) > 10
        assert text.count("--hash=sha256:") >= len(pinned)
        assert "://" not in text


def test_imports_point_down() -> None:
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports"), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout


def test_the_wheel_brings_rules_and_demo_and_works_away_from_the_checkout(tmp_path: Path) -> None:
    build = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        str(tmp_path),
        str(ROOT),
    ]
    subprocess.run(build, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("*.whl")
    unpacked = tmp_path / "unpacked"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(unpacked)
        names = packed.namelist()
    shipped = {str(path.relative_to(ROOT)) for path in rules.root().rglob("*.yaml")}
    assert shipped <= set(names)
    run = f"import sys; sys.path.insert(0, {str(unpacked)!r}); from api.cli import main; sys.exit(main(['demo']))"
    done = subprocess.run([sys.executable, "-P", "-c", run], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "■ HIGH" in done.stdout
