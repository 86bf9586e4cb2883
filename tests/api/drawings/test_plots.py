"""The trend of wear: points where they belong, the fitted line, its way to the limit, and words for it."""

from __future__ import annotations

import re

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.drawings.plots import Reach, Wear, wear_trend
from tests.api.drawings.reading import read

RUN = ((900.0, 0.5), (1000.0, 0.95), (1100.0, 1.3), (1200.0, 1.7))
SLOPE, START = numpy.polyfit([hours for hours, _ in RUN], [value for _, value in RUN], 1)
AT = float((3.0 - START) / SLOPE)
WEAR = Wear(
    "unit-41: wear", "Engine hours [h]", "elongation [%]", (((500.0, 2.0), (600.0, 2.4)), RUN), ((3.0, "limit 3 %"),),
    float(SLOPE), Reach(AT, AT - 40, AT + 60, "at about 1,541 h, 2027-07-07"),
)  # fmt: skip


def number(value: float) -> str:
    return f"{value:g}"


def circles(svg: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r'<circle cx="([\d.-]+)" cy="([\d.-]+)"', svg)]


def test_points_lie_on_one_scale() -> None:
    found = circles(wear_trend(WEAR, number))
    points = [point for run in WEAR.runs for point in run]
    assert len(found) == len(points)
    across = numpy.polyfit([hours for hours, _ in points], [x for x, _ in found], 1)
    down = numpy.polyfit([value for _, value in points], [y for _, y in found], 1)
    assert across[0] > 0
    assert down[0] < 0
    for (hours, value), (x, y) in zip(points, found, strict=True):
        assert x == pytest.approx(numpy.polyval(across, hours), abs=0.05)
        assert y == pytest.approx(numpy.polyval(down, value), abs=0.05)


def test_the_line_is_the_least_squares_line_and_meets_the_limit_where_it_says() -> None:
    svg = wear_trend(WEAR, number)
    dashed = re.search(r'<polyline points="([\d., -]+)"[^>]*stroke-dasharray="3 4"', svg)
    assert dashed is not None
    _, (end_x, end_y) = [tuple(map(float, point.split(","))) for point in dashed[1].split()]
    diamond = re.search(r'<polygon points="([\d., -]+)"', svg)
    assert diamond is not None
    corners = [tuple(map(float, point.split(","))) for point in diamond[1].split()]
    assert end_x == pytest.approx(sum(x for x, _ in corners) / 4, abs=0.1)
    assert end_y == pytest.approx(sum(y for _, y in corners) / 4, abs=0.1)


def test_axes_limit_and_date_are_written_and_told() -> None:
    found = read(wear_trend(WEAR, number))
    for text in ("unit-41: wear", "Engine hours [h]", "elongation [%]", "limit 3 %", "at about 1,541 h, 2027-07-07"):
        assert text in found.written()
    assert "2027-07-07" in found.told


def test_without_a_trend_only_the_points_are_drawn() -> None:
    svg = wear_trend(Wear("x", "h", "v", (((900.0, 1.0),),), ((3.0, "limit 3"),), None, None), number)
    assert len(circles(svg)) == 1
    assert "polygon" not in svg
    assert wear_trend(Wear("x", "h", "v", (), (), None, None), number) == ""


@given(
    st.lists(st.tuples(st.floats(0, 60_000), st.floats(-1e4, 1e4)), min_size=1, max_size=8),
    st.floats(-1e4, 1e4), st.floats(-10, 10), st.floats(0, 1e6), st.text(max_size=60),
)  # fmt: skip
def test_whatever_is_drawn_stays_on_the_drawing(
    run: list[tuple[float, float]], limit: float, rate: float, at: float, title: str
) -> None:
    reach = Reach(at, at / 2, None, "at about 1,541 h, 2027-07-07")
    found = read(wear_trend(Wear(title, "h", "v", (tuple(sorted(run)),), ((limit, "limit"),), rate, reach), number))
    for text in found.texts:
        assert text.left >= -8, text
        assert text.right <= found.width + 8, text
        assert text.top >= -1
        assert text.bottom <= found.height + 1, text
