"""The contract's page: its examples as files, and a server with a unit that is in order to try them on."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType
from typing import Any

from api.routes.question import CONTRACT
from tests.api.legal import legal_setup
from tests.api.running.servers import Line

BLOCK = re.compile(
    r"^```(?P<kind>\w+)(?: file=(?P<file>\S+)| (?P<run>run))?\n(?P<text>.*?)^```", re.DOTALL | re.MULTILINE
)
UNIT = {"card": "axial-single", "serial": "KX-01822", "build_year": 2021}
HEADER = "corn-head"


def blocks() -> list[re.Match[str]]:
    return list(BLOCK.finditer(CONTRACT.read_text(encoding="utf-8")))


def written(folder: Path) -> None:
    """Writes every example that is a file."""
    for block in blocks():
        if block["file"]:
            (folder / block["file"]).write_text(block["text"], encoding="utf-8")


def python_example(folder: Path) -> ModuleType:
    """The Python example, as somebody would copy it."""
    written(folder)
    spec = importlib.util.spec_from_file_location("may_start", folder / "may_start.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def in_order(rulebook: Any) -> dict[str, Any]:
    """A setup of ``UNIT`` that keeps every rule."""
    setup = legal_setup(rulebook)
    return {**setup, "unit": {**setup["unit"], "engine_hours": 1000.0}}


def put_right(line: Line, token: str, unit: str, setup: dict[str, Any]) -> None:
    """Records a unit and a setup of it."""
    assert line.ask("PUT", f"/units/{unit}", token, UNIT).status == 201
    assert line.ask("POST", f"/units/{unit}/setups", token, setup).status == 201


def spoilt(setup: dict[str, Any]) -> dict[str, Any]:
    """The same setup with one side of the drum set for another crop."""
    return {**setup, "settings": {**setup["settings"], "feeder.drum": {"left": "raised", "right": "lowered"}}}
