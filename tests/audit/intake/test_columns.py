"""Rows of columns give the answers that the same setups give as JSON, and say the same where they are bad."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.auditor import Auditor
from audit.intake.columns import Column, Grid, Header, columns_of, from_text, known_columns, read_header
from audit.nouns.answer import Answer
from audit.nouns.problem import BadInput
from audit.nouns.quantity import Form
from audit.nouns.rulebook import Rulebook

ENVELOPE = {"unit.id": "a", "unit.card": "axial-single", "job.crop": "corn"}


def answers(auditor: Auditor, rows: list[dict[str, Any]]) -> tuple[Grid, list[Answer | BadInput]]:
    names = list(dict.fromkeys(name for row in rows for name in row))
    header = read_header(names, "table", auditor.rulebook)
    grid = Grid(header, [[row.get(name) for row in rows] for name in names], len(rows))
    return grid, list(auditor.answer_rows(grid, lambda row: f"table:{row}"))


def in_json(auditor: Auditor, grid: Grid) -> list[Answer | BadInput]:
    return list(auditor.answer_all([grid.text(row) for row in range(grid.count)], lambda row: f"table:{row}"))


def same(one: Answer | BadInput, other: Answer | BadInput) -> bool:
    if isinstance(one, BadInput) or isinstance(other, BadInput):
        return str(one) == str(other)
    return one == other


VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-5, 5000), st.floats(-10, 3000), st.sampled_from([math.inf, math.nan, -0.0]),
    st.sampled_from(["sound", "worn", "raised", "lowered", "5/32 in", "3,5 mm", "310 r/min", "12 kg", "", " ", "true", "2026-07-01T06:00:00Z"]),
)  # fmt: skip


@given(data=st.data())
def test_rows_are_read_as_json_is(auditor: Auditor, data: st.DataObject) -> None:
    """Whatever stands in the cells, of whatever card."""
    known = known_columns(auditor.rulebook)
    sides = {f"{flat}.{side}" for flat in known for side in ("left", "right")}
    plain = sorted(flat for flat in known if flat not in sides and flat not in ENVELOPE)
    names = data.draw(st.lists(st.sampled_from(plain), min_size=1, max_size=6, unique=True))
    rows = [
        {**ENVELOPE, "unit.card": data.draw(st.sampled_from(["axial-single", "tangential-walker"]))}
        | {name: data.draw(VALUES) for name in names}
        for _ in range(3)
    ]
    grid, found = answers(auditor, rows)
    for one, other in zip(found, in_json(auditor, grid), strict=True):
        assert same(one, other)


@given(left=VALUES, right=VALUES)
def test_sides_are_read_as_json_is(auditor: Auditor, left: Any, right: Any) -> None:
    for flat in ("settings.feeder.drum", "readings.feeder.wear_strip_left", "readings.feeder.drum_pins_home"):
        grid, found = answers(auditor, [{**ENVELOPE, f"{flat}.left": left, f"{flat}.right": right}])
        assert same(found[0], in_json(auditor, grid)[0])


@pytest.mark.parametrize(
    ("flat", "seen", "like_it"),
    [
        ("readings.feeder.drum_pins_home", False, 0), ("readings.feeder.drum_pins_home.left", True, 1.0),
        ("readings.feeder.wear_strip_left", 1.0, True), ("readings.rotor.measured_speed", 1.0, True),
        ("readings.header.safety_stop", True, 1), ("unit.engine_hours", 1.0, True), ("job.header.rows", 1, True),
        ("job.ground_speed", 0.0, False),
    ],
)  # fmt: skip
def test_what_equals_a_value_seen_before_is_no_such_value(auditor: Auditor, flat: str, seen: Any, like_it: Any) -> None:
    """0 equals false, and 1 true, but neither is the other: what is remembered of one must not answer for the other."""
    rows = [{**ENVELOPE, flat: value} for value in (seen, like_it)]
    grid, found = answers(auditor, rows)
    assert str(found[0]) == str(in_json(auditor, grid)[0])
    assert isinstance(found[1], BadInput)
    assert str(found[1]) == str(in_json(auditor, grid)[1])


def test_demo_rows_take_the_quick_way(auditor: Auditor) -> None:
    """Usual values never go through the plain way: it takes twenty times as long."""
    rows = [
        {**ENVELOPE, "settings.rotor.range": "low", "settings.feeder.drum.left": "raised", "readings.rotor.measured_speed": 380,
         "readings.feeder.sheave_gap": "5/32 in", "readings.header.safety_stop": True, "unit.build_year": 2021,
         "readings.belt.condition": "sound", "taken.at": "2026-07-01T06:00:00Z", "taken.state": "as-found"},
        {**ENVELOPE, "unit.id": "b", "readings.rotor.measured_speed": 381.5},
    ]  # fmt: skip
    grid, _ = answers(auditor, rows)
    assert all(read is not None for read in auditor.quick().read_rows(grid))


def test_every_column_of_a_card_is_known(rulebook: Rulebook) -> None:
    known = known_columns(rulebook)
    for card in rulebook.machines.values():
        columns = columns_of(card, rulebook.vocabulary)
        names = [column.flat for column in columns]
        assert len(set(names)) == len(names)
        assert set(names) <= set(known)
        assert names[:3] == ["unit.id", "unit.card", "unit.serial"]


@pytest.mark.parametrize(
    ("form", "cells", "values"),
    [
        (Form.NUMBER, ["1", "2.5", "-3", None], [1.0, 2.5, -3.0, None]),
        (Form.NUMBER, ["1", "1e3", "inf", "1_0", "5/32 in", "1-2"], [1.0, "1e3", "inf", "1_0", "5/32 in", "1-2"]),
        (Form.YES_NO, ["true", "FALSE", "yes", None], [True, False, "yes", None]),
        (Form.WORD, ["sound", None], ["sound", None]),
    ],
)
def test_cells_of_text(form: Form, cells: list[str | None], values: list[Any]) -> None:
    assert from_text(Column("readings.x", ("readings", "x"), form), cells) == values


def test_years_of_text() -> None:
    column = Column("unit.build_year", ("unit", "build_year"), Form.NUMBER)
    assert from_text(column, ["2021", "20x1", "٢٠٢١", None]) == [2021, "20x1", "٢٠٢١", None]


def test_a_row_as_a_setup(rulebook: Rulebook) -> None:
    header: Header = read_header([*ENVELOPE, "job.header.kind", "settings.feeder.drum.left"], "x", rulebook)
    assert json.loads(header.text(["a", "axial-single", "corn", "corn-head", "raised"])) == {
        "unit": {"id": "a", "card": "axial-single"},
        "job": {"crop": "corn", "header": {"kind": "corn-head"}},
        "settings": {"feeder.drum": {"left": "raised"}},
    }


@pytest.mark.parametrize(
    "line",
    [
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn","crop":"corn"}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"settings":{},"settings":{}}',
        b'{"unit":{"id":"u","card":"axial-single","fitted":{},"fitted":{"shoe.stroke":"long"}},"job":{"crop":"corn"}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"readings":{"rotor.measured_speed":1,"rotor.measured_speed":2}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"settings":{"feeder.drum":{"left":"raised","left":"lowered"}}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"taken":{"by":"a\\u003ab","by":"ab"}}',
        b'{"job":{"crop":"corn"},"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn","header":{}}}',
    ],
    ids=range(7),
)
def test_a_key_twice_is_refused(auditor: Auditor, line: bytes) -> None:
    (found,) = auditor.answer_all([line], str)
    assert isinstance(found, BadInput)
    assert "twice" in str(found)


@pytest.mark.parametrize(
    "line",
    [
        b'{"unit":{"id":"a, b","card":"axial-single","owner":"x, y"},"job":{"crop":"corn","header":null}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"taken":{},"events":{},"settings":{}}',
        b'{"unit":{"id":"u","card":"axial-single","engine_hours":{"value":5,"unit":"h"}},"job":{"crop":"corn"}}',
        b'{"unit":{"id":"u","card":"axial-single"},"job":{"crop":"corn"},"settings":{"feeder.drum":{"left":"raised","right":"lowered"}}}',
    ],
    ids=range(4),
)
def test_commas_that_part_no_keys_do_not_slow_a_line(auditor: Auditor, line: bytes) -> None:
    """Such a line still takes the quick way."""
    assert auditor.quick().read(line).unit in ("u", "a, b")
