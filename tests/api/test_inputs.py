"""Setups out of files and pipes: what counts as one, and what is broken comes whole to be refused."""

from __future__ import annotations

import codecs
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.inputs import setups_in
from audit.intake.json_text import MOST_BYTES

ONE = {"unit": {"id": "a, ]", "card": "c"}, "job": {"crop": "x"}}
TWO = {"unit": {"id": "b", "card": "c"}, "job": {"crop": "é"}}


def read(text: bytes) -> list[tuple[bytes, str]]:
    return list(setups_in(io.BytesIO(text)))


def decoded(text: bytes) -> list[object]:
    return [json.loads(one.decode()) for one, _ in read(text)]


@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
@pytest.mark.parametrize("ends", [b"\n", b"\r\n", b"\n\n"])
def test_one_a_line(mark: bytes, ends: bytes) -> None:
    text = mark + json.dumps(ONE).encode() + ends + json.dumps(TWO).encode() + ends
    assert decoded(text) == [ONE, TWO]


@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
@pytest.mark.parametrize("indent", [None, 2])
def test_an_array_and_a_single_object(mark: bytes, indent: int | None) -> None:
    assert decoded(mark + json.dumps([ONE, TWO], indent=indent).encode()) == [ONE, TWO]
    assert [place for _, place in read(json.dumps([ONE, TWO], indent=indent).encode())] == ["[1]", "[2]"]
    assert decoded(mark + json.dumps(ONE, indent=indent, ensure_ascii=False).encode() + b"\n") == [ONE]


def test_lines_are_counted_with_the_blank_ones() -> None:
    line = json.dumps(ONE).encode()
    assert [place for _, place in read(b"\n \n" + line + b"\n\n" + line)] == [":3", ":5"]


@pytest.mark.parametrize("text", [b"", b"\n\n \n", b"[]", b" [ ]\n"])
def test_nothing(text: bytes) -> None:
    assert read(text) == []


@pytest.mark.parametrize("broken", [b"[%s", b"[%s,", b"[%s,]", b"[%s %s]", b"[%s,,%s]", b"[%s]]", b"[%s] %s"])
def test_a_broken_array_gives_its_good_start_and_then_itself(broken: bytes) -> None:
    text = broken.replace(b"%s", json.dumps(ONE).encode())
    *good, last = read(text)
    assert [json.loads(one) for one, _ in good] == [ONE] * len(good)
    assert len(good) >= 1
    assert last == (text, "")
    with pytest.raises(json.JSONDecodeError):
        json.loads(last[0])


@pytest.mark.parametrize(
    "text", [b"[" * 100_000, b"[" * 100_000 + b"]" * 100_000, b'{"a":' * 100_000 + b"1" + b"}" * 100_000]
)
def test_deep_nesting_comes_whole(text: bytes) -> None:
    assert [one for one, _ in read(text)] == [text]


def test_utf_16_comes_once_to_be_refused() -> None:
    assert len(read(json.dumps([ONE, TWO], indent=2).encode("utf-16"))) == 1


@pytest.mark.parametrize("over", [-2, -1, 0, 1, 2, 100])
def test_a_line_about_as_long_as_allowed_swallows_no_other(over: int) -> None:
    start = b'{"a": 1'
    line = start + b" " * (MOST_BYTES + over - len(start) - 2) + b"}\n"
    assert len(line) == MOST_BYTES + over
    after = json.dumps(TWO).encode()
    first, second = read(line + after)
    assert (len(first[0]) > MOST_BYTES) == (over > 0)
    assert first[1] == ":1"
    assert second == (after, ":2")


class Endless(io.RawIOBase):
    """A line of 100 MB that is never in memory as a whole; then a setup."""

    def __init__(self) -> None:
        self.left = 100_000_000
        self.last = io.BytesIO(b"}\n" + json.dumps(ONE).encode() + b"\n")

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        if not self.left:
            return self.last.readinto(buffer)
        size = min(self.left, len(buffer))
        buffer[:size] = (b"{" if self.left == 100_000_000 else b" ") + b" " * (size - 1)
        self.left -= size
        return size


def test_memory_stays_flat_over_a_huge_line() -> None:
    import tracemalloc

    stream = io.BufferedReader(Endless(), buffer_size=1_000_000)
    tracemalloc.start()
    sizes = [(len(text), place) for text, place in setups_in(stream)]
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sizes == [(MOST_BYTES + 1, ":1"), (len(json.dumps(ONE)) + 1, ":2")]
    assert most < 8 * MOST_BYTES


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=6,
)


@given(st.lists(JSON, min_size=1, max_size=4), st.sampled_from([None, 1]), st.booleans())
def test_any_array_comes_apart_as_it_was_put_together(
    items: list[object], indent: int | None, ascii_only: bool
) -> None:
    assert decoded(json.dumps(items, indent=indent, ensure_ascii=ascii_only).encode()) == items


@given(st.binary(max_size=200))
def test_any_bytes_are_taken(text: bytes) -> None:
    for one, _ in read(text):
        assert one
