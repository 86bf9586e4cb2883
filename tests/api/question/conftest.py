"""One server process for all examples of the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from audit.nouns.rulebook import Rulebook
from tests.api.question.page import in_order, put_right, python_example, spoilt
from tests.api.running.servers import Line, found_house, serving


@dataclass(frozen=True)
class Place:
    """A server's address with tokens; ``unit-07`` is in order, ``unit-08`` is not."""

    url: str
    line: Line
    tokens: dict[str, str]
    setup: dict[str, Any]
    folder: Path
    example: ModuleType


@pytest.fixture(scope="session")
def place(tmp_path_factory: pytest.TempPathFactory, rulebook: Rulebook) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("question")
    secret = folder / "secret"
    secret.write_bytes(bytes(range(32)))
    secret.chmod(0o600)
    address = f"sqlite:///{folder / 'record.db'}"
    tokens = found_house(address)
    setup = in_order(rulebook)
    with serving(address, {"SETUP_AUDIT_SECRET_FILE": str(secret)}, folder, 1) as (server,):
        line = Line(server.port)
        put_right(line, tokens["mechanic"], "unit-07", setup)
        put_right(line, tokens["mechanic"], "unit-08", spoilt(setup))
        yield Place(f"http://127.0.0.1:{server.port}", line, tokens, setup, folder, python_example(folder))
        line.close()
