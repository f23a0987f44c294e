"""Two groups compared within strata, such as batches of one day."""

from __future__ import annotations

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
    """Compare two groups within strata [mantel1963].

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
    from statsmodels.stats.contingency_tables import StratifiedTable

    strata = np.moveaxis(np.asarray(tables, float), 0, -1)
    full = (strata.sum(0) > 0).all(0) & (strata.sum(1) > 0).all(0)
    found = StratifiedTable(strata[..., full])
    test = found.test_null_odds(correction=corrected)
    low, high = found.oddsratio_pooled_confint(alpha=1 - level)
    return Stratified(
        float(found.oddsratio_pooled),
        Interval(float(low), float(high)),
        float(test.statistic),
        float(test.pvalue),
    )
