"""Quantiles of Student's t for whole degrees of freedom; the standard library has only the normal distribution."""

from __future__ import annotations

import math
from functools import lru_cache

_HALVINGS = 100


def t_within(t: float, freedom: int) -> float:
    """Probability that Student's t lies within ±t.

    With θ = atan(t / √ν) it is a finite sum: for even ν, sin θ (1 + cos²θ/2 + 1·3 cos⁴θ/(2·4) + …) up to cos^(ν-2) θ;
    for odd ν, (2/π) (θ + sin θ (cos θ + 2 cos³θ/3 + 2·4 cos⁵θ/(3·5) + …)), without the sum for ν = 1.

    Args:
        t: at least 0.
        freedom: degrees of freedom ν, at least 1.
    Returns: probability, 0 to 1.
    Raises: ValueError: an argument outside its range.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4 (memory).
    Worked example, the tables' 95 % point for five degrees of freedom:
        >>> round(t_within(2.571, 5), 3)
        0.95
    """
    if freedom < 1 or not t >= 0.0:
        raise ValueError(f"t is {t}, degrees of freedom are {freedom}; they must be at least 0 and 1")
    return _within(math.atan(t / math.sqrt(freedom)), freedom)


@lru_cache(maxsize=256)
def t_quantile(confidence: float, freedom: int) -> float:
    """The t that Student's t stays within, to either side, with this probability.

    Args:
        confidence: two-sided probability, above 0 and below 1.
        freedom: degrees of freedom, at least 1.
    Returns: t, above 0.
    Raises: ValueError: an argument outside its range.
    Source: the inverse of ``t_within``, found by halving the angle's interval.
    Worked example:
        >>> round(t_quantile(0.95, 1), 3)
        12.706
    """
    if freedom < 1 or not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}, degrees of freedom are {freedom}; see the ranges")
    low, high = 0.0, math.pi / 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _within(middle, freedom) < confidence:
            low = middle
        else:
            high = middle
    return math.tan(high) * math.sqrt(freedom)


def _within(angle: float, freedom: int) -> float:
    sine, cosine = math.sin(angle), math.cos(angle)
    odd = freedom % 2
    if freedom == 1:
        return 2.0 * angle / math.pi
    term = cosine if odd else 1.0
    total = term
    for power in range(3 if odd else 2, freedom, 2):
        term *= cosine * cosine * (power - 1) / power
        total += term
    return 2.0 / math.pi * (angle + sine * total) if odd else sine * total
