"""Whole setups in, whole reports out, as reviewed files: a clean and a faulty machine of each card, before each crop.

Renew them with ``python tests/acceptance/renew.py``, then read the difference.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.acceptance.renew import FOLDER, REPORTS, short


@pytest.mark.parametrize(("crop", "unit"), REPORTS)
def test_report(crop: str, unit: str) -> None:
    kept = json.loads((FOLDER / f"{crop}-{unit}.json").read_text(encoding="utf-8"))
    assert short(crop, unit) == kept


def test_every_kept_report_is_tested() -> None:
    assert sorted(path.name for path in Path(FOLDER).glob("*.json")) == sorted(f"{c}-{u}.json" for c, u in REPORTS)
