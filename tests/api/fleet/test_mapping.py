"""The same bytes from one process, from several, and from a cluster, whichever of them dies."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.fleet import outputs
from api.fleet.blocks import Block, Done, Job
from api.fleet.cluster import Cluster
from api.fleet.judging import judge_block
from api.fleet.mapping import GaveUp, Here
from api.fleet.processes import Local

WAIT = 120.0


@pytest.fixture(scope="module")
def texts(demo_setups: Any, written: Any) -> list[bytes]:
    """Twelve blocks or so, in every format."""
    return [
        written(demo_setups[n * 13 : (n + 1) * 13], ending)
        for n, ending in enumerate(("ndjson", "csv", "json", "parquet"))
    ]


@pytest.mark.parametrize("told_every", [1, 5_000, outputs.TOLD_EVERY])
def test_local_processes_give_the_same(
    audit: Any, texts: list[bytes], told_every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often those that write the tables are told."""
    monkeypatch.setattr(outputs, "TOLD_EVERY", told_every)
    plain = audit(*texts, mapper=Here())
    other = audit(*texts, mapper=Local(2))
    assert other.without_source() == plain.without_source()
    assert [line["row"] for line in other.lines("units")] == list(range(1, 53))


class Deadly:
    """Judges blocks, but dies at some of them as often as told; what is left is counted in files."""

    def __init__(self, folder: Path, at: int, times: int) -> None:
        self.folder, self.at, self.times = folder, at, times

    def __call__(self, job: Job, block: Block) -> Done:
        if block.number == self.at:
            for number in range(self.times):
                try:
                    (self.folder / f"died-{number}").touch(exist_ok=False)
                except FileExistsError:
                    continue
                os.kill(os.getpid(), signal.SIGKILL)
        return judge_block(job, block)


def judged_by(monkeypatch: Any, judge: Any) -> None:
    monkeypatch.setattr("api.fleet.run.judge_block", judge)


def test_a_local_process_that_dies_is_replaced(
    audit: Any, texts: list[bytes], tmp_path: Path, monkeypatch: Any
) -> None:
    plain = audit(*texts)
    judged_by(monkeypatch, Deadly(tmp_path, at=4, times=2))
    assert audit(inputs=plain.inputs, mapper=Local(2)).bytes() == plain.bytes()
    assert len(list(tmp_path.glob("died-*"))) == 2


def test_a_block_that_always_kills_ends_the_run(
    audit: Any, texts: list[bytes], tmp_path: Path, monkeypatch: Any
) -> None:
    judged_by(monkeypatch, Deadly(tmp_path, at=0, times=9))
    with pytest.raises(GaveUp, match="died 3 times"):
        audit(*texts, mapper=Local(2), out=tmp_path / "out")
    monkeypatch.undo()
    plain = audit(*texts, mapper=Here())
    assert plain.summary["audited"] == 52


def test_a_process_that_dies_over_the_tables_ends_the_run(
    audit: Any, texts: list[bytes], tmp_path: Path, monkeypatch: Any
) -> None:
    """And the next one goes on where it died."""
    monkeypatch.setattr("api.fleet.following.follow", dies)
    with pytest.raises(GaveUp, match="died; go on with --resume"):
        audit(texts[0], mapper=Local(2), out=tmp_path / "out")
    monkeypatch.undo()
    plain = audit(texts[0])
    inputs = (str(tmp_path / "input1-0"),)
    again = audit(inputs=inputs, out=tmp_path / "out", mapper=Local(2), resume=True)
    assert again.bytes() == audit(inputs=inputs).bytes()
    assert again.without_source() == plain.without_source()


def dies(*_: Any) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def test_what_goes_wrong_in_a_process_is_told(audit: Any, texts: list[bytes], monkeypatch: Any) -> None:
    judged_by(monkeypatch, wrong)
    with pytest.raises(ZeroDivisionError):
        audit(*texts, mapper=Local(2))


def wrong(_: Job, __: Block) -> Done:
    raise ZeroDivisionError


class Machines:
    """A scheduler and workers in processes of their own, on the loopback."""

    def __init__(self, folder: Path, count: int) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[str]] = []
        self.address = self.start("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        self.workers = [self.worker() for _ in range(count)]

    def worker(self) -> subprocess.Popen[str]:
        self.start("worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1")
        return self.processes[-1]

    def start(self, what: str, *options: str) -> str:
        """Starts a process and waits for its address."""
        log = self.folder / f"{what}-{len(self.processes)}.log"
        command = [sys.executable, "-m", "distributed.cli.dask_" + what, *options]
        if what == "worker":
            command += ["--local-directory", str(self.folder)]
        with log.open("w") as out:
            self.processes.append(subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT, text=True))
        end = time.monotonic() + WAIT
        pattern = re.compile(r"Scheduler at:\s+(tcp://\S+)" if what == "scheduler" else r"Registered to:\s+(tcp://\S+)")
        while time.monotonic() < end:
            found = pattern.search(log.read_text())
            if found:
                return found[1]
            time.sleep(0.1)
        raise RuntimeError(log.read_text())

    def stop(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machines]:
    made = Machines(tmp_path_factory.mktemp("cluster"), 2)
    yield made
    made.stop()


def test_a_cluster_gives_the_same(audit: Any, texts: list[bytes], machines: Machines) -> None:
    plain = audit(*texts)
    other = audit(inputs=plain.inputs, mapper=Cluster(machines.address))
    assert other.bytes() == plain.bytes()


def test_a_worker_of_the_cluster_that_is_killed(audit: Any, texts: list[bytes], machines: Machines) -> None:
    """Killed with SIGKILL in the middle of the run; the others do its blocks."""
    plain = audit(*texts)
    victim = machines.worker()
    seen = threading.Event()

    class Watched(Cluster):
        def map(self, judge: Any, job: Job, blocks: Any) -> Iterator[tuple[Block, Done]]:
            for block, done in super().map(judge, job, blocks):
                if block.number == 2 and not seen.is_set():
                    victim.send_signal(signal.SIGKILL)
                    victim.wait()
                    seen.set()
                yield block, done

    other = audit(inputs=plain.inputs, mapper=Watched(machines.address))
    assert seen.is_set()
    assert victim.returncode == -signal.SIGKILL
    assert other.bytes() == plain.bytes()


def test_a_site_rulebook_goes_along(audit: Any, machines: Machines, site: Any, tmp_path: Path) -> None:
    """Workers need no folder of the site: its files go with the job."""
    from api.environment import shipped_rules
    from api.fleet.run import Wanted, run
    from audit.intake.rulebook import layer_of, read_layers

    shipped = shipped_rules() / "packs" / "feeder" / "drum-set-for-another-crop.yaml"
    folder = site(
        {
            "packs/feeder/drum-set-for-another-crop.yaml": shipped.read_bytes().replace(
                b"downtime: 10 h", b"downtime: 99 h"
            )
        }
    )
    layer = layer_of(folder, str(folder))
    rulebook = read_layers([layer_of(shipped_rules(), ""), layer])
    setup = b'{"unit": {"id": "a", "card": "axial-single"}, "job": {"crop": "corn"}, "settings": {"feeder.drum": "lowered"}}'
    (tmp_path / "one.json").write_bytes(setup)
    wanted = Wanted((str(tmp_path / "one.json"),), tmp_path / "out", rulebook, (layer,))
    run(wanted, Cluster(machines.address))
    assert b'"downtime_h":99.0' in (tmp_path / "out" / "findings.ndjson").read_bytes()
    with pytest.raises(RuntimeError, match="install the same version everywhere"):
        run(Wanted(wanted.inputs, tmp_path / "other", rulebook), Cluster(machines.address))
    assert audit(setup).summary["audited"] == 1


def test_a_cluster_that_is_not_there(audit: Any, texts: list[bytes], monkeypatch: Any) -> None:
    monkeypatch.setattr("api.fleet.cluster.WAIT", 0.5)
    with pytest.raises(GaveUp, match="can't be reached"):
        audit(texts[0], mapper=Cluster("tcp://127.0.0.1:9"))
