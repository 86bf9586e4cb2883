"""A unit to walk round."""

from __future__ import annotations

import pytest

from tests.api.pages.browsing import House, Remote
from tests.api.pages.whole_unit import faulty


@pytest.fixture
def asks(at: House) -> Remote:
    """A unit with faults on record, and who asks of it beside the browser."""
    found = Remote(at)
    faulty(found)
    return found
