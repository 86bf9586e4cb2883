"""How fast the service answers, as ratios measured side by side in one run.

    python tests/bench/service_speed.py [units]

First ``POST /audits`` by one server process, from 16 kept connections of a process of its own, beside a bare FastAPI
route that only validates the same bodies (see ``bare``): without a record, and with a store and a token. Then the
clearance of one unit in a store of many units (20,000 where no number is given), and of one with many setups. Processor
time of the server is shown beside the time that went by, as what else runs on the machine slows every side, but not by
the same share. Nothing here fails: machines differ.
"""

from __future__ import annotations

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import rules
from api.store import setups, units
from api.store.database import Store
from api.store.events import canonical
from api.store.setups import SetupRow
from api.store.units import UnitRow
from audit.intake.rulebook import read_rulebook
from tests.api.legal import legal_setup
from tests.api.running.servers import HOME, REPOSITORY, Line, NoAnswer, Server, found_house, free_port
from tests.bench.audit_speed import fleet

HERE = Path(__file__).parent
CARD = "axial-single"
BARE = "bare route, validates only"
CONNECTIONS, REQUESTS, ROUNDS, SETS = 16, 1000, 5, 5
LOOKS = 200
NAME = b"the-unit-of-the-bench"
TICK = os.sysconf("SC_CLK_TCK")


class Taken(NamedTuple):
    """One round: s that went by, s of the server's processor time, answers' times in ms."""

    seconds: float
    processor: float
    times: Sequence[float]


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        audits(Path(folder))
        clearances(Path(folder), count)


def audits(folder: Path) -> None:
    """Ratios of ``POST /audits`` to the bare route, over several sets of servers: a process may be slower all its life."""
    own = (line for line in fleet(sys.maxsize) if json.loads(line)["unit"]["card"] == CARD)
    lines = list(islice(own, REQUESTS * (1 + ROUNDS)))
    address, around = f"sqlite:///{folder / 'small.db'}", secret(folder)
    token = found_house(address)["reader"]
    taken: dict[str, list[Taken]] = {}
    for _ in range(SETS):
        for name, rounds in rounds_of(lines, address, around, token, folder).items():
            taken.setdefault(name, []).extend(rounds)
    size = statistics.mean(map(len, lines)) / 1000
    print(
        f"setups of {size:.1f} kB, {CONNECTIONS} connections, {SETS} sets of servers, {ROUNDS} rounds of {REQUESTS} requests by each, medians"
    )
    base = taken[BARE]
    for name, rounds in taken.items():
        by_clock = statistics.median(one.seconds / floor.seconds for one, floor in zip(rounds, base, strict=True))
        by_work = statistics.median(one.processor / floor.processor for one, floor in zip(rounds, base, strict=True))
        rate = statistics.median(REQUESTS / one.seconds for one in rounds)
        work = statistics.median(one.processor / REQUESTS for one in rounds) * 1e3
        print(
            f"  {name:32s} {rate:7.0f} /s, {work:5.2f} ms of processor   x {by_clock:.2f} by time, x {by_work:.2f} by work"
        )


def rounds_of(
    lines: Sequence[bytes], address: str, around: Mapping[str, str], token: str, folder: Path
) -> dict[str, list[Taken]]:
    """Every round of new servers, in turn."""
    with ExitStack() as stack:
        bare, plain, stored = free_port(), free_port(), free_port()
        servers = {
            BARE: stack.enter_context(
                process([sys.executable, "-m", "tests.bench.bare", str(bare), CARD], bare, folder)
            ),
            "POST /audits, no record": stack.enter_context(
                process([sys.executable, "-m", "api.cli", "serve", "--no-store", "--port", str(plain)], plain, folder)
            ),
            "POST /audits, store and token": stack.enter_context(serving(address, around, folder, stored)),
        }
        ports = dict(zip(servers, (bare, plain, stored), strict=True))
        taken: dict[str, list[Taken]] = {name: [] for name in servers}
        for first in range(0, len(lines), REQUESTS):  # no setup is sent twice to a server
            requests = [request("POST", "/audits", line, token) for line in lines[first : first + REQUESTS]]
            for name, server in servers.items():
                asked = load(ports[name], CONNECTIONS, REQUESTS, requests, server, folder)
                if first:  # in the first round is made what is made once
                    taken[name].append(asked)
    return taken


def clearances(folder: Path, count: int) -> None:
    """Clearance of one unit of few and of many, with few setups and with many."""
    address, around, port = f"sqlite:///{folder / 'many.db'}", secret(folder), free_port()
    token, line = found_house(address)["reader"], legal_setup(read_rulebook(rules.root()))
    store = Store(address)
    began = time.perf_counter()
    some = [f"few-{number:06}" for number in range(LOOKS)]
    fill(store, ((unit, 1 + number % 2) for number, unit in enumerate(some)), line)
    fill(store, (("ten", 10), ("thousand", 1000)), line)
    store.close()
    with serving(address, around, folder, port) as server:
        clearance_times(port, ["ten"] * LOOKS, token, server, folder)  # what is made once is made now
        few = [clearance_times(port, some, token, server, folder) for _ in range(2)]
        store = Store(address)
        many = [f"many-{number:06}" for number in range(count)]
        fill(store, ((unit, 1 + number % 2) for number, unit in enumerate(many)), line)
        store.close()
        chosen = random.Random(1).sample(many, min(LOOKS, count))
        lots = [clearance_times(port, chosen, token, server, folder) for _ in range(2)]
        seconds = time.perf_counter() - began
        print(f"clearance without a plan, one connection, medians of {LOOKS} requests, ms; written in {seconds:.0f} s")
        for said, one, other in zip(("asked first", "asked again"), few, lots, strict=True):
            low, high = statistics.median(one), statistics.median(other)
            print(f"  {said}: of {LOOKS:,} units {low:6.2f}, of {count:,} {high:6.2f}   x {high / low:.2f}")
        by_setups = {name: list[float]() for name in ("ten", "thousand")}
        for _ in range(ROUNDS):
            for name, times in by_setups.items():
                times += clearance_times(port, [name] * (LOOKS // ROUNDS), token, server, folder)
        ten, thousand = (statistics.median(times) for times in by_setups.values())
        print(
            f"  a unit with 10 setups                {ten:6.2f}\n  a unit with 1,000                    {thousand:6.2f}   x {thousand / ten:.2f}"
        )


def clearance_times(port: int, of: Sequence[str], token: str, server: int, folder: Path) -> Sequence[float]:
    wanted = [request("GET", f"/units/{unit}/clearance?plan=false", b"", token) for unit in of]
    return load(port, 1, len(of), wanted, server, folder).times


def fill(store: Store, wanted: Iterable[tuple[str, int]], setup: dict[str, Any]) -> None:
    """Writes units, each with so many setups, straight into the store."""
    unit = {**setup["unit"], "id": NAME.decode(), "card": CARD, "engine_hours": 1000.0}
    line, job = canonical({**setup, "unit": unit}), (setup["job"]["crop"], setup["job"]["header"]["kind"])
    left = iter(wanted)
    while batch := list(islice(left, 2000)):
        now = time.time()
        with store.writing(HOME, "bench", now) as work:
            for id, number in batch:
                units.add(work, UnitRow(id, CARD, "", None, {}, "", 1000.0, now, 1, 0, number, now, None))
                for turn in range(1, number + 1):
                    setups.add(work, setup_row(id, turn, line, job, now - 60 * (number - turn)))


def setup_row(unit: str, number: int, line: bytes, job: tuple[str, str], taken: float) -> SetupRow:
    text = line.replace(NAME, unit.encode())
    digest = sha256(text).hexdigest()
    return SetupRow(
        unit, number, f"setup-{sha256(f'{unit} {number}'.encode()).hexdigest()[:16]}", digest, text, CARD, *job,
        "as-found", taken, "", 1000.0, taken, "bench",
    )  # fmt: skip


def request(method: str, path: str, body: bytes, token: str) -> str:
    """A whole request as text."""
    head = f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {token}\r\n"
    kind = f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n" if body else ""
    return f"{head}{kind}\r\n{body.decode()}"


def load(port: int, connections: int, count: int, requests: Sequence[str], server: int, folder: Path) -> Taken:
    """Lets a process of its own ask a server, whose process id is given."""
    file = folder / "requests.json"
    file.write_text(json.dumps(requests))
    before = processor_time(server)
    words = [sys.executable, str(HERE / "load.py"), str(port), str(connections), str(count), str(file)]
    told = json.loads(subprocess.run(words, capture_output=True, check=True).stdout)
    return Taken(told["seconds"], processor_time(server) - before, told["times"])


def processor_time(process: int) -> float:
    """Seconds that a process has worked. Source: proc(5), /proc/pid/stat, utime and stime."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICK


@contextmanager
def process(words: Sequence[str], port: int, folder: Path) -> Iterator[int]:
    """A server process by its words; gives its id once it answers, and ends it afterwards."""
    with (folder / f"log-{port}").open("w") as log:
        server = subprocess.Popen(words, stdout=log, stderr=log, env={**os.environ, "PYTHONPATH": str(REPOSITORY)})
    try:
        while not answers(port):
            if server.poll() is not None:
                raise SystemExit((folder / f"log-{port}").read_text())
            time.sleep(0.05)
        yield server.pid
    finally:
        server.kill()
        server.wait()


@contextmanager
def serving(address: str, around: Mapping[str, str], folder: Path, port: int) -> Iterator[int]:
    """A server on a store."""
    server = Server(address, around, folder / f"log-{port}", port)
    try:
        server.start()
        assert server.process is not None
        yield server.process.pid
    finally:
        server.kill()


def answers(port: int) -> bool:
    """Whether anything answers, be it that there is no such path."""
    line = Line(port)
    try:
        return line.ask("GET", "/health/ready").status > 0
    except NoAnswer:
        return False
    finally:
        line.close()


def secret(folder: Path) -> dict[str, str]:
    """An environment that names a file for the secret."""
    file = folder / "secret"
    if not file.exists():
        file.write_bytes(bytes(range(32)))
        file.chmod(0o600)
    return {"SETUP_AUDIT_SECRET_FILE": str(file)}


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
