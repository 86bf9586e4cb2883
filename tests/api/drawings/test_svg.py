"""The writer escapes, measures and wraps."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.drawings.svg import cleaned, element, escaped, label, number, text_width, wrapped


@given(st.text())
def test_any_text_comes_back_from_a_parser_as_it_was_cleaned(text: str) -> None:
    node = ElementTree.fromstring(element("text", escaped(text), fill=text))
    assert (node.text or "") == cleaned(text)
    assert node.attrib["fill"] == cleaned(text)


def test_what_xml_forbids_or_turns_writing_round_is_left_out() -> None:
    assert cleaned("a\x00b\x1b[31m\ud800\ufffec\u202ed\u2066e") == "ab[31mcde"
    assert cleaned(" one\n\ttwo  three ") == "one two three"


def test_markup_in_a_text_is_text() -> None:
    assert "<script" not in label(0, 0, '<script>alert("x")</script>')


@pytest.mark.parametrize(
    ("value", "written"), [(1.0, "1"), (0.125, "0.12"), (-0.001, "0"), (1200.5, "1200.5"), (100.0, "100")]
)
def test_numbers_are_short(value: float, written: str) -> None:
    assert number(value) == written


@given(st.text(min_size=1), st.floats(20, 400))
def test_no_line_is_wider_than_asked_unless_it_is_one_sign(text: str, width: float) -> None:
    for line in wrapped(text, width, 12):
        assert text_width(line, 12) <= width or len(line) == 1


@given(st.text(min_size=1), st.floats(20, 400))
def test_nothing_is_lost_by_wrapping(text: str, width: float) -> None:
    bare = str.maketrans("", "", " -")
    assert "".join(wrapped(text, width, 12)).translate(bare) == cleaned(text).translate(bare)


def test_a_word_too_long_for_a_line_is_hyphened() -> None:
    assert wrapped("Hauptgetriebeausgang", 90, 12)[0].endswith("-")
    assert not any(line.endswith("-") for line in wrapped("12345678901234567890", 60, 12))


def test_what_is_too_long_ends_in_an_ellipsis() -> None:
    lines = wrapped("separator countershaft bearing, left and right", 80, 12, most=2)
    assert len(lines) == 2
    assert lines[-1].endswith("…")
    assert text_width(lines[-1], 12) <= 80


def test_widths_are_at_least_those_of_a_wide_face() -> None:
    """Advance widths of DejaVu Sans in 2048ths of its size, from the face's own hmtx table: M 1767, e 1260, 8 1303, W 2025."""
    for sign, wide in {"M": 1767, "e": 1260, "8": 1303, "W": 2025}.items():
        assert text_width(sign, 2048) >= wide
