"""A day's log: time out of window, gaps, flickers, area, and the same sums by counting every second."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.fleet.spells import Mark, Row, audit_log
from audit.nouns.risk import Level

BROKEN = Mark(True, Level.HIGH, 2, 10.0, False)
UNKNOWN = Mark(False, Level.HIGH, 2, 10.0, False)
RULE = ("drum-high", "")


def row(at: float, mark: Mark | None = None, rate: float | None = 0.001) -> Row:
    return Row(at, rate, {} if mark is None else {RULE: mark})


def test_one_spell() -> None:
    found = audit_log([row(0), row(60, BROKEN), row(120, BROKEN), row(180), row(240)], 300, 30)
    (out,) = found.out
    assert (out.seconds, out.hectares, out.damage_time) == pytest.approx((120, 0.12, 10 * 120 / 3600))
    assert [(spell.start, spell.end, spell.open) for spell in out.spells] == [(60, 180, False)]
    assert (found.covered, found.hectares) == pytest.approx((240, 0.24))
    assert found.gaps == ()


def test_a_gap_counts_neither_way() -> None:
    """On the limit a row still stands; a second beyond it nobody knows."""
    rows = [row(0, BROKEN), row(300, BROKEN), row(601, BROKEN), row(661)]
    found = audit_log(rows, 300, 30)
    (out,) = found.out
    assert found.gaps == ((300, 601),)
    assert (out.seconds, found.covered) == (360, 360)
    assert [(spell.start, spell.end, spell.open) for spell in out.spells] == [(0, 300, True), (601, 661, False)]


def test_a_flicker_does_not_end_a_spell() -> None:
    rows = [row(0, BROKEN), row(100), row(129, BROKEN), row(200), row(230, BROKEN), row(300), row(400)]
    (out,) = audit_log(rows, 300, 30).out
    assert [(spell.start, spell.end, spell.seconds, spell.flickers) for spell in out.spells] == [
        (0, 200, 171, 1),
        (230, 300, 70, 0),
    ]
    assert out.seconds == 241


def test_a_short_spell_counts_but_is_not_told() -> None:
    (out,) = audit_log([row(0), row(100, BROKEN), row(129), row(400)], 300, 30).out
    assert (out.seconds, out.short, out.spells) == (29, 1, ())


def test_unknown_is_neither() -> None:
    found = audit_log([row(0, UNKNOWN), row(60, BROKEN), row(100, UNKNOWN), row(200)], 300, 30)
    assert (found.out[0].seconds, found.out[0].seconds_unknown) == (40, 160)
    never = audit_log([row(0, UNKNOWN), row(60)], 300, 30)
    assert (never.out, never.never_answered) == ((), ((RULE, 60),))


def test_area_is_said_to_be_unknown() -> None:
    found = audit_log([row(0, BROKEN, None), row(60, BROKEN), row(120)], 300, 30)
    assert (found.out[0].hectares, found.out[0].seconds_no_area) == pytest.approx((0.06, 60))
    assert found.seconds_no_area == 60


def test_order_and_repeats() -> None:
    """Rows are put in order; of two with one time the last that was read stands."""
    found = audit_log([row(60, BROKEN), row(0), row(120), row(60)], 300, 30)
    assert (found.unordered, found.same_time, found.rows) == (2, 1, 4)
    assert found.out == ()


def test_the_worst_ranks_by_damage_times_time() -> None:
    small = Mark(True, Level.LOW, 18, 1.0, False)
    worse = Mark(True, Level.HIGH, 1, 30.0, True)
    marks = [Row(0, None, {("a", ""): small, ("b", ""): BROKEN}), Row(60, None, {("a", ""): small, ("b", ""): worse})]
    found = audit_log([*marks, *(Row(at, None, {("a", ""): small}) for at in (120, 180, 1800))], 300, 0)
    assert [(out.rule, out.index, out.people) for out in found.out] == [("b", 1, True), ("a", 18, False)]


def test_a_single_row_stands_for_no_time() -> None:
    found = audit_log([row(5, BROKEN)], 300, 30)
    assert (found.covered, found.out[0].seconds, found.start, found.end) == (0, 0, 5, 5)


STATES = st.sampled_from([None, BROKEN, UNKNOWN])


@given(st.lists(st.tuples(st.integers(1, 40), STATES), min_size=1, max_size=30), st.integers(0, 30), st.integers(0, 30))
def test_every_second_counted(steps: list[tuple[int, Mark | None]], gap: int, debounce: int) -> None:
    rows, at = [], 0
    for step, mark in steps:
        at += step
        rows.append(row(at, mark))
    broken = unknown = covered = 0
    for second in range(int(rows[0].at), int(rows[-1].at)):
        stands = max((one for one in rows if one.at <= second), key=lambda one: one.at)
        following = min(one.at for one in rows if one.at > second)
        if following - stands.at <= gap:
            covered += 1
            broken += stands.marks.get(RULE) is BROKEN
            unknown += stands.marks.get(RULE) is UNKNOWN
    found = audit_log(rows, gap, debounce)
    assert found.covered == covered
    assert found.covered + sum(end - start for start, end in found.gaps) == found.end - found.start
    for out in found.out:
        assert (out.seconds, out.seconds_unknown) == (broken, unknown)
        assert sum(spell.seconds for spell in out.spells) <= broken
        assert all(spell.end - spell.start >= debounce for spell in out.spells)
        assert all(
            later.start - earlier.end >= debounce or earlier.open
            for earlier, later in zip(out.spells, out.spells[1:], strict=False)
        )
