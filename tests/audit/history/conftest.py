"""Units for the tests of history."""

from __future__ import annotations

import json
from collections.abc import Mapping

import pytest

from audit.auditor import Auditor
from tests.audit.history.visits import Unit


@pytest.fixture(scope="session")
def unit(auditor: Auditor) -> Unit:
    """A unit of which nothing is known but what a test says."""
    return Unit(auditor, {"unit": {"id": "unit-07", "card": "axial-single", "serial": "KX-01822"}, "job": {}})


@pytest.fixture(scope="session")
def worked(auditor: Auditor, demo_lines: Mapping[str, tuple[bytes, ...]]) -> Unit:
    """A unit of the demo fleet with everything that was found on it."""
    return Unit(auditor, json.loads(demo_lines["corn"][0]))
