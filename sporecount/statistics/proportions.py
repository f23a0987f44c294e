"""Proportions and their intervals, and the difference of two."""

from __future__ import annotations

import math
from typing import NamedTuple


class Interval(NamedTuple):
    """Limits of what is not known exactly."""

    low: float
    high: float


def wilson(events: float, total: float, level: float = 0.95) -> Interval:
    """Return Wilson's limits of a proportion [newcombe1998a].

    Parameters
    ----------
    events, total : float
        Events, out of how many; not whole where clusters make the number an effective one.
    level : float
        Confidence level, between 0 and 1.

    Examples
    --------
    >>> [round(limit, 4) for limit in wilson(15, 148)]
    [0.0624, 0.1605]
    """
    if total <= 0:
        return Interval(0.0, 1.0)
    from scipy.stats import norm

    z2 = float(norm.isf((1 - level) / 2)) ** 2
    share = events / total
    middle = share + z2 / (2 * total)
    half = math.sqrt(z2 * (share * (1 - share) + z2 / (4 * total)) / total)
    low, high = ((middle + sign * half) / (1 + z2 / total) for sign in (-1, 1))
    return Interval(low if events > 0 else 0.0, high if events < total else 1.0)


def exact(events: int, total: int, level: float = 0.95) -> Interval:
    """Return the exact limits of Clopper and Pearson [newcombe1998a].

    Examples
    --------
    >>> [round(limit, 4) for limit in exact(0, 20)]
    [0.0, 0.1684]
    """
    if total <= 0:
        return Interval(0.0, 1.0)
    from scipy.stats import binomtest

    limits = binomtest(events, total).proportion_ci(level, method="exact")
    return Interval(float(limits.low), float(limits.high))


def difference(
    share: float, limits: Interval, other_share: float, other_limits: Interval
) -> Interval:
    """Return the limits of a difference from the limits of its two proportions.

    This is Newcombe's method 10 where the limits are Wilson's [newcombe1998b]. With
    limits that respect clusters the difference does so too.

    Examples
    --------
    >>> limits = difference(56 / 70, wilson(56, 70), 48 / 80, wilson(48, 80))
    >>> [round(limit, 4) for limit in limits]
    [0.0524, 0.3339]
    """
    middle = share - other_share
    down = math.hypot(share - limits.low, other_limits.high - other_share)
    up = math.hypot(limits.high - share, other_share - other_limits.low)
    return Interval(max(-1.0, middle - down), min(1.0, middle + up))
