"""Text of plain files that a process of this machine reads itself, as it then need not be sent.

What is read again must be what was read the first time, so a file that was written to since it was opened is not read;
the block is then sent with its text.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from typing import IO

from api.fleet.blocks import Block, Piece, Stretch, Text


class Changed(Exception):
    """A file is not as it was when it was opened."""


def stamp_of(file: IO[bytes]) -> tuple[int, ...]:
    """What tells whether a file was written to: which it is, its size, the time of its last change. () for a pipe."""
    found = os.fstat(file.fileno())
    return (found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns) if stat.S_ISREG(found.st_mode) else ()


def standing(pieces: Iterator[Piece], path: str, stamp: tuple[int, ...]) -> Iterator[Piece]:
    """Pieces that say in which file they stand.

    Args:
        stamp: of the file when it was opened; () where its bytes are not those of the pieces.
    """
    for piece in pieces:
        stretch = piece.stretch._replace(path=path, stamp=stamp) if piece.stretch and stamp else None
        yield piece._replace(stretch=stretch)


def without_text(block: Block) -> Block:
    """A block for a process that can read the text where it stands, if it stands in a file."""
    return block if block.piece.stretch is None else block._replace(piece=block.piece._replace(payload=None))


def with_text(piece: Piece) -> Piece:
    """A piece with its text. Raises Changed."""
    if piece.stretch is None or piece.payload is not None:
        return piece
    text = _bytes_at(piece.stretch)
    return piece._replace(payload=text if piece.kind == "csv" else Text(text))


def _bytes_at(stretch: Stretch) -> bytes:
    try:
        with open(stretch.path, "rb", buffering=0) as file:
            found = os.pread(file.fileno(), stretch.length, stretch.start)
            if len(found) == stretch.length and stamp_of(file) == stretch.stamp:
                return found
    except OSError:
        pass  # it is not there any more
    raise Changed
