"""Inputs as streams of bytes: counted, digested, decompressed."""

from __future__ import annotations

import glob
import gzip
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any, Protocol, cast

from blake3 import blake3

from audit.nouns.problem import BadInput, Place, Problem

GZIP, ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"
CHUNK = 1024 * 1024
"""Bytes of an input that make a block, about."""
STANDARD_INPUT = "-"
SPOOL = "spool-"
"""With what the name of a folder begins in which an input is kept while it is read."""


class Broken(Exception):
    """An input that breaks off or can't be decompressed from some place on."""


class Counted(Protocol):
    """A stream that gives as many bytes as asked for, fewer only at its end, and counts what it gave."""

    count: int

    def read(self, size: int, /) -> bytes: ...


class Raw:
    """A stream as it is stored, counted and digested as it is read.

    Attributes:
        count: bytes that were read.
    """

    def __init__(self, stream: IO[bytes]) -> None:
        self.stream = stream
        self.count = 0
        self._digest = blake3()
        self._ahead = b""

    def read(self, size: int = -1) -> bytes:
        """As many bytes as asked for, fewer only at the end."""
        if self._ahead:
            found, self._ahead = self._ahead, b""
            if 0 <= size < len(found):
                found, self._ahead = found[:size], found[size:]
            else:
                found += self.stream.read(size - len(found) if size >= 0 else -1)
        else:
            found = self.stream.read(size)
        self.count += len(found)
        self._digest.update(found)
        return found

    def peek(self, size: int) -> bytes:
        """The next bytes, to be read again."""
        self._ahead += self.stream.read(size - len(self._ahead))
        return self._ahead[:size]

    def digest(self) -> str:
        """BLAKE3 of what was read so far: every byte goes through it, and it takes a quarter of the time of SHA-256."""
        return self._digest.hexdigest()

    def finish(self) -> None:
        """Read what is left, so that count and digest are the whole input's."""
        while self.read(CHUNK):
            pass


class Unpacked:
    """A decompressed stream. Raises Broken where it can't be read on.

    Attributes:
        packed: it was compressed.
        count: bytes that were read.
    """

    def __init__(self, raw: Raw) -> None:
        self.count = 0
        head = raw.peek(4)
        self.packed = head.startswith(GZIP) or head == ZSTD
        self._some: Callable[[int], bytes] = raw.read
        if head.startswith(GZIP):
            self._some = gzip.GzipFile(fileobj=cast(Any, raw)).read1
        elif self.packed:
            self._some = _Zstandard(raw).read

    def read(self, size: int, /) -> bytes:
        """As many bytes as asked for, fewer only at the end."""
        found: list[bytes] = []
        while size > 0:
            try:
                some = self._some(size)
            except (OSError, EOFError, zlib.error) as error:
                if found:  # first what stands before; the next call meets the same error
                    break
                raise Broken(f"can't be decompressed from here on: {error}.") from error
            if not some:
                break
            found.append(some)
            size -= len(some)
            self.count += len(some)
        return b"".join(found)


class _Zstandard:
    """Frames of Zstandard (RFC 8878), decompressed a few kilobytes at a time, so that no frame can fill the memory."""

    _STEP = 4096

    def __init__(self, raw: Raw) -> None:
        from zstandard import ZstdDecompressor, ZstdError

        self.raw, self.error = raw, ZstdError
        self.opened = ZstdDecompressor(max_window_size=128 * 1024 * 1024)
        self.frame = self.opened.decompressobj()
        self.begun = False
        self.ready = b""

    def read(self, size: int, /) -> bytes:
        """Some of the bytes asked for, none only at the end."""
        while not self.ready:
            packed = self.frame.unused_data if self.frame.eof else b""
            if self.frame.eof:
                self.frame, self.begun = self.opened.decompressobj(), False
            packed = packed or self.raw.read(self._STEP)
            if not packed:
                if self.begun:
                    raise EOFError("the last frame breaks off")
                return b""
            try:
                self.ready, self.begun = self.frame.decompress(packed), True
            except self.error as error:
                raise OSError(str(error)) from None
        found, self.ready = self.ready[:size], self.ready[size:]
        return found


def names_of(patterns: list[str]) -> list[str]:
    """The inputs that some names and patterns stand for, those of a pattern in order.

    Raises: BadInput: a pattern that nothing matches, or a name that is no file that can be opened.
    """
    found: list[str] = []
    problems: list[Problem] = []
    for pattern in patterns:
        if pattern == STANDARD_INPUT or Path(pattern).is_file():
            found.append(pattern)
            continue
        matches = sorted(name for name in glob.glob(pattern, recursive=True) if Path(name).is_file())
        if not matches:
            problems.append(Problem(Place(pattern), "is no file, and no file matches it."))
        found += matches
    if found.count(STANDARD_INPUT) > 1:
        problems.append(Problem(Place(STANDARD_INPUT), "standard input can be read only once."))
    if problems:
        raise BadInput(problems)
    return found


def open_input(name: str) -> IO[bytes]:
    """The stream of an input. Raises BadInput."""
    if name == STANDARD_INPUT:
        return sys.stdin.buffer
    try:
        return Path(name).open("rb")
    except OSError as error:
        raise BadInput([Problem(Place(name), f"can't be read: {error.strerror}.")]) from None


def shown_name(name: str) -> str:
    """An input in messages."""
    return "standard input" if name == STANDARD_INPUT else name
