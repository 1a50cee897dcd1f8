"""Quantiles of Student's t, for predictions from few values.

The distribution function by the incomplete beta function as a continued fraction, evaluated by
Lentz's method (NIST Digital Library of Mathematical Functions 8.17.22 and 26.5.8 of Abramowitz and
Stegun, from memory), and the quantile by halving.
"""

from __future__ import annotations

import math
from functools import lru_cache

_TERMS = 500
_CLOSE = 1e-15
_TINY = 1e-300
_HALVINGS = 200


@lru_cache(maxsize=4_096)
def t_quantile(share: float, freedom: float) -> float:
    """The value that Student's t with ``freedom`` degrees stays below with probability ``share``.

    ValueError for a share outside 0 to 1, both excluded, or degrees of 0 or less.
    """
    if not 0 < share < 1 or not freedom > 0:
        raise ValueError(f"share is {share}, freedom is {freedom}; both must be possible")
    if share == 0.5:
        return 0.0
    beyond = min(share, 1 - share)
    low, high = 0.0, 1.0
    while _beyond(high, freedom) > beyond:
        low, high = high, 2 * high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if _beyond(middle, freedom) > beyond else (low, middle)
    return math.copysign((low + high) / 2, share - 0.5)


def _beyond(value: float, freedom: float) -> float:
    """Probability that t lies above a value of 0 or more."""
    return incomplete_beta(freedom / (freedom + value * value), freedom / 2, 0.5) / 2


def incomplete_beta(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function at ``x`` from 0 to 1; ``a`` and ``b`` above 0."""
    if x in (0.0, 1.0):
        return x
    if x > (a + 1) / (a + b + 2):
        return 1 - incomplete_beta(1 - x, b, a)
    log_front = (
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    return math.exp(log_front) / (a * _fraction(x, a, b))


def _fraction(x: float, a: float, b: float) -> float:
    """The continued fraction 1 + d1/(1 + d2/(1 + ...)) by Lentz's method."""
    value, upper, lower = 1.0, 1.0, 0.0
    for term in range(1, _TERMS):
        half = term // 2
        if term % 2:
            factor = -(a + half) * (a + b + half) * x / ((a + 2 * half) * (a + 2 * half + 1))
        else:
            factor = half * (b - half) * x / ((a + 2 * half - 1) * (a + 2 * half))
        lower = 1 / _not_nothing(1 + factor * lower)
        upper = _not_nothing(1 + factor / upper)
        value *= upper * lower
        if abs(upper * lower - 1) < _CLOSE:
            break
    return value


def _not_nothing(number: float) -> float:
    return number if abs(number) > _TINY else _TINY
