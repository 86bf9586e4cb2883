"""Requests made up from the OpenAPI document: none may crash the app or get an answer that is not documented."""

from __future__ import annotations

from typing import Any

import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from api.app import create_app

# made-up setups know next to nothing, and planning hundreds of readings takes seconds: test_plans.py asks those routes
schema = schemathesis.openapi.from_asgi("/openapi.json", create_app()).exclude(path_regex="plans|changeovers|whatifs")


@schema.parametrize()
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_every_operation(case: schemathesis.Case[Any]) -> None:
    # the document describes a setup's envelope; which keys and words a card has, its own schema says
    envelope_only: list[Any] = [positive_data_acceptance] if case.operation.method == "post" else []
    case.call_and_validate(excluded_checks=envelope_only)
