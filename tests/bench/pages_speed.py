"""How long the list of a fleet takes as a page, beside the JSON list of the same units, in one run.

    python tests/bench/pages_speed.py [units]

``GET /fleet`` decides every unit of a fleet anew (2,000 where no number is given), sorts them worst first and shows a
page of them; ``GET /units?most=500`` reads rows and decides nothing. Both are asked in turn over one kept connection of
a process of its own, once the first page was made. Nothing here fails: machines differ.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

import rules
from api.store.database import Store
from audit.intake.rulebook import read_rulebook
from tests.api.legal import legal_setup
from tests.api.running.servers import found_house, free_port
from tests.bench.service_speed import fill, load, request, secret, serving

ROUNDS, LOOKS = 5, 10
PAGE, ROWS = "/fleet", "/units?most=500"


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        address, around, port = f"sqlite:///{folder / 'fleet.db'}", secret(folder), free_port()
        token = found_house(address)["reader"]
        store = Store(address)
        fill(store, ((f"unit-{number:05}", 1) for number in range(count)), legal_setup(read_rulebook(rules.root())))
        store.close()
        with serving(address, around, folder, port) as server:

            def times(path: str, looks: int) -> list[float]:
                return list(load(port, 1, looks, [request("GET", path, b"", token)], server, folder).times)

            (first,) = times(PAGE, 1)
            times(ROWS, 1)
            taken: dict[str, list[float]] = {PAGE: [], ROWS: []}
            for _ in range(ROUNDS):
                for path, seen in taken.items():
                    seen += times(path, LOOKS)
        page, rows = (statistics.median(seen) for seen in taken.values())
        print(f"a fleet of {count:,} units, one connection, medians of {ROUNDS * LOOKS} requests, ms")
        print(f"  GET {ROWS:18s} {rows:8.1f}\n  GET {PAGE:18s} {page:8.1f}   x {page / rows:.2f}")
        print(f"  GET {PAGE}, the first    {first:8.1f}   x {first / rows:.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000)
