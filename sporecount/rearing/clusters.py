"""Proportions where the adults of a brood are alike, so that the brood is the unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.rearing.proportions import Interval, wilson

Array = NDArray[np.float64]


class Group(NamedTuple):
    """Broods that are taken together.

    Attributes
    ----------
    infected, adults : ndarray of float, shape (broods,)
        Infected adults and adults sampled of each brood; no brood without adults.
    """

    infected: Array
    adults: Array

    @property
    def total(self) -> float:
        """Adults of all broods."""
        return float(self.adults.sum())

    @property
    def share(self) -> float:
        """Infected adults among all."""
        return float(self.infected.sum() / self.adults.sum())


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


def group(infected: Sequence[float], adults: Sequence[float]) -> Group:
    """Return a group from lists."""
    return Group(np.asarray(infected, float), np.asarray(adults, float))


def design_effect(one: Group) -> float:
    """Return by how much clustering inflates the variance [raoscott1992].

    Returns
    -------
    float
        nan where there are fewer than two broods, or none or all are infected.

    Examples
    --------
    >>> round(design_effect(group([4, 0], [4, 4])), 3)
    8.0
    """
    broods, share = len(one.adults), one.share
    if broods < 2 or not 0 < share < 1:
        return float("nan")
    spread = float(((one.infected - one.adults * share) ** 2).sum())
    variance = broods / (broods - 1) * spread / one.total**2
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
        0: adults of a brood are no more alike than others; 1: all alike. nan where
        there is nothing to tell it by.
    """
    total = sum(one.total for one in groups)
    broods = sum(len(one.adults) for one in groups)
    if broods <= len(groups) or total <= broods:
        return float("nan")
    between = sum(
        float((one.adults * (one.infected / one.adults - one.share) ** 2).sum()) for one in groups
    ) / (broods - len(groups))
    within = sum(
        float((one.infected * (1 - one.infected / one.adults)).sum()) for one in groups
    ) / (total - broods)
    size = (total - sum(float((one.adults**2).sum()) / one.total for one in groups)) / (
        broods - len(groups)
    )
    below = between + (size - 1) * within
    return (between - within) / below if below > 0 else float("nan")


def rao_scott(groups: Sequence[Group], *, pooled: bool = False) -> ChiSquare:
    """Test equal proportions of clustered data [raoscott1992].

    Parameters
    ----------
    groups : sequence of Group
        Two or more, each with at least two broods.
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
    """Return limits of a proportion among broods like these.

    Wilson's limits on an effective number of adults: the number over the design
    effect. That is the larger of the group's own and the one that the likeness of
    adults gives, and at least 1; and it is corrected for being told from few
    broods, as Korn and Graubard do [korngraubard1998]. Where no likeness is known,
    the adults of a brood are taken to be all alike.

    Parameters
    ----------
    one : Group
        One brood alone has nothing of its own to tell the likeness by, and no correction.
    rho : float
        Likeness of adults of a brood (see :func:`likeness`); nan where not known.
    level : float
        Confidence level, between 0 and 1.
    """
    return wilson(*_effective(one, rho, level), level)


def _effective(one: Group, rho: float, level: float) -> tuple[float, float]:
    broods = len(one.adults)
    if float(one.adults.max()) <= 1:
        return float(one.infected.sum()), one.total

    alike = 1.0 if np.isnan(rho) else min(max(rho, 0.0), 1.0)
    by_size = 1 + (float((one.adults**2).sum()) / one.total - 1) * alike
    effect = float(np.nanmax([1.0, by_size, design_effect(one)]))
    few = _few(broods, level) if broods > 1 else 1.0
    number = min(one.total, max(one.total / effect * few, 1.0))
    return one.share * number, number


def _few(broods: int, level: float) -> float:
    from scipy.stats import norm, t

    tail = (1 - level) / 2
    return (float(norm.isf(tail)) / float(t.isf(tail, broods - 1))) ** 2


def _chi_square(shares: Array, numbers: Array) -> ChiSquare:
    share = float((shares * numbers).sum() / numbers.sum())
    chi2 = float((numbers * (shares - share) ** 2).sum() / (share * (1 - share)))
    return _with_p(chi2, len(shares) - 1)


def _with_p(chi2: float, df: int) -> ChiSquare:
    from scipy.stats import chi2 as distribution

    return ChiSquare(chi2, df, float(distribution.sf(chi2, df)))
