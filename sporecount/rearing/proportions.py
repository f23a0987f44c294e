"""Proportions and their intervals, and the difference of two."""

from __future__ import annotations

import math
from typing import NamedTuple


class Interval(NamedTuple):
    """Limits of what is not known exactly."""

    low: float
    high: float


def wilson(infected: float, adults: float, level: float = 0.95) -> Interval:
    """Return Wilson's limits of a proportion [newcombe1998a].

    Parameters
    ----------
    infected, adults : float
        Out of how many; not whole where clusters make the number an effective one.
    level : float
        Confidence level, between 0 and 1.

    Examples
    --------
    >>> [round(limit, 4) for limit in wilson(15, 148)]
    [0.0624, 0.1605]
    """
    if adults <= 0:
        return Interval(0.0, 1.0)
    from scipy.stats import norm

    z2 = float(norm.isf((1 - level) / 2)) ** 2
    share = infected / adults
    middle = share + z2 / (2 * adults)
    half = math.sqrt(z2 * (share * (1 - share) + z2 / (4 * adults)) / adults)
    low, high = ((middle + sign * half) / (1 + z2 / adults) for sign in (-1, 1))
    return Interval(low if infected > 0 else 0.0, high if infected < adults else 1.0)


def exact(infected: int, adults: int, level: float = 0.95) -> Interval:
    """Return the exact limits of Clopper and Pearson [newcombe1998a].

    Examples
    --------
    >>> [round(limit, 4) for limit in exact(0, 20)]
    [0.0, 0.1684]
    """
    if adults <= 0:
        return Interval(0.0, 1.0)
    from scipy.stats import beta

    tail = (1 - level) / 2
    low = float(beta.ppf(tail, infected, adults - infected + 1)) if infected else 0.0
    high = float(beta.isf(tail, infected + 1, adults - infected)) if infected < adults else 1.0
    return Interval(low, high)


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
