"""Requests made up from the OpenAPI document: none may crash the app or get an answer that is not documented."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from tests.api.whole import whole_app

APP, TOKEN = whole_app(Path(tempfile.mkdtemp(prefix="schemathesis-")))
OPEN = (
    "/health",
    "/health/live",
    "/health/ready",
    "/metrics",
    "/.well-known/jwks.json",
    "/.well-known/revoked-starts.json",
    "/verify/{start}/{digest}",
    "/may-start/contract",
    "/calendar/{secret}.ics",
)
"""What needs no token; the counts are for a client on this machine."""
SIGNED_ON = {"Authorization": f"Bearer {TOKEN}"}
# made-up setups know next to nothing, and planning hundreds of readings takes seconds: test_plans.py asks those routes
TOO_SLOW = "^/(plans|changeovers|whatifs)$"
schema = schemathesis.openapi.from_asgi("/openapi.json", APP).exclude(path_regex=TOO_SLOW)
signed_on = schemathesis.openapi.from_asgi("/openapi.json", APP, headers=SIGNED_ON).exclude(path_regex=TOO_SLOW)
signed_on.config.update(headers=SIGNED_ON)  # else the token is made up, too
# that nobody gets in is asked below; here bad tokens in a row would be slowed. What is on record, the document can't say
signed_on.config.checks.update(excluded_check_names=["ignored_auth", "positive_data_acceptance"])
few = settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@signed_on.parametrize()
@few
def test_every_operation_as_an_owner(case: schemathesis.Case[Any]) -> None:
    case.call_and_validate()


@schema.parametrize()
@settings(few, max_examples=5)
def test_every_operation_as_nobody(case: schemathesis.Case[Any]) -> None:
    answer = case.call_and_validate(headers={}, excluded_checks=[positive_data_acceptance])
    if case.method == case.operation.method.upper() and case.operation.path not in OPEN:
        assert answer.status_code in (401, 429)  # whoever sends one bad token after another is slowed


Walk = signed_on.as_state_machine()
"""Requests one after another, each from what the ones before it answered."""
Walk.TestCase.settings = settings(few, max_examples=8, stateful_step_count=6)
TestWalks = Walk.TestCase
