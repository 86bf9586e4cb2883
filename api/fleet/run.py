"""One audit of a fleet from inputs to files."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from api.fleet.blocks import Block, Job
from api.fleet.judging import judge_block, judge_here
from api.fleet.mapping import Here, Mapper
from api.fleet.outputs import SUMMARY, InTheWay, Outputs
from api.fleet.reading import Reader
from api.fleet.streams import CHUNK, STANDARD_INPUT, names_of
from api.status import BAD_INPUT, CLEARED, HELD
from audit.intake.rulebook import Layer
from audit.nouns.risk import Level
from audit.nouns.rulebook import Rulebook


class Stopped(Exception):
    """The audit was told to stop; its checkpoint stays."""


@dataclass(frozen=True)
class Wanted:
    """What is to be audited, and how.

    Attributes:
        inputs: names of files, patterns, '-' for standard input.
        rulebook: whose rules.   site: the layers over the shipped one that made it.
        plan: also plan the work for each unit.   tables: also write the lists as Parquet.
        resume: go on from a checkpoint.
        size: bytes of an input that make a block, about.
    """

    inputs: tuple[str, ...]
    folder: Path
    rulebook: Rulebook
    site: tuple[Layer, ...] = ()
    hold_at: Level = Level.HIGH
    plan: bool = False
    tables: bool = True
    resume: bool = False
    size: int = CHUNK


@dataclass(frozen=True)
class Progress:
    """How far an audit is.

    Attributes:
        setups: that were judged, those set aside included.   before: of these, in the run that this one goes on from.
        read, size: bytes of the inputs; ``size`` is None where it can't be known.
    """

    setups: int
    before: int
    set_aside: int
    held: int
    read: int
    size: int | None


def run(
    wanted: Wanted,
    mapper: Mapper | None = None,
    progress: Callable[[Progress], None] = lambda _: None,
    stop: Callable[[], bool] = lambda: False,
) -> dict[str, Any]:
    """Audits every setup of every input into the files of a folder; returns the summary, which is one of them.

    Args:
        mapper: where blocks are judged; in this process if None.
        progress: told after every block.   stop: asked after every block.

    Raises:
        BadInput: an input that can't be opened, or a table with columns that are none.
        InTheWay: the folder can't be written to.   GaveUp.   Stopped.
    """
    names = names_of(list(wanted.inputs))
    sizes = [None if name == STANDARD_INPUT else Path(name).stat().st_size for name in names]
    terms = {
        "rulebook": wanted.rulebook.digest,
        "program": program(),
        "level that holds": wanted.hold_at.name.lower(),
        "choice of --plan": wanted.plan,
        "choice of --lists-only": not wanted.tables,
        "size of a block": wanted.size,
        "list of inputs": [[name, size] for name, size in zip(names, sizes, strict=True)],
    }
    wanted.folder.mkdir(parents=True, exist_ok=True)
    reader = Reader(names, wanted.rulebook, wanted.folder, wanted.size)
    reader.check()
    finished = _finished(wanted, terms)
    if finished is not None:
        return finished
    job = Job(wanted.rulebook.digest, wanted.site, wanted.hold_at.name.lower(), wanted.plan)
    outputs = Outputs(wanted.folder, terms, wanted.resume)
    try:
        if outputs.finished:
            outputs.rename()
            return _read_summary(wanted.folder)
        if mapper is None:
            judge_here(job, wanted.rulebook)
        elif wanted.tables and mapper.elsewhere:
            outputs.follow()
        outputs.say(f"begins at block {outputs.blocks} of {', '.join(names)}")
        before = _setups(outputs.counts)
        size = None if None in sizes else sum(each for each in sizes if each is not None)
        for block, done in (mapper or Here()).map(judge_block, job, _todo(reader, outputs)):
            outputs.write(block.seal, done)
            setups = _setups(outputs.counts)
            progress(Progress(setups, before, outputs.counts["set_aside"], outputs.counts["held"], block.raw, size))
            if stop():
                outputs.check_point()
                outputs.say(f"stopped after block {outputs.blocks}")
                raise Stopped
        summary = _summary(terms, outputs.counts, reader)
        outputs.finish(summary, wanted.tables)
        outputs.say(f"finished: {_setups(outputs.counts)} setups in {outputs.blocks} blocks")
        return summary
    finally:
        outputs.close()


def _todo(reader: Reader, outputs: Outputs) -> Iterator[Block]:
    """The blocks that are not written yet. Raises InTheWay where the inputs are not those of the run before."""
    written, seal = outputs.blocks, outputs.seal
    count = 0
    for block in reader.blocks():
        count += 1
        if block.number >= written:
            yield block
        elif block.number == written - 1 and block.seal != seal:
            raise _changed(outputs)
    if count < written:
        raise _changed(outputs)


def _changed(outputs: Outputs) -> InTheWay:
    return InTheWay(f"the inputs are not those that the run in {outputs.folder} was begun with; start anew elsewhere.")


def _setups(counts: Counter[str]) -> int:
    return counts["set_aside"] + counts["held"] + counts["cleared"]


def _summary(terms: dict[str, Any], counts: Counter[str], reader: Reader) -> dict[str, Any]:
    levels = [f"{level.name.lower()} {verdict}" for level in Level for verdict in ("broken", "unknown")]
    return {
        "setups": _setups(counts),
        "audited": counts["held"] + counts["cleared"],
        "cleared": counts["cleared"],
        "held": counts["held"],
        "set_aside": counts["set_aside"],
        "findings": {key: counts[key] for key in levels},
        "rulebook": {"digest": terms["rulebook"]},
        "program": terms["program"],
        "hold_at": terms["level that holds"],
        "planned": terms["choice of --plan"],
        "tables": not terms["choice of --lists-only"],
        "inputs": [{"name": one.name, "bytes": one.size, "blake3": one.digest} for one in reader.done],
    }


def _finished(wanted: Wanted, terms: dict[str, Any]) -> dict[str, Any] | None:
    """The summary of the same audit, where it was finished before and this run was to go on with it."""
    path = wanted.folder / SUMMARY
    if not wanted.resume or not path.exists() or (wanted.folder / "checkpoint.json").exists():
        return None
    found = _read_summary(wanted.folder)
    inputs = [[one["name"], None if one["name"] == STANDARD_INPUT else one["bytes"]] for one in found["inputs"]]
    same = (
        found["rulebook"]["digest"] == terms["rulebook"]
        and found["program"] == terms["program"]
        and found["hold_at"] == terms["level that holds"]
        and found["planned"] == terms["choice of --plan"]
        and found["tables"] is not terms["choice of --lists-only"]
        and inputs == terms["list of inputs"]
    )
    if not same:
        raise InTheWay(f"{wanted.folder} holds the audit of another run; name another folder.")
    return found


def _read_summary(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    return found


def status_of(summary: dict[str, Any]) -> int:
    """Exit status: 2 if anything was set aside, 1 if a unit is held, else 0."""
    return BAD_INPUT if summary["set_aside"] else HELD if summary["held"] else CLEARED


def program() -> str:
    """Version of this program."""
    try:
        return version("combine-setup-audit")
    except PackageNotFoundError:
        return "from source"
