"""Candidate values: every limit that some question has is among them, and nothing lies between that would answer else."""

from __future__ import annotations

import random
from collections.abc import Callable
from math import isclose

import pytest

from audit.measures import dimension_of, to_canonical
from audit.nouns.quantity import Form, Quantity, Role, Sided, Value
from audit.nouns.rule import Verdict
from audit.nouns.setup import Setup
from audit.planning.candidates import bounds, roots
from audit.planning.planner import Planner
from audit.planning.worksheet import WorkSheet
from tests.audit.planning.plain import GOOD, Asked

CARDS = ("axial-single", "axial-hybrid", "tangential-walker")
Legal = Callable[[str, str], Setup]


def alone(worksheet: WorkSheet) -> dict[str, list[Asked]]:
    """By number, the questions on it alone."""
    found: dict[str, list[Asked]] = {}
    for question in worksheet.sheet.questions:
        asked = Asked(worksheet.sheet, question)
        if len(asked.inputs) == 1 and worksheet.quantity(asked.inputs[0]).form is Form.NUMBER:
            found.setdefault(asked.inputs[0], []).append(asked)
    return found


def whole(quantity: Quantity, value: float) -> Value | Sided:
    return (value, value) if quantity.sided else value


def answers(quantity: Quantity, questions: list[Asked], value: float) -> tuple[Verdict, ...]:
    return tuple(asked.verdict((whole(quantity, value),)) for asked in questions)


def grid_of(worksheet: WorkSheet, name: str) -> list[float]:
    """Positions of a setting that its card gives a step for."""
    quantity = worksheet.quantity(name)
    step = next(carried.step for carried in worksheet.sheet.card.carried if carried.name == name)
    assert step is not None
    assert quantity.lowest is not None
    assert quantity.highest is not None
    count = round((quantity.highest - quantity.lowest) / step)
    dimension = dimension_of(quantity.unit)
    return [to_canonical(quantity.lowest + place * step, quantity.unit, dimension) for place in range(count + 1)]


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("crop", ["corn", "canola"])
def test_a_settings_candidates_cover_its_whole_grid(planner: Planner, legal: Legal, card: str, crop: str) -> None:
    worksheet = planner.worksheet(card, crop)
    base = worksheet.filled(legal(card, crop).values)
    chance = random.Random(card + crop)
    looked_at = 0
    stepped = {carried.name for carried in worksheet.sheet.card.carried if carried.step}
    for name, questions in alone(worksheet).items():
        quantity = worksheet.quantity(name)
        if quantity.role is not Role.SETTING or name not in stepped:
            continue
        grid = grid_of(worksheet, name)
        tried = [value for value in worksheet.candidates.of(name, base, frozenset()) if isinstance(value, float)]
        looked_at += 1
        assert all(any(isclose(value, position, rel_tol=1e-9, abs_tol=1e-9) for position in grid) for value in tried)
        assert {answers(quantity, questions, value) for value in tried} == {
            answers(quantity, questions, position) for position in grid
        }
        right = [position for position in grid if set(answers(quantity, questions, position)) <= set(GOOD)]
        able = [value for value in tried if set(answers(quantity, questions, value)) <= set(GOOD)]
        wrong = [position for position in grid if position not in right]
        for as_found in chance.sample(wrong, min(12, len(wrong))):
            nearest = min(abs(position - as_found) for position in right)
            assert min(abs(value - as_found) for value in able) == pytest.approx(nearest, abs=1e-9), name
    assert looked_at >= 3


@pytest.mark.parametrize("card", CARDS)
def test_a_readings_candidates_answer_in_every_way_there_is(planner: Planner, legal: Legal, card: str) -> None:
    worksheet = planner.worksheet(card, "soybean")
    base = worksheet.filled(legal(card, "soybean").values)
    looked_at = 0
    for name, questions in alone(worksheet).items():
        quantity = worksheet.quantity(name)
        if quantity.role is not Role.READING:
            continue
        low, high = bounds(quantity)
        tried = [value for value in worksheet.candidates.of(name, base, frozenset()) if isinstance(value, float)]
        assert all(low <= value <= high for value in tried)
        known = base[name]
        right = known[0] if isinstance(known, tuple) else known
        finer = [low + (high - low) * share / 200 for share in range(201)]
        finer += [right] if isinstance(right, float) else []
        seen = {answers(quantity, questions, value) for value in finer}
        assert seen <= {answers(quantity, questions, value) for value in tried}, name
        looked_at += 1
    assert looked_at >= 40


def test_limits_that_hang_on_another_quantity_are_found_where_it_stands(planner: Planner, legal: Legal) -> None:
    worksheet = planner.worksheet("axial-single", "soybean")
    (fast,) = (p for p in worksheet.probes if p.question.rule.id == "reel-too-fast")
    assert set(fast.inputs) == {"job.header_kind", "header.reel_speed", "job.ground_speed"}
    for ground in (1.0, 2.0):  # m/s
        values = worksheet.filled({**legal("axial-single", "soybean").values, "job.ground_speed": ground})
        tried = [v for v in worksheet.candidates.of("header.reel_speed", values, frozenset()) if isinstance(v, float)]
        kept = [v for v in tried if fast[fast.key({**values, "header.reel_speed": v})]]
        broken = [v for v in tried if v not in kept]
        edge = max(kept)
        assert edge == pytest.approx(1.25 * ground)  # the crop card's highest reel index for soybeans
        assert broken
        assert min(broken) > edge


def test_words_and_yes_or_no_are_all_tried(planner: Planner, legal: Legal) -> None:
    worksheet = planner.worksheet("axial-single", "corn")
    base = worksheet.filled(legal("axial-single", "corn").values)
    for name in worksheet.inputs:
        if name == "job.crop" or worksheet.quantity(name).form in (Form.NUMBER, Form.TIME):
            continue
        words: set[Value] = {word for word, _ in worksheet.quantity(name).words}
        assert set(worksheet.candidates.of(name, base, frozenset())) == (words or {True, False})


def test_the_same_is_tried_again_whatever_was_asked_between(planner: Planner, legal: Legal) -> None:
    worksheet = planner.worksheet("axial-single", "corn")
    base = worksheet.filled(legal("axial-single", "corn").values)
    other = {**base, "separator.measured_speed": 400.0}
    for name in ("beater.measured_speed", "header.reel_speed", "shoe.sieve", "loss.behind"):
        first = worksheet.candidates.of(name, base, worksheet.movable)
        worksheet.candidates.of(name, other, frozenset())
        assert worksheet.candidates.of(name, base, worksheet.movable) == first
    assert worksheet.candidates.of("beater.measured_speed", other, frozenset()) != worksheet.candidates.of(
        "beater.measured_speed", base, frozenset()
    )


def test_roots_of_a_straight_line_are_exact() -> None:
    assert list(roots(lambda x: 3.0 * x - 12.0, 0.0, 100.0)) == [4.0]
    assert list(roots(lambda x: x - 200.0, 0.0, 100.0)) == []
    assert list(roots(lambda _: 1.0, 0.0, 100.0)) == []
    assert list(roots(lambda x: 2.0 * x, 0.0, 100.0)) == [0.0]


def test_roots_of_a_curve_are_found_by_halving() -> None:
    assert list(roots(lambda x: x * x - 50.0, 0.0, 100.0)) == pytest.approx([50.0**0.5])
    assert list(roots(lambda x: (x - 20.0) * (x - 70.0), 0.0, 100.0)) == pytest.approx([20.0, 70.0])
    assert list(roots(lambda x: 1.0 / x - 0.1, 1.0, 100.0)) == pytest.approx([10.0])


def test_roots_where_nothing_is_known() -> None:
    assert list(roots(lambda _: None, 0.0, 100.0)) == []
