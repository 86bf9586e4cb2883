"""The least that a service can do with a setup: a FastAPI route that validates it and answers a few bytes.

    python tests/bench/bare.py PORT CARD

The model has a field of its own for every setting, reading and event of the card. It checks types and words, not units
or ranges, and takes the last of two equal keys.
"""

from __future__ import annotations

import sys
from typing import Any

import uvicorn
from fastapi import FastAPI

import rules
from audit.intake.rulebook import read_rulebook
from tests.bench.audit_speed import typed_model


def app_for(card: str) -> FastAPI:
    app = FastAPI()
    rulebook = read_rulebook(rules.root())
    model: Any = typed_model(rulebook.machines[card], rulebook)

    async def validate(setup: model) -> dict[str, bool]:
        return {"valid": setup is not None}

    validate.__annotations__ = {"setup": model, "return": dict[str, bool]}  # made while running, so not found by name
    app.post("/audits")(validate)
    return app


if __name__ == "__main__":
    uvicorn.run(app_for(sys.argv[2]), host="127.0.0.1", port=int(sys.argv[1]), access_log=False, log_level="warning")
