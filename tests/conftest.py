"""What several tests start from: the shipped rulebook, the demo fleet, and site folders made on the spot."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

import rules
from audit.auditor import Auditor
from audit.intake.rulebook import read_rulebook
from audit.nouns.rulebook import Rulebook

# a slow machine is not a fault
settings.register_profile("house", deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")

REPOSITORY = Path(__file__).parent.parent
DEMO = REPOSITORY / "api" / "demo"


@pytest.fixture(autouse=True, scope="session")
def data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A data folder of the tests' own: no command may touch the record of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        patch.delenv("SETUP_AUDIT_STORE", raising=False)
        yield


@pytest.fixture(scope="session")
def repository() -> Path:
    """The checkout."""
    return REPOSITORY


@pytest.fixture(scope="session")
def rulebook() -> Rulebook:
    """The shipped rulebook."""
    return read_rulebook(rules.root())


@pytest.fixture(scope="session")
def auditor(rulebook: Rulebook) -> Auditor:
    """An auditor by the shipped rulebook; it keeps its sheets, so the session compiles each once."""
    return Auditor(rulebook)


@pytest.fixture(scope="session")
def demo_lines() -> dict[str, tuple[bytes, ...]]:
    """Lines of the demo fleet by crop."""
    return {crop: tuple((DEMO / f"before-{crop}.ndjson").read_bytes().splitlines()) for crop in ("corn", "soybean")}


@pytest.fixture(scope="session")
def demo_setups(demo_lines: dict[str, tuple[bytes, ...]]) -> list[dict[str, Any]]:
    """The same setups, decoded; not to be changed by a test."""
    return [json.loads(line) for lines in demo_lines.values() for line in lines]


@pytest.fixture
def site(tmp_path: Path) -> Callable[[Mapping[str, str | bytes]], Path]:
    """Builds a folder from texts by relative path; each call gives a new folder."""
    made = 0

    def build(files: Mapping[str, str | bytes]) -> Path:
        nonlocal made
        made += 1
        folder = tmp_path / f"site{made}"
        folder.mkdir()
        for name, text in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return folder

    return build
