"""A list as a table that is written beside the audit, by a process that follows the list as it grows.

What the table holds depends on the list alone, not on when it grew.
"""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

from api.fleet.mapping import GaveUp

CORES_A_THREAD = 4
"""Cores for each thread that writes a table: one writes the findings of six cores that judge."""


class Following:
    """The process that writes one table.

    Args:
        lines: the list, which is there already.
        table: the file to be written.
        name: of the table in ``parquet.SHAPES``.

    Attributes:
        told: bytes of the list that it knows of.
    """

    def __init__(self, lines: Path, table: Path, name: str) -> None:
        self.table, self.told = table, 0
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=follow, args=(theirs, lines, table, name), daemon=True)
        self._process.start()
        theirs.close()

    def grown(self, length: int) -> None:
        """Tells how many bytes of the list are written; they end with a line."""
        self.told = length
        with suppress(OSError):  # if it died, that is told at the end
            self._pipe.send(length)

    def finish(self) -> None:
        """Returns once the table is written up to what was told last. Raises GaveUp."""
        wrong = "the process that wrote it died"
        with suppress(OSError, EOFError):
            self._pipe.send(None)
            wrong = self._pipe.recv()
        self.stop()
        if wrong:
            raise GaveUp(f"{self.table} can't be written: {wrong}; go on with --resume")

    def stop(self) -> None:
        """Ends the process; what it wrote stays as it is."""
        self._pipe.close()
        self._process.terminate()
        self._process.join()


class Growing:
    """A list that is read no further than it is written: whoever asks for more waits until it grows, or ends.

    Raises EOFError where nobody is there any more to make it grow.
    """

    def __init__(self, lines: Path, told: Connection) -> None:
        self._file = lines.open("rb")
        self._told = told
        self._at, self._length, self._ended = 0, 0, False

    def read(self, size: int) -> bytes:
        """So many bytes, fewer only at the end."""
        return self._taken(self._file.read(self._there(size)))

    def readline(self) -> bytes:
        """The rest of a line, b"" at the end."""
        return self._taken(self._file.readline()) if self._there(1) else b""

    def close(self) -> None:
        self._file.close()

    def _taken(self, found: bytes) -> bytes:
        self._at += len(found)
        return found

    def _there(self, size: int) -> int:
        """How many of so many bytes can be read, once all of them or the last are written."""
        while not self._ended and self._length - self._at < size:
            told = self._told.recv()
            self._ended = told is None
            self._length = self._length if told is None else told
        return min(size, self._length - self._at)


def follow(told: Connection, lines: Path, table: Path, name: str) -> None:
    """Writes a table in the process that this is called in; answers what went wrong, '' for nothing."""
    # what it writes needs little: more threads would take turns, and the time of those that judge
    os.environ.setdefault("POLARS_MAX_THREADS", str(max(1, (os.cpu_count() or 1) // CORES_A_THREAD)))
    from api.fleet.parquet import write_list

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began the audit is told to stop too, and then ends this
    growing = Growing(lines, told)
    wrong = ""
    try:
        write_list(growing, table, name)
    except Exception as error:
        wrong = str(error) or type(error).__name__
    growing.close()
    with suppress(OSError):
        told.send(wrong)
