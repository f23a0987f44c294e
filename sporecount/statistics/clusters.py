"""Proportions where the units of a cluster are alike, so that the cluster is what counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.proportions import Interval, wilson

Array = NDArray[np.float64]


class Group(NamedTuple):
    """Clusters that are taken together.

    Attributes
    ----------
    events, sizes : ndarray of float, shape (clusters,)
        Events and units of each cluster; no cluster without units.
    """

    events: Array
    sizes: Array

    @property
    def total(self) -> float:
        """Units of all clusters."""
        return float(self.sizes.sum())

    @property
    def share(self) -> float:
        """Events among all units."""
        return float(self.events.sum() / self.sizes.sum())


class ChiSquare(NamedTuple):
    """A chi-square test of equal proportions.

    Attributes
    ----------
    chi2 : float
        Statistic.
    df : int
        Degrees of freedom: groups less one.
    p : float
        Chance of such a statistic or a larger one if the proportions were equal.
    """

    chi2: float
    df: int
    p: float


def group(events: Sequence[float], sizes: Sequence[float]) -> Group:
    """Return a group from lists."""
    return Group(np.asarray(events, float), np.asarray(sizes, float))


def design_effect(one: Group) -> float:
    """Return by how much clustering inflates the variance [raoscott1992].

    Returns
    -------
    float
        nan where there are fewer than two clusters, or none or all units are events.

    Examples
    --------
    >>> round(design_effect(group([4, 0], [4, 4])), 3)
    8.0
    """
    clusters, share = len(one.sizes), one.share
    if clusters < 2 or not 0 < share < 1:
        return float("nan")
    spread = float(((one.events - one.sizes * share) ** 2).sum())
    variance = clusters / (clusters - 1) * spread / one.total**2
    return variance / (share * (1 - share) / one.total)


def likeness(groups: Sequence[Group]) -> float:
    """Return the intracluster correlation by analysis of variance [donner1989].

    Parameters
    ----------
    groups : sequence of Group
        Groups that may differ in their proportions; the correlation is within them.

    Returns
    -------
    float
        0: units of a cluster are no more alike than others; 1: all alike. nan where
        there is nothing to tell it by.
    """
    total = sum(one.total for one in groups)
    clusters = sum(len(one.sizes) for one in groups)
    if clusters <= len(groups) or total <= clusters:
        return float("nan")
    between = sum(
        float((one.sizes * (one.events / one.sizes - one.share) ** 2).sum()) for one in groups
    ) / (clusters - len(groups))
    within = sum(float((one.events * (1 - one.events / one.sizes)).sum()) for one in groups) / (
        total - clusters
    )
    size = (total - sum(float((one.sizes**2).sum()) / one.total for one in groups)) / (
        clusters - len(groups)
    )
    below = between + (size - 1) * within
    return (between - within) / below if below > 0 else float("nan")


def rao_scott(groups: Sequence[Group], *, pooled: bool = False) -> ChiSquare:
    """Test equal proportions of clustered data [raoscott1992].

    Parameters
    ----------
    groups : sequence of Group
        Two or more, each with at least two clusters.
    pooled : bool
        One design effect for all groups, weighted as Rao and Scott do, not one for each.

    Returns
    -------
    ChiSquare
    """
    effects = np.array([design_effect(one) for one in groups])
    totals = np.array([one.total for one in groups])
    shares = np.array([one.share for one in groups])
    if pooled:
        share = float((totals * shares).sum() / totals.sum())
        weights = (1 - totals / totals.sum()) * shares * (1 - shares) / (share * (1 - share))
        effects = np.full(len(groups), (weights * effects).sum() / (len(groups) - 1))
    return _chi_square(shares, totals / effects)


def donner(groups: Sequence[Group]) -> ChiSquare:
    """Test equal proportions by one intracluster correlation of all groups [donner1989]."""
    rho = likeness(groups)
    totals = np.array([one.total for one in groups])
    shares = np.array([one.share for one in groups])
    effects = np.array([float((n * (1 + (n - 1) * rho)).sum() / n.sum()) for _, n in groups])
    share = float((totals * shares).sum() / totals.sum())
    chi2 = float((totals * (shares - share) ** 2 / (effects * share * (1 - share))).sum())
    return _with_p(chi2, len(groups) - 1)


def clustered_interval(one: Group, rho: float, level: float = 0.95) -> Interval:
    """Return limits of a proportion among clusters like these.

    Wilson's limits on an effective number of units: the number over the design
    effect. That is the larger of the group's own and the one that the likeness of
    units gives, and at least 1; and it is corrected for being told from few
    clusters, as Korn and Graubard do [korngraubard1998]. Where no likeness is known,
    the units of a cluster are taken to be all alike.

    Parameters
    ----------
    one : Group
        One cluster alone has nothing of its own to tell the likeness by, and no correction.
    rho : float
        Likeness of units of a cluster (see :func:`likeness`); nan where not known.
    level : float
        Confidence level, between 0 and 1.
    """
    return wilson(*_effective(one, rho, level), level)


def _effective(one: Group, rho: float, level: float) -> tuple[float, float]:
    clusters = len(one.sizes)
    if float(one.sizes.max()) <= 1:
        return float(one.events.sum()), one.total

    alike = 1.0 if np.isnan(rho) else min(max(rho, 0.0), 1.0)
    by_size = 1 + (float((one.sizes**2).sum()) / one.total - 1) * alike
    effect = float(np.nanmax([1.0, by_size, design_effect(one)]))
    few = _few(clusters, level) if clusters > 1 else 1.0
    number = min(one.total, max(one.total / effect * few, 1.0))
    return one.share * number, number


def _few(clusters: int, level: float) -> float:
    from scipy.stats import norm, t

    tail = (1 - level) / 2
    return (float(norm.isf(tail)) / float(t.isf(tail, clusters - 1))) ** 2


def _chi_square(shares: Array, numbers: Array) -> ChiSquare:
    share = float((shares * numbers).sum() / numbers.sum())
    chi2 = float((numbers * (shares - share) ** 2).sum() / (share * (1 - share)))
    return _with_p(chi2, len(shares) - 1)


def _with_p(chi2: float, df: int) -> ChiSquare:
    from scipy.stats import chi2 as distribution

    return ChiSquare(chi2, df, float(distribution.sf(chi2, df)))
