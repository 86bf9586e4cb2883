"""The process of one fleet audit of the service: python -m api.fleet_job ORGANISATION ID FOLDER [SITE …]"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from api.fleet.run import Stopped
from api.service.fleet_jobs import run_job
from api.store import ADDRESS
from api.store.database import StoreUnavailable


def main(words: list[str]) -> int:
    """Do the job; told to stop, end after the block at hand, so that it can go on later."""
    told: list[int] = []
    signal.signal(signal.SIGTERM, lambda number, _: told.append(number))
    organisation, id, place, *sites = words
    try:
        run_job(os.environ[ADDRESS], organisation, id, Path(place), tuple(map(Path, sites)), lambda: bool(told))
    except Stopped:
        return 0
    except StoreUnavailable as error:  # the row still says that it runs, so it is taken up again
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
