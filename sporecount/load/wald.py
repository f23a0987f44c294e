"""Wald's sequential lines, the yardstick for the rule that is used.

A sequential probability ratio test of mean m0 against m1 per field goes on while the
running total lies between two lines of the same slope. It wants two means to choose
between and k known, so it serves here as a check [wald1947].
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Lines(NamedTuple):
    """The total after n fields says m0 below ``slope*n + low``, m1 above ``slope*n + high``."""

    slope: float
    low: float
    high: float


def poisson_lines(m0: float, m1: float, alpha: float, beta: float) -> Lines:
    """Return Wald's lines for Poisson counts [wald1947].

    Parameters
    ----------
    m0, m1 : float
        Means per field, ``0 < m0 < m1``.
    alpha, beta : float
        Chance of saying m1 where m0 is true, and m0 where m1 is true.

    Raises
    ------
    ValueError
        If the means or chances make no sense.

    Examples
    --------
    >>> [round(part, 5) for part in poisson_lines(1, 2, 0.05, 0.05)]
    [1.4427, -4.24793, 4.24793]
    """
    _check(m0, m1, alpha, beta)
    per_spore = np.log(m1 / m0)
    return _lines(per_spore, m1 - m0, alpha, beta)


def negative_binomial_lines(m0: float, m1: float, k: float, alpha: float, beta: float) -> Lines:
    """Return Wald's lines for negative binomial counts of known k [wald1947].

    Examples
    --------
    >>> [round(part, 3) for part in negative_binomial_lines(1, 2, 1e9, 0.05, 0.05)]
    [1.443, -4.248, 4.248]
    """
    _check(m0, m1, alpha, beta)
    if not k > 0:
        raise ValueError(f"k {k!r}: a dispersion is larger than 0")
    per_spore = np.log(m1 / m0) - np.log1p((m1 - m0) / (k + m0))
    per_field = k * np.log1p((m1 - m0) / (k + m0))
    return _lines(per_spore, per_field, alpha, beta)


def _lines(per_spore: float, per_field: float, alpha: float, beta: float) -> Lines:
    low, high = np.log(beta / (1.0 - alpha)), np.log((1.0 - beta) / alpha)
    return Lines(*(float(part / per_spore) for part in (per_field, low, high)))


def _check(m0: float, m1: float, alpha: float, beta: float) -> None:
    if not 0.0 < m0 < m1:
        raise ValueError(f"means {m0!r} and {m1!r}: the first is above 0 and below the second")
    if not (0.0 < alpha < 0.5 and 0.0 < beta < 0.5):
        raise ValueError(f"alpha {alpha!r}, beta {beta!r}: each lies between 0 and 0.5")
