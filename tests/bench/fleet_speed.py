"""How fast the audit of a fleet is, as ratios measured side by side in one run.

Run with ``make bench``; ``--only``, ``--memory`` and ``--workers`` choose what is measured and how large. On a quiet machine
``--only memory --memory 1000000`` takes minutes, ``--only workers --workers 5000000`` a quarter of an hour. Where
nothing else is said one core is used, times are processor time, which other work on the machine disturbs less, and
ratios are medians of rounds. Nothing timed fails; that all engines give the same verdicts is asserted.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from itertools import cycle, islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cel
import datalogic_py
import duckdb
import hobofan_regorus
import jsonschema_rs
import polars as pl

import rules
from api.fleet.mapping import Here
from api.fleet.processes import Local
from api.fleet.reading import Reader
from api.fleet.run import Wanted, run
from api.fleet.streams import CHUNK
from api.fleet.stretches import without_text
from audit.auditor import Auditor
from audit.intake.columns import Grid, known_columns, read_header
from audit.intake.rulebook import read_rulebook
from audit.nouns.rulebook import Rulebook
from tests.bench import transcribing
from tests.bench.audit_speed import fleet, typed_model

ROUNDS = 5
ENGINE_SETUPS = 2000
CORES = os.sched_getaffinity(0)
Lines = list[bytes]


def processor(call: Callable[[], object]) -> float:
    """Processor time of a call, s."""
    start = time.process_time()
    call()
    return time.process_time() - start


def children() -> float:
    """Processor time of all processes that were started here and have ended, s."""
    found = resource.getrusage(resource.RUSAGE_CHILDREN)
    return found.ru_utime + found.ru_stime


def compared(
    calls: Mapping[str, Callable[[], object]], count: int, base: str, rounds: int = ROUNDS
) -> dict[str, float]:
    """Runs each in turn, prints time a setup and the median ratio to one of them; returns median seconds."""
    taken: dict[str, list[float]] = {name: [] for name in calls}
    for call in calls.values():
        call()
    for _ in range(rounds):
        for name, call in calls.items():
            taken[name].append(processor(call))
    for name, times in taken.items():
        ratio = statistics.median(one / other for one, other in zip(times, taken[base], strict=True))
        print(f"  {name:44s} {statistics.median(times) / count * 1e6:8.1f} µs a setup   x {ratio:.2f}")
    return {name: statistics.median(times) for name, times in taken.items()}


class Bench:
    def __init__(self, folder: Path, count: int) -> None:
        self.folder = folder
        self.rulebook = read_rulebook(rules.root())
        self.auditor = Auditor(self.rulebook)
        self.lines = list(fleet(count))
        self.outs = 0

    def file(self, name: str, lines: Lines) -> Path:
        path = self.folder / name
        path.write_bytes(b"".join(line + b"\n" for line in lines))
        return path

    def audit(self, *inputs: Path, mapper: Any = None, tables: bool = True) -> None:
        """A whole audit into a new folder, which is thrown away."""
        self.outs += 1
        out = self.folder / f"out{self.outs}"
        run(Wanted(tuple(map(str, inputs)), out, self.rulebook, tables=tables), mapper)
        shutil.rmtree(out)

    def beside_reading(self) -> dict[str, float]:
        """The audit from file to files beside pydantic reading and validating the same bytes, and nothing else."""
        path = self.file("fleet.ndjson", self.lines)
        cards = [json.loads(line)["unit"]["card"] for line in self.lines]
        typed = {c.id: typed_model(c, self.rulebook).__pydantic_validator__ for c in self.rulebook.machines.values()}

        def floor() -> None:
            with path.open("rb") as stream:
                for line, card in zip(stream, cards, strict=True):
                    typed[card].validate_json(line)

        size = sum(map(len, self.lines)) / len(self.lines)
        print(f"\n{len(self.lines):,} setups of {size / 1000:.1f} kB, from file to ranked findings in files:")
        tables = {ending: self.table(ending) for ending in ("csv", "parquet")}
        return compared(
            {
                "pydantic reads and validates": floor,
                "setup-audit fleet, NDJSON, lists only": lambda: self.audit(path, tables=False),
                "setup-audit fleet, NDJSON": lambda: self.audit(path),
                "setup-audit fleet, CSV": lambda: self.audit(tables["csv"]),
                "setup-audit fleet, Parquet": lambda: self.audit(tables["parquet"]),
            },
            len(self.lines),
            "pydantic reads and validates",
        )

    def table(self, ending: str) -> Path:
        """The same setups as a table, numbers bare."""
        rows = [flat(json.loads(line), self.rulebook) for line in self.bare(self.lines)]
        frame = pl.DataFrame(
            {name: [row.get(name) for row in rows] for name in dict.fromkeys(n for r in rows for n in r)}, strict=False
        )
        path = self.folder / f"fleet.{ending}"
        if ending == "csv":
            frame.write_csv(path)
        else:
            frame.write_parquet(path)
        return path

    def bare(self, lines: Lines) -> Lines:
        return [found for line in lines if (found := transcribing.bare(self.auditor, line)) is not None]

    def beside_engines(self) -> None:
        """One card and crop, the rules that can be transcribed, the same lines, the same verdicts."""
        card, crop = "axial-single", "corn"
        own = [
            line
            for line in self.lines
            if json.loads(line)["unit"]["card"] == card and json.loads(line)["job"]["crop"] == crop
        ]
        transcriber = transcribing.Transcriber(self.auditor, card, crop, own[0])
        lines = self.bare(own)
        places = {place for line in lines[:1] for place in _places(json.loads(line))}
        found = {
            rule: questions
            for rule, questions in transcriber.broken().items()
            if all(set(transcribing.types_of([test])) <= places for _, test in questions)
        }
        asked = [question for questions in found.values() for question in questions]
        tests = [test for _, test in asked]
        assert len(found) >= 20
        lines = [line for line in lines if set(transcribing.types_of(tests)) <= set(_places(json.loads(line)))]
        spoilt = list(islice(spoiled(cycle(lines), tests, lines), ENGINE_SETUPS))
        path = self.file("subset.ndjson", spoilt)
        subset = Auditor(transcribing.with_rules(self.rulebook, list(found)))
        print(
            f"\n{len(found)} rules with {len(asked)} questions, {len(spoilt):,} setups of one card and crop, "
            "beside general-purpose engines:"
        )
        engines = _engines(subset, spoilt, path, asked)
        answers = {name: engine() for name, engine in engines.items()}
        for name, answer in answers.items():
            assert answer == answers["setup-audit"], name
        hits = sum(map(len, answers["setup-audit"]))
        assert hits
        print(f"  {hits:,} broken, the same from every engine")
        compared(engines, len(spoilt), "setup-audit", rounds=3)
        self.columns_beside_columns(spoilt, asked, subset)

    def columns_beside_columns(self, lines: Lines, asked: list[Any], subset: Auditor) -> None:
        """The same on columns that are at hand, as from Parquet: what hand-written expressions gain there."""
        rows = [flat(json.loads(line), self.rulebook) for line in lines]
        names = list(dict.fromkeys(name for row in rows for name in row))
        frame = pl.DataFrame({name: [row.get(name) for row in rows] for name in names}, strict=False)
        header = read_header(names, "table", self.rulebook)
        expressions = [_expression(test, lambda path: pl.col(".".join(path))) for _, test in asked]

        def ours() -> int:
            grid = Grid(header, [series.to_list() for series in frame], frame.height)
            return sum(len(read.judge().hits) for read in subset.quick().read_rows(grid) if read is not None)

        def theirs() -> int:
            return int(frame.select(pl.sum_horizontal(*expressions).sum()).item())

        assert ours() == theirs()
        print("the same from columns that are at hand:")
        compared({"setup-audit": ours, "Polars, by hand": theirs}, len(lines), "setup-audit")

    def memory(self, sizes: tuple[int, ...]) -> None:
        """Peak memory of a whole audit in a process of its own, fed through a pipe."""
        print("\npeak memory of an audit, its own process, setups through a pipe:")
        for size in sizes:
            command = [sys.executable, __file__, "--piped", str(self.folder / f"piped{size}")]
            with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=False) as process:
                assert process.stdin is not None
                assert process.stdout is not None
                left = size
                while left > 0:
                    process.stdin.writelines(line + b"\n" for line in islice(self.lines, left))
                    left -= len(self.lines)
                process.stdin.close()
                print(f"  {size:10,} setups: {int(process.stdout.read()) / 1024:.0f} MiB")
            shutil.rmtree(self.folder / f"piped{size}")

    def feeding(self) -> dict[str, float]:
        """Time that the one process that reads needs to read a setup and to send it on, s."""
        found = {}
        for name, file in (("NDJSON", "fleet.ndjson"), ("CSV", "fleet.csv"), ("Parquet", "fleet.parquet")):
            reader = Reader([str(self.folder / file)], self.rulebook, self.folder, CHUNK)

            def read(reader: Reader = reader) -> None:
                for block in reader.blocks():
                    pickle.dumps(without_text(block))

            found[name] = min(processor(read) for _ in range(3)) / len(self.lines)
        return found

    def workers(self, count: int) -> float:
        """Two processes on all cores there are beside one on one core, wall time."""
        path = self.file("many.ndjson", self.lines)
        inputs = [path] * max(
            count // len(self.lines), 1
        )  # the same file again and again: disks are not what is measured
        taken = {}
        for workers in (1, 2):
            os.sched_setaffinity(0, CORES if workers > 1 else {max(CORES)})
            start, own, others = time.perf_counter(), time.process_time(), children()
            self.audit(*inputs, mapper=Here() if workers == 1 else Local(workers))
            taken[workers] = time.perf_counter() - start
            own, others = time.process_time() - own, children() - others
        busy = os.getloadavg()[0]
        print(
            f"\n{len(inputs) * len(self.lines):,} setups, wall time: one process {taken[1]:.1f} s, two {taken[2]:.1f} s: x {taken[1] / taken[2]:.2f}"
        )
        print(f"  ({len(CORES)} cores, load {busy:.1f}: above {len(CORES)} other work takes its share)")
        print(
            f"  with two, the process that reads and writes took {100 * own / (own + others):.0f} % of all processor time"
        )
        gains = self.machine(path)
        path.unlink()
        print(
            f"  two processes that judge the same in memory, each for itself: x {statistics.median(gains):.2f} ({min(gains):.2f} to {max(gains):.2f})"
        )
        return taken[1] / taken[2]

    def machine(self, path: Path) -> list[float]:
        """What a second process can gain on this machine at best: two that have nothing to do with each other, beside one."""
        gains = []
        with ProcessPoolExecutor(2, get_context("spawn")) as pool:
            list(pool.map(judged, [path] * 2))  # what is made once
            for _ in range(2 * ROUNDS):
                taken = []
                for count in (1, 2):
                    start = time.perf_counter()
                    list(pool.map(judged, [path] * count))
                    taken.append(time.perf_counter() - start)
                gains.append(2 * taken[0] / taken[1])
        return gains


def judged(path: Path) -> None:
    """Judges the lines of a file and throws the answers away, in whatever process this runs."""
    auditor, lines = in_memory(path)
    for _ in auditor.answer_all(lines, str):
        pass


@cache
def in_memory(path: Path) -> tuple[Auditor, Lines]:
    return Auditor(read_rulebook(rules.root())), path.read_bytes().splitlines()


CORES_OF_A_MACHINE = 8


def capacity(seconds: dict[str, float], count: int, two: float, feeding: dict[str, float]) -> None:
    """What can be audited in an hour: one core as measured; more by stated arithmetic.

    A machine of 8 cores has 8 processes that judge, each as fast as one of two was beside a single one; ten machines have
    80. None goes faster than the one process that reads, sends and writes: beyond it, part the inputs and run two audits.
    """
    kept = min(two / 2, 1.0)
    print(
        f"\ncapacity, million setups an hour ({CORES_OF_A_MACHINE} cores a machine, each keeping {kept:.2f} of one core's pace):"
    )
    for name in ("NDJSON", "CSV", "Parquet"):
        core = count / seconds[f"setup-audit fleet, {name}"] * 3600 / 1e6
        most = 3600 / feeding[name] / 1e6
        machine, ten = (min(cores * kept * core, most) for cores in (CORES_OF_A_MACHINE, 10 * CORES_OF_A_MACHINE))
        print(
            f"  {name:8s} one core {core:6.1f}   one machine {machine:6.1f}   ten machines {ten:6.1f}   (one reader feeds {most:.1f})"
        )


def flat(setup: dict[str, Any], rulebook: Rulebook) -> dict[str, Any]:
    """A setup as the cells of a table."""
    known = known_columns(rulebook)
    found: dict[str, Any] = {}

    def put(place: str, value: Any) -> None:
        if isinstance(value, dict) and "value" in value:
            put(place, f"{value['value']} {value['unit']}" if "unit" in value else value["value"])
        elif isinstance(value, dict):
            for key, inner in value.items():
                put(f"{place}.{key}" if place else key, inner)
        elif place in known:
            found[place] = value

    put("", setup)
    return found


def _places(setup: dict[str, Any]) -> Iterator[transcribing.Path]:
    for section in ("settings", "readings"):
        for name, value in setup[section].items():
            if isinstance(value, dict):
                yield from ((section, name, side) for side in value)
            else:
                yield (section, name)


def spoiled(lines: Iterable[bytes], tests: list[transcribing.Test], whole: Lines) -> Iterator[bytes]:
    """The setups with a few of the values that the rules look at changed, so that every kind of rule is broken at times."""
    chance = random.Random(7)
    types = transcribing.types_of(tests)
    words: dict[transcribing.Path, list[Any]] = {}
    for line in whole:
        setup = json.loads(line)
        for path in types:
            value = setup[path[0]][path[1]]
            words.setdefault(path, []).append(value if len(path) == 2 else value[path[2]])
    for line in lines:
        setup = json.loads(line)
        for path in chance.sample(sorted(types), 4):
            holder, key = (setup[path[0]], path[1]) if len(path) == 2 else (setup[path[0]][path[1]], path[2])
            value = holder[key]
            if isinstance(value, bool):
                holder[key] = not value
            elif isinstance(value, str):
                holder[key] = chance.choice(words[path])
            else:
                holder[key] = float(f"{value * chance.uniform(0.9, 1.1):.6g}")
        yield json.dumps(setup, separators=(",", ":")).encode()


Broken = list[frozenset[tuple[str, str]]]


def _engines(auditor: Auditor, lines: Lines, path: Path, asked: list[Any]) -> dict[str, Callable[[], Broken]]:
    """Each engine: from the lines, or their file, to the broken questions of every setup."""
    names = [name for name, _ in asked]
    tests = [test for _, test in asked]
    validator = jsonschema_rs.validator_for(transcribing.as_schema(tests))
    program = cel.compile(transcribing.as_cel(tests))
    logic = datalogic_py.Engine().compile([transcribing.as_logic(test) for test in tests])
    rego: Any = hobofan_regorus.Engine()
    rego.add_policy("fleet.rego", transcribing.as_rego(tests))
    connection = duckdb.connect()
    connection.execute("SET threads = 1")
    query = transcribing.as_sql(tests, str(path), transcribing.types_of(tests))
    schema = _schema(transcribing.types_of(tests))
    expressions = [_expression(test, _field).alias(str(n)) for n, test in enumerate(tests)]

    def chosen(flags: Any) -> frozenset[tuple[str, str]]:
        return frozenset(name for name, flag in zip(names, flags, strict=True) if flag)

    def ours() -> Broken:
        quick = auditor.quick()
        return [frozenset((hit[2], hit[3]) for hit in quick.read(line).judge().hits if not hit[0][3]) for line in lines]

    def with_schema() -> Broken:
        return [
            frozenset(names[int(error.schema_path[1])] for error in validator.iter_errors(json.loads(line)))
            for line in lines
        ]

    def with_rego() -> Broken:
        found = []
        for line in lines:
            rego.set_input_json(line.decode())
            found.append(frozenset(names[int(number)] for number in rego.eval_rule("data.fleet.broken")))
        return found

    def columns(rows: list[tuple[Any, ...]]) -> Broken:
        return [chosen(row) for row in rows]

    return {
        "setup-audit": ours,
        "jsonschema-rs": with_schema,
        "CEL, common-expression-language": lambda: [chosen(program.execute(json.loads(line))) for line in lines],
        "Rego, regorus": with_rego,
        "JSON logic, datalogic": lambda: [chosen(json.loads(logic.evaluate_str(line.decode()))) for line in lines],
        "DuckDB": lambda: columns(connection.execute(query).fetchall()),
        "Polars, by hand": lambda: columns(pl.scan_ndjson(path, schema=schema).select(expressions).collect().rows()),
    }


_POLARS = {"DOUBLE": pl.Float64, "BOOLEAN": pl.Boolean, "VARCHAR": pl.String}


def _schema(types: dict[transcribing.Path, str]) -> dict[str, Any]:
    sections: dict[str, dict[str, Any]] = {"settings": {}, "readings": {}}
    for path, kind in types.items():
        if len(path) == 2:
            sections[path[0]][path[1]] = _POLARS[kind]
        else:
            sections[path[0]].setdefault(path[1], {})[path[2]] = _POLARS[kind]
    return {
        section: pl.Struct({name: pl.Struct(kind) if isinstance(kind, dict) else kind for name, kind in fields.items()})
        for section, fields in sections.items()
    }


def _field(path: transcribing.Path) -> pl.Expr:
    found = pl.col(path[0])
    for key in path[1:]:
        found = found.struct.field(key)
    return found


def _expression(test: transcribing.Test, field: Callable[[transcribing.Path], pl.Expr]) -> pl.Expr:
    kind = test[0]
    if kind in ("and", "or"):
        parts = [_expression(part, field) for part in test[1]]
        return pl.all_horizontal(*parts) if kind == "and" else pl.any_horizontal(*parts)
    if kind == "not":
        return ~_expression(test[1], field)
    value = field(test[1])
    if kind == "in":
        return value.is_in(test[2])
    limit: float = test[2]
    return value >= limit if kind == ">=" else value <= limit


def piped(out: str) -> None:
    """Audits standard input and prints the peak memory, kB."""
    run(Wanted(("-",), Path(out), read_rulebook(rules.root())))
    status = Path("/proc/self/status").read_text()  # getrusage would tell the peak of the process it was started from
    print(status.partition("VmHWM:")[2].split()[0])


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--setups", type=int, default=5000)
    options.add_argument("--memory", type=int, default=40_000, help="setups of the larger audit, beside 10,000")
    options.add_argument("--workers", type=int, default=60_000, help="setups of the audit by one process and by two")
    options.add_argument(
        "--only", choices=("reading", "engines", "memory", "workers"), help="else all, and the capacity"
    )
    options.add_argument("--piped")
    wanted = options.parse_args()
    if wanted.piped:
        piped(wanted.piped)
        return
    os.sched_setaffinity(0, {max(CORES)})  # before polars starts its threads, which it does when it is first used
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), wanted.setups)
        parts: dict[str, Callable[[], Any]] = {
            "reading": bench.beside_reading,
            "engines": bench.beside_engines,
            "memory": lambda: bench.memory((10_000, wanted.memory)),
            "workers": lambda: bench.workers(wanted.workers),
        }
        if wanted.only:
            parts[wanted.only]()
            return
        found = {name: part() for name, part in parts.items()}
        capacity(found["reading"], wanted.setups, found["workers"], bench.feeding())


if __name__ == "__main__":
    main()
