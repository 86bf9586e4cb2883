"""README's examples do what they say."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"```(?P<kind>\w+)(?: file=(?P<file>\S+))?\n(?P<text>.*?)```", re.DOTALL)


def commands() -> list[tuple[str, list[str]]]:
    """Every command of a console block with the lines that it must print, in order."""
    found: list[tuple[str, list[str]]] = []
    for block in BLOCK.finditer(README):
        if block["kind"] != "console":
            continue
        for line in block["text"].splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files that README shows."""
    made = tmp_path_factory.mktemp("readme")
    for block in BLOCK.finditer(README):
        if block["file"]:
            (made / block["file"]).write_text(block["text"], encoding="utf-8")
    return made


def test_there_are_examples() -> None:
    assert len(commands()) >= 4


def test_every_example_in_order(folder: Path) -> None:
    """One test for all: later commands use what earlier ones wrote."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    for command, lines in commands():
        run = command.replace("setup-audit", f"{sys.executable} -m api.cli", 1)
        done = subprocess.run(run, shell=True, cwd=folder, env=environment, capture_output=True, text=True, check=False)
        assert done.stderr == ""
        place = 0
        for part in (part for line in lines for part in line.split("…")):  # the sign stands for what may change
            found = done.stdout.find(part, place)
            assert found >= 0, f"{command}: {part!r} is not in the output from there on:\n{done.stdout[:2000]}"
            place = found + len(part)


def test_the_files_are_json() -> None:
    files = {block["file"]: json.loads(block["text"]) for block in BLOCK.finditer(README) if block["file"]}
    assert files["unit-07.json"]["unit"]["id"] == "unit-07"
    assert files["fleet.json"]["Equipment"][0]["EquipmentHeader"]["EquipmentID"] == "Unit 12"


def test_the_job_stands_at_the_top() -> None:
    first = README.split("\n\n")[1]
    assert "\n\n" not in first
    for word in ("combine", "rulebook", "ranked", "unknown"):
        assert word in first
