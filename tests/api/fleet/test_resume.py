"""A run that was killed goes on where it was, and its files come out as if nothing had happened."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from api.fleet.outputs import CHECKPOINT, InTheWay, Outputs
from api.fleet.run import Stopped, Wanted, run
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook

SMALL = 60_000


@pytest.fixture
def inputs(demo_setups: Any, written: Any, tmp_path: Path) -> list[str]:
    """The demo fleet in four formats, a bad row in each text."""
    found = []
    for number, ending in enumerate(("ndjson", "csv.gz", "json", "parquet.zst")):
        path = tmp_path / f"{number}.{ending}"
        path.write_bytes(written(demo_setups[number * 13 : (number + 1) * 13], ending))
        found.append(str(path))
    broken = tmp_path / "broken.ndjson"
    broken.write_bytes(b"{nonsense\n")
    return [*found, str(broken)]


@pytest.fixture
def wanted(inputs: list[str], rulebook: Rulebook, tmp_path: Path) -> Wanted:
    return Wanted(tuple(inputs), tmp_path / "out", rulebook, size=SMALL)


def stopping(after: int) -> Any:
    """Says stop after so many blocks."""
    left = iter(range(after, -1, -1))
    return lambda: next(left) <= 1


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.name != "run.log"}


@pytest.mark.parametrize("seed", [1, 2])
def test_killed_at_random_places(wanted: Wanted, inputs: list[str], tmp_path: Path, seed: int) -> None:
    run(wanted)
    command = [sys.executable, str(Path(__file__).parent / "dying.py"), str(tmp_path / "dying"), str(seed), *inputs]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) >= 20
    assert files(tmp_path / "dying") == files(wanted.folder)


def test_stopped_after_every_block(wanted: Wanted, tmp_path: Path) -> None:
    run(wanted)
    other = replace(wanted, folder=tmp_path / "other", resume=True)
    stops = 0
    while True:
        try:
            run(other, stop=stopping(1))
        except Stopped:
            stops += 1
            assert (other.folder / CHECKPOINT).exists()
        else:
            break
    assert stops >= 8
    assert files(other.folder) == files(wanted.folder)


def stopped(wanted: Wanted, blocks: int = 3) -> None:
    with pytest.raises(Stopped):
        run(wanted, stop=stopping(blocks))


def test_what_was_written_is_not_judged_again(wanted: Wanted) -> None:
    stopped(wanted, 4)
    seen: list[Any] = []
    run(replace(wanted, resume=True), progress=seen.append)
    assert seen[0].before > 0
    assert seen[0].setups > seen[0].before
    log = (wanted.folder / "run.log").read_text()
    assert "begins at block 4 " in log


def test_an_unfinished_run_is_not_written_over(wanted: Wanted) -> None:
    stopped(wanted)
    before = files(wanted.folder)
    with pytest.raises(InTheWay, match="--resume"):
        run(wanted)
    assert files(wanted.folder) == before


def test_a_finished_audit_is_not_written_over_and_not_done_twice(wanted: Wanted) -> None:
    summary = run(wanted)
    before = files(wanted.folder)
    with pytest.raises(InTheWay, match="another folder"):
        run(wanted)
    assert run(replace(wanted, resume=True)) == summary
    with pytest.raises(InTheWay, match="another folder"):
        run(replace(wanted, resume=True, hold_at=Level.LOW))
    assert files(wanted.folder) == before


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"hold_at": Level.LOW}, "level that holds"),
        ({"plan": True}, "--plan"),
        ({"size": SMALL * 2}, "size of a block"),
    ],
)
def test_other_options_are_refused(wanted: Wanted, change: dict[str, Any], says: str) -> None:
    stopped(wanted)
    with pytest.raises(InTheWay, match=says):
        run(replace(wanted, resume=True, **change))


def test_another_rulebook_is_refused(wanted: Wanted) -> None:
    stopped(wanted)
    with pytest.raises(InTheWay, match="rulebook"):
        run(replace(wanted, resume=True, rulebook=replace(wanted.rulebook, digest="other")))


def test_changed_inputs_are_refused(wanted: Wanted, inputs: list[str]) -> None:
    stopped(wanted, 2)
    path = Path(inputs[0])
    text = path.read_bytes()
    path.write_bytes(text.replace(b"unit-01", b"unit-99"))
    with pytest.raises(InTheWay, match="inputs are not those"):
        run(replace(wanted, resume=True))
    path.write_bytes(text + b"\n")
    with pytest.raises(InTheWay, match="list of inputs"):
        run(replace(wanted, resume=True))
    path.write_bytes(text)
    assert run(replace(wanted, resume=True))["set_aside"] == 1


def test_lists_that_were_changed_are_refused(wanted: Wanted) -> None:
    stopped(wanted)
    part = wanted.folder / "units.ndjson.part"
    text = part.read_bytes()
    for changed in (text[:-5], text.replace(b"held", b"hold", 1), b""):
        assert changed != text
        part.write_bytes(changed)
        with pytest.raises(InTheWay, match="not as it was written"):
            run(replace(wanted, resume=True))
    part.unlink()
    with pytest.raises(InTheWay, match="can't be gone on with"):
        run(replace(wanted, resume=True))


def test_two_runs_do_not_write_to_one_folder(wanted: Wanted) -> None:
    first = Outputs(wanted.folder, {}, resume=False)
    try:
        with pytest.raises(InTheWay, match="another audit is writing"):
            run(wanted)
    finally:
        first.close()
    assert run(wanted)["setups"] == 53


def test_a_checkpoint_without_its_end(wanted: Wanted) -> None:
    """Killed between the last names: they are given, and nothing is judged."""
    run(wanted)
    whole = files(wanted.folder)
    (wanted.folder / "units.ndjson").rename(wanted.folder / "units.ndjson.part")
    terms = None
    stopped_at = replace(wanted, folder=wanted.folder.parent / "again")
    stopped(stopped_at, 1)
    terms = json.loads((stopped_at.folder / CHECKPOINT).read_text())
    (wanted.folder / CHECKPOINT).write_text(json.dumps({**terms, "finished": True}))
    run(replace(wanted, resume=True))
    assert files(wanted.folder) == whole
