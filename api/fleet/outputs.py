"""The files of an audit: written beside under other names, with a checkpoint every second, renamed at the end.

A run that was killed goes on from its checkpoint: what was written after it is cut off, what stands before it is held
to a checksum, and the inputs to a digest, so that the files come out as if nothing had happened.
"""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import time
import zlib
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from api.fleet.blocks import Done, Seal
from api.fleet.following import Following
from api.fleet.streams import CHUNK, SPOOL

LISTS = ("units.ndjson", "findings.ndjson", "set-aside.ndjson")
TABLES = ("units.parquet", "findings.parquet")
SUMMARY, CHECKPOINT, LOG, PART = "summary.json", "checkpoint.json", "run.log", ".part"
TOLD_EVERY = CHUNK
"""Bytes by which a list grows until those that follow it are told: less would wake them for nothing."""
EVERY = 1.0
"""Least time between two checkpoints, s: to write one takes as long as to judge some dozen setups."""


class InTheWay(Exception):
    """The folder holds something that this run must not write over or can't go on from; says what to do."""


class Outputs:
    """The files of one audit in a folder.

    Args:
        folder: made if it is not there.
        terms: all that the bytes depend on besides what the inputs hold: rulebook, program, options, names.
        resume: go on from a checkpoint, if there is one.

    Attributes:
        blocks: how many are written.   counts: what they counted.   seal: of the last, None before the first.
        finished: everything is written and only names are left to be changed.

    Raises: InTheWay.   OSError.
    """

    def __init__(self, folder: Path, terms: Mapping[str, Any], resume: bool) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.terms = folder, dict(terms)
        self.blocks, self.seal, self.finished = 0, None, False
        self.counts: Counter[str] = Counter()
        self.following: dict[str, Following] = {}
        self.lengths = dict.fromkeys(LISTS, 0)
        self.sums = dict.fromkeys(LISTS, 0)
        self._next = time.monotonic() + EVERY
        self.log = (folder / LOG).open("a", encoding="utf-8")
        try:
            fcntl.flock(self.log, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self.log.close()
            raise InTheWay(f"another audit is writing to {folder}; wait for it or name another folder.") from None
        try:
            for left in folder.glob(f"{SPOOL}*"):  # by a run that was killed
                shutil.rmtree(left)
            self._start(resume)
            self.files: dict[str, IO[bytes]] = {} if self.finished else {name: self._open(name) for name in LISTS}
        except BaseException:
            self.log.close()
            raise

    blocks: int
    seal: Seal | None
    finished: bool

    def _start(self, resume: bool) -> None:
        kept = self._path(CHECKPOINT)
        there = [name for name in (*LISTS, SUMMARY) if self._path(name).exists()]
        if not kept.exists():
            if there:
                raise InTheWay(f"{self.folder} holds the audit of another run ({there[0]}); name another folder.")
            return
        if not resume:
            raise InTheWay(
                f"{self.folder} holds a run that was not finished; go on with --resume, or name another folder."
            )
        found = json.loads(kept.read_text(encoding="utf-8"))
        changed = [
            key for key in sorted({*self.terms, *found["terms"]}) if self.terms.get(key) != found["terms"].get(key)
        ]
        if changed:
            raise InTheWay(
                f"the run in {self.folder} was begun with another {' and '.join(changed)}; start anew elsewhere."
            )
        self.blocks, self.finished = found["blocks"], found["finished"]
        self.seal = Seal(*found["seal"]) if found["seal"] else None
        self.counts.update(found["counts"])
        self.lengths.update(found["lengths"])
        self.sums.update(found["sums"])

    def _path(self, name: str) -> Path:
        return self.folder / name

    def _part(self, name: str) -> Path:
        return self.folder / (name + PART)

    def _open(self, name: str) -> IO[bytes]:
        """A list, cut to where the checkpoint left it. Raises InTheWay if that part is not what was written."""
        path = self._part(name)
        if not self.blocks:
            return path.open("wb")
        try:
            file = path.open("r+b")
        except OSError as error:
            raise InTheWay(f"{path} can't be gone on with: {error.strerror}; start anew elsewhere.") from None
        left, checksum = self.lengths[name], 0
        while left and (some := file.read(min(left, CHUNK))):
            left -= len(some)
            checksum = zlib.crc32(some, checksum)
        if left or checksum != self.sums[name]:
            file.close()
            raise InTheWay(f"{path} is not as it was written; start anew elsewhere.")
        file.truncate()
        return file

    def write(self, seal: Seal, done: Done) -> None:
        """Adds what came of the next block."""
        for name, text in zip(LISTS, (done.units, done.findings, done.aside), strict=True):
            self.files[name].write(text)
            self.lengths[name] += len(text)
            self.sums[name] = zlib.crc32(text, self.sums[name])
        self._tell(TOLD_EVERY)
        self.counts.update(done.counts)
        self.blocks += 1
        self.seal = seal
        if time.monotonic() >= self._next:
            self.check_point()

    def check_point(self) -> None:
        """Notes how far the files are, so that a run that is killed from now on need not do this again."""
        for file in self.files.values():
            file.flush()
        self._next = time.monotonic() + EVERY
        found = {
            "terms": self.terms,
            "blocks": self.blocks,
            "finished": self.finished,
            "seal": self.seal,
            "counts": self.counts,
            "lengths": self.lengths,
            "sums": self.sums,
        }
        self._replace(CHECKPOINT, json.dumps(found))

    def _replace(self, name: str, text: str) -> None:
        path = self.folder / f"{name}.new"
        path.write_text(text, encoding="utf-8")
        os.replace(path, self._path(name))

    def follow(self) -> None:
        """Has the tables written while the lists grow, by a process for each; else ``finish`` writes them."""
        for name in TABLES:
            self.following[_list_of(name)] = Following(self._part(_list_of(name)), self._part(name), name)
        self._tell()

    def _tell(self, least: int = 1) -> None:
        """Tells of what was written, where it is so many bytes."""
        for name, following in self.following.items():
            if self.lengths[name] - following.told >= least:
                self.files[name].flush()
                following.grown(self.lengths[name])

    def finish(self, summary: Mapping[str, Any], tables: bool) -> None:
        """Writes the tables, if they are wanted, and the summary, then gives every file its name. Raises GaveUp."""
        self._tell()
        for file in self.files.values():
            file.close()
        for following in self.following.values():
            following.finish()
        if tables and not self.following:
            self._write_tables()
        self._part(SUMMARY).write_text(json.dumps(summary, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        self.finished = True
        self.files.clear()
        self.check_point()
        self.rename()

    def _write_tables(self) -> None:
        from api.fleet.parquet import write_list

        for name in TABLES:
            with self._part(_list_of(name)).open("rb") as lines:
                write_list(lines, self._part(name), name)

    def rename(self) -> None:
        """Gives every file that is not yet so its name; the checkpoint goes last."""
        for name in (*LISTS, *TABLES, SUMMARY):
            if self._part(name).exists():
                os.replace(self._part(name), self._path(name))
        self._path(CHECKPOINT).unlink(missing_ok=True)

    def say(self, line: str) -> None:
        """A line of the run's log, with the time."""
        self.log.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {line}\n")
        self.log.flush()

    def close(self) -> None:
        """Closes the files; the checkpoint stays."""
        for following in self.following.values():
            following.stop()
        for file in self.files.values():
            file.close()
        self.log.close()


def _list_of(table: str) -> str:
    return table.replace(".parquet", ".ndjson")
