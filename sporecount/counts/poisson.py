"""Exact Poisson limits of a count, and of the density it gives.

These limits say how far the spores met by chance on one photo can stand from
the mean of the slide (sampling). They know nothing of the detector's mistakes:
those are in :mod:`sporecount.counts.detector_error`, and the two are never mixed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from sporecount.counts.level import check_level


class Density(NamedTuple):
    """Spores per square millimetre, with the limits of sampling."""

    per_mm2: float
    low: float
    high: float


def poisson_limits(count: int, level: float = 0.95) -> tuple[float, float]:
    """Return the exact limits of a Poisson mean, given one count [garwood1936].

    Parameters
    ----------
    count : int
        Events counted, 0 or more.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    low, high : float
        Limits with the same chance outside on either side; ``low`` is 0 for no events.

    Raises
    ------
    ValueError
        If ``count`` is negative or ``level`` is not between 0 and 1.

    Examples
    --------
    >>> [round(limit, 4) for limit in poisson_limits(7)]
    [2.8144, 14.4227]
    """
    from scipy.special import gammainccinv, gammaincinv

    if count < 0:
        raise ValueError(f"count {count!r}: a count is 0 or more")
    check_level(level)
    tail = (1.0 - level) / 2.0
    # Half the limits of the chi-squared law with 2 n and 2 n + 2 degrees of freedom.
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammainccinv(count + 1, tail))
    return low, high


def density_per_mm2(count: int, area_mm2: float, level: float = 0.95) -> Density:
    """Return the density of a count on an area, with its exact Poisson limits.

    Parameters
    ----------
    count : int
        Spores counted on the area.
    area_mm2 : float
        Examined area, larger than 0.
    level : float
        Confidence level, between 0 and 1.

    Raises
    ------
    ValueError
        If the area is not a positive finite number.

    Examples
    --------
    >>> density = density_per_mm2(12, 4.0)
    >>> density.per_mm2, round(density.low, 4), round(density.high, 4)
    (3.0, 1.5501, 5.2404)
    """
    if not (math.isfinite(area_mm2) and area_mm2 > 0):
        raise ValueError(f"area_mm2 {area_mm2!r}: an examined area is larger than 0")
    low, high = poisson_limits(count, level)
    return Density(count / area_mm2, low / area_mm2, high / area_mm2)
