"""What every request passes through: its id, limits of size and rate, counts, one line in the log."""

from __future__ import annotations

import sys
from typing import TextIO

from fastapi import FastAPI

from api.middleware.bounds import Bounds
from api.middleware.log import Log
from api.middleware.meters import Meters
from api.middleware.passage import Passage


def add_middleware(app: FastAPI, bounds: Bounds | None = None, stream: TextIO | None = None) -> None:
    """Put an app's requests through the passage, and its ``Meters`` into ``app.state.meters``.

    Args:
        bounds: limits of size and rate; by default of size only.
        stream: where the log goes, else the error output.
    """
    meters = Meters()
    app.state.meters = meters
    log = Log(stream or sys.stderr, meters.lines_lost.inc)
    app.add_middleware(Passage, bounds=bounds or Bounds(), log=log, meters=meters, state=app.state)
