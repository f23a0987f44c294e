"""Two groups compared within strata, such as batches of one day."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sporecount.statistics.proportions import Interval


class Stratified(NamedTuple):
    """The test of Mantel and Haenszel.

    Attributes
    ----------
    odds_ratio : float
        Odds of the first group over those of the second, common to the strata.
    limits : Interval
        Of the odds ratio.
    chi2, p : float
        Of no difference in any stratum.
    """

    odds_ratio: float
    limits: Interval
    chi2: float
    p: float


def mantel_haenszel(
    tables: ArrayLike, *, corrected: bool = True, level: float = 0.95
) -> Stratified:
    """Compare two groups within strata [mantel1963], limits after [robins1986].

    Parameters
    ----------
    tables : array_like, shape (strata, 2, 2)
        Of each stratum: rows are groups, columns are events and the rest. Strata in which
        a row or column is empty add nothing.
    corrected : bool
        With the correction for continuity.
    level : float
        Confidence level, between 0 and 1.

    Examples
    --------
    >>> rabbits = [[[0, 0], [6, 5]], [[3, 0], [3, 6]], [[6, 2], [0, 4]], [[5, 6], [1, 0]],
    ...            [[2, 5], [0, 0]]]
    >>> round(mantel_haenszel(rabbits).odds_ratio, 3)
    7.0
    """
    from scipy.stats import chi2, norm

    (a, b), (c, d) = np.moveaxis(np.asarray(tables, float), 0, -1)
    total = a + b + c + d
    rows = (a + b) * (c + d)
    spread = rows * (a + c) * (b + d) / np.maximum(total**2 * (total - 1), 1.0)
    apart = abs(float((a - (a + b) * (a + c) / np.maximum(total, 1.0)).sum()))
    statistic = max(apart - 0.5 * corrected, 0.0) ** 2 / float(spread.sum())

    total = np.maximum(total, 1.0)
    like, unlike = a * d / total, b * c / total
    odds = float(like.sum() / unlike.sum()) if unlike.sum() else float("inf")
    p, q = (a + d) / total, (b + c) / total
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (
            (p * like).sum() / (2 * like.sum() ** 2)
            + (p * unlike + q * like).sum() / (2 * like.sum() * unlike.sum())
            + (q * unlike).sum() / (2 * unlike.sum() ** 2)
        )
    half = float(norm.isf((1 - level) / 2)) * math.sqrt(variance)
    limits = Interval(odds * math.exp(-half), odds * math.exp(half))
    return Stratified(odds, limits, statistic, float(chi2.sf(statistic, 1)))
