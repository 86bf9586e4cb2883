"""Text that a process reads itself is the text that was read to make the block."""

from __future__ import annotations

import gzip
import os
import pickle
import random
from pathlib import Path
from typing import Any

import pytest

from api.fleet.blocks import Block, Job, Piece
from api.fleet.judging import judge_block
from api.fleet.mapping import Here
from api.fleet.processes import Local
from api.fleet.reading import Reader
from api.fleet.stretches import Changed, with_text, without_text
from audit.intake.json_text import MOST_BYTES
from audit.nouns.rulebook import Rulebook

SIZE = 3000
LINES = [b'{"unit": {"id": "a", "card": "axial-single"}, "job": {"crop": "corn"}}', b"{", b"", b"  ", b"\xff", b"{}\r"]
RECORDS = [
    b"a,axial-single,corn",
    b'"a ""b""",axial-single,corn',
    b'"two\nlines",axial-single,corn',
    b"",
    b"a",
    b"\xff,,",
]


def blocks_of(path: Path, rulebook: Rulebook) -> list[Block]:
    return list(Reader([str(path)], rulebook, path.parent, SIZE).blocks())


def plain(payload: Any) -> Any:
    return payload if isinstance(payload, bytes) else payload.ahead + payload.rest[payload.begin : payload.end]


def random_lines(some: list[bytes], begins: bytes, seed: int) -> bytes:
    chance = random.Random(seed)
    end = chance.choice((b"", b"\n", b"\n\n"))
    return begins + b"\n".join(chance.choices(some, k=400)) + end


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    ("some", "begins"),
    [
        (LINES, LINES[0] + b"\n"),
        (LINES, b"\xef\xbb\xbf" + LINES[0] + b"\n\n"),
        ([*LINES, b"{" + b" " * (MOST_BYTES + 5) + b"}"], LINES[0] + b"\n"),
        (RECORDS, b"unit.id,unit.card,job.crop\n"),
        (RECORDS, b"\xef\xbb\xbfunit.id,unit.card,job.crop\n"),
    ],
    ids=["lines", "lines after a mark", "too long a line", "records", "records after a mark"],
)
def test_what_stands_in_the_file_is_what_was_read(
    tmp_path: Path, rulebook: Rulebook, some: list[bytes], begins: bytes, seed: int
) -> None:
    path = tmp_path / "fleet"
    path.write_bytes(random_lines(some, begins, seed) if len(some) < 7 else begins + b"\n".join(some * 2))
    blocks = blocks_of(path, rulebook)
    light = [block for block in blocks if without_text(block).piece.payload is None]
    assert light
    assert len(light) == len(blocks) or len(some) == 7  # a line that was cut goes along
    for block in light:
        sent = without_text(block)
        assert len(pickle.dumps(sent)) < 1000
        assert plain(with_text(sent.piece).payload) == plain(block.piece.payload)


def test_only_plain_files_are_read_again(tmp_path: Path, rulebook: Rulebook) -> None:
    path = tmp_path / "fleet.gz"
    path.write_bytes(gzip.compress(random_lines(LINES, LINES[0] + b"\n", 1)))
    assert all(without_text(block) is block for block in blocks_of(path, rulebook))


def rewritten(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"corn", b"oats"))


def longer(path: Path) -> None:
    with path.open("ab") as file:
        file.write(LINES[0])


def other_with_its_time(path: Path) -> None:
    before, text = path.stat(), path.read_bytes()
    path.rename(path.with_suffix(".old"))
    path.write_bytes(text.replace(b"corn", b"oats"))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


@pytest.mark.parametrize("change", [rewritten, longer, Path.unlink, other_with_its_time])
def test_a_file_that_was_changed_meanwhile_is_not_read_again(tmp_path: Path, rulebook: Rulebook, change: Any) -> None:
    path = tmp_path / "fleet.ndjson"
    path.write_bytes((LINES[0] + b"\n") * 100)
    blocks = blocks_of(path, rulebook)
    job = Job(rulebook.digest, (), "high", False)
    plain = [done for _, done in Here().map(judge_block, job, blocks)]
    change(path)
    with pytest.raises(Changed):
        with_text(without_text(blocks[0]).piece)
    assert [done for _, done in Local(2).map(judge_block, job, blocks)] == plain
    assert all(b'"crop":"corn"' in done.units for done in plain)


def test_pieces_of_other_kinds_stay_as_they_are() -> None:
    piece = Piece("items", (b"{}",), 1, 1)
    assert with_text(piece) is piece
