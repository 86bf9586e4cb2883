"""Tables that are written while their lists grow: the bytes of a table written at the end."""

from __future__ import annotations

import json
import os
import random
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from multiprocessing import Pipe
from pathlib import Path
from typing import Any

import pytest

from api.fleet import parquet
from api.fleet.following import Following, Growing
from api.fleet.mapping import GaveUp
from api.fleet.outputs import TABLES

NAME = TABLES[1]
PATIENCE = 60.0


def lines_of(count: int) -> list[bytes]:
    """Lines of findings, some long, some with letters of several bytes."""
    chance = random.Random(7)
    made = []
    for row in range(count):
        line: dict[str, Any] = dict.fromkeys(parquet.FINDINGS)
        line |= {"row": row, "unit": f"unit-{row % 97}", "rule": "belt", "farm": "Süd" * chance.randrange(40)}
        line |= {"share": chance.random(), "holds": row % 3 == 0}
        made.append(json.dumps(line, ensure_ascii=False).encode() + b"\n")
    return made


def at_the_end(lines: Sequence[bytes], folder: Path) -> bytes:
    """The table that is written when the list is whole."""
    whole, table = folder / "whole", folder / "whole.parquet"
    whole.write_bytes(b"".join(lines))
    with whole.open("rb") as file:
        parquet.write_list(file, table, NAME)
    return table.read_bytes()


@pytest.fixture
def list_of(tmp_path: Path) -> Path:
    path = tmp_path / "list"
    path.touch()
    return path


@pytest.mark.parametrize("count", [0, 1, 150_000])
def test_a_table_that_follows_its_list(count: int, list_of: Path, tmp_path: Path) -> None:
    lines = lines_of(count)
    following = Following(list_of, tmp_path / "table", NAME)
    whole, told, chance = b"".join(lines), 0, random.Random(3)
    with list_of.open("ab") as file:
        while told < len(whole):
            some = whole[told : told + chance.choice((1, 700, 400_000, 3_000_000))]
            file.write(some[file.tell() - told :])  # what is written and not told of yet may be a part of a line
            file.flush()
            told += some.rfind(b"\n") + 1
            following.grown(told)
        following.finish()
    assert (tmp_path / "table").read_bytes() == at_the_end(lines, tmp_path)


def read_in_parts(growing: Growing, size: int) -> Iterator[bytes]:
    while some := growing.read(size):
        yield some
        yield growing.readline()


@pytest.mark.parametrize("size", [1, 4, 5, 6, 1000])
def test_a_list_is_read_as_far_as_it_is_written(size: int, list_of: Path) -> None:
    """And in the parts in which it is read when it is whole."""
    text = b"abcd\n" * 5 + b"e" * 30 + b"\n\nx\n"
    list_of.write_bytes(text)
    with list_of.open("rb") as file:
        wanted = list(read_in_parts(file, size))  # type: ignore[arg-type]
    list_of.write_bytes(b"")
    here, there = Pipe()

    def grow() -> None:
        with list_of.open("ab") as file:
            for line in text.splitlines(keepends=True):
                file.write(line)
                file.flush()
                here.send(file.tell())
                time.sleep(0.002)
        here.send(None)

    growing = threading.Thread(target=grow)
    growing.start()
    with closing(Growing(list_of, there)) as followed:
        assert list(read_in_parts(followed, size)) == wanted
    growing.join()


def test_where_nobody_tells_any_more_nothing_is_read(list_of: Path) -> None:
    list_of.write_bytes(b"one\ntwo\n")
    here, there = Pipe()
    here.send(4)
    here.close()
    with closing(Growing(list_of, there)) as growing:
        assert growing.read(4) == b"one\n"
        with pytest.raises(EOFError):
            growing.read(1)


def test_a_process_that_dies_is_told_of(list_of: Path, tmp_path: Path) -> None:
    following = Following(list_of, tmp_path / "table", NAME)
    assert following._process.pid is not None
    os.kill(following._process.pid, signal.SIGKILL)
    following._process.join(PATIENCE)
    for length in range(3):
        following.grown(length)
    with pytest.raises(GaveUp, match=r"table can't be written: the process that wrote it died; go on with --resume"):
        following.finish()


def test_what_stops_it_is_told(list_of: Path, tmp_path: Path) -> None:
    list_of.write_bytes(b'{"row": 1}\n{"row": \n')
    following = Following(list_of, tmp_path / "table", NAME)
    following.grown(list_of.stat().st_size)
    with pytest.raises(GaveUp, match=r"table can't be written: .+; go on with --resume"):
        following.finish()


def test_it_ends_with_the_process_that_began_it(list_of: Path, tmp_path: Path) -> None:
    following = Following(list_of, tmp_path / "table", NAME)
    following._pipe.close()
    following._process.join(PATIENCE)
    assert following._process.exitcode == 0


def test_one_that_is_stopped_is_gone(list_of: Path, tmp_path: Path) -> None:
    following = Following(list_of, tmp_path / "table", NAME)
    following.stop()
    assert not following._process.is_alive()
