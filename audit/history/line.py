"""A straight line through points by ordinary least squares, and where it crosses a level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from audit.history.student import t_quantile

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Line:
    """y = mean_y + slope (x - mean_x), with what its uncertainty needs.

    Attributes:
        n: points.   mean_x, mean_y: their means.   slope: in y per x.
        spread: Σ (x - mean_x)².
        residual: residual standard deviation with n - 2 degrees of freedom; None with two points.
    """

    n: int
    mean_x: float
    mean_y: float
    slope: float
    spread: float
    residual: float | None

    def at(self, x: float) -> float:
        """The line's height at x."""
        return self.mean_y + self.slope * (x - self.mean_x)

    @property
    def slope_error(self) -> float | None:
        """Standard error of the slope; None with two points."""
        return None if self.residual is None else self.residual / math.sqrt(self.spread)

    @property
    def slope_interval(self) -> tuple[float, float] | None:
        """The slope's confidence interval by Student's t with n - 2 degrees of freedom; None with two points."""
        error = self.slope_error
        if error is None:
            return None
        half = t_quantile(CONFIDENCE, self.n - 2) * error
        return self.slope - half, self.slope + half

    def reaches(self, level: float) -> float:
        """Where the line has this height. Raises ZeroDivisionError for a level line."""
        return self.mean_x + (level - self.mean_y) / self.slope

    def reaches_interval(self, level: float) -> tuple[float, float] | None:
        """Confidence interval of where the true line has this height.

        The x at which the line's own confidence band holds the level, by Fieller's theorem: with u = x - mean_x,
        d = level - mean_y, k = t² s² and A = slope² - k / spread, u = (slope d ± √(k (d² / spread + A / n))) / A.

        Returns: low and high; None with two points, or where the slope's interval spans zero (A ≤ 0).
        Source: Draper and Smith, Applied Regression Analysis, 3rd ed., Wiley, 1998, inverse regression (memory).
        """
        if self.residual is None:
            return None
        k = (t_quantile(CONFIDENCE, self.n - 2) * self.residual) ** 2
        a = self.slope**2 - k / self.spread
        if a <= 0.0:
            return None
        d = level - self.mean_y
        middle, half = self.slope * d / a, math.sqrt(k * (d * d / self.spread + a / self.n)) / a
        reached = self.reaches(level)  # lies between the ends but for rounding
        return min(self.mean_x + middle - half, reached), max(self.mean_x + middle + half, reached)


def fit_line(xs: Sequence[float], ys: Sequence[float]) -> Line | None:
    """The least-squares line of y on x.

    Args:
        xs, ys: the same number of finite values.
    Returns: the line; None with fewer than two points, or where all x are the same.
    Source: Draper and Smith, Applied Regression Analysis, 3rd ed., Wiley, 1998, chapter 1 (memory).
    Worked example:
        >>> fit_line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0]).slope
        2.0
    """
    n = len(xs)
    if n < 2 or max(xs) == min(xs):
        return None
    dx, mean_x = _centred(xs)
    dy, mean_y = _centred(ys)
    spread = math.fsum(d * d for d in dx)
    if spread == 0.0:  # so close together that their squares vanish
        return None
    slope = math.fsum(a * b for a, b in zip(dx, dy, strict=True)) / spread
    residual = None
    if n > 2:
        left = math.fsum((b - slope * a) ** 2 for a, b in zip(dx, dy, strict=True))
        residual = math.sqrt(left / (n - 2))
    return Line(n, mean_x, mean_y, slope, spread, residual)


def _centred(values: Sequence[float]) -> tuple[list[float], float]:
    """Distances from the mean, and the mean. Reckoned from the first value, so that equal values are 0 off it."""
    first = values[0]
    offset = math.fsum(value - first for value in values) / len(values)
    return [value - first - offset for value in values], first + offset
