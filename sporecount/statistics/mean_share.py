"""Mean share of clusters, each counting the same, and what may be said of it.

The quasi-likelihood of Williams [williams1982] with Student's t: the variance of a cluster's
share is ``share (1 - share) (rho + (1 - rho) / size)``, where ``rho``, the likeness of units of
one cluster, is told from the clusters themselves. Hypotheses are tested with the shares that
agree with them (score tests), so that clusters all at 0 or all at 1 need no special care.

Functions take many trials at once: clusters lie along the last axis.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.proportions import Interval
from sporecount.statistics.restricted import shares_in_ratio, shares_that_differ_by

Array = NDArray[np.float64]

#: Taken for the likeness where nothing tells it, since no unit differs from another: the
#: highest for which the tests were measured (docs/trial-statistics.md).
LIKENESS_IF_UNKNOWN = 0.3

#: So many of the rarer kind of unit count as much as not knowing the likeness: where hardly
#: any unit differs, clusters look more alike than they are.
_UNITS_OF_DOUBT = 1.0

#: Weights of clusters while their likeness is told; near the best for 0.05 to 0.3.
_WORKING_LIKENESS = 0.1


class Clusters(NamedTuple):
    """Clusters of one arm.

    Attributes
    ----------
    events, sizes : ndarray of float, shape (..., clusters)
        Events, which need not be whole, and units of each cluster; sizes above 0.
    """

    events: Array
    sizes: Array

    @property
    def share(self) -> Array:
        """Mean of the clusters' shares, shape (...)."""
        return np.asarray((self.events / self.sizes).mean(-1))

    @property
    def number(self) -> int:
        """Number of clusters."""
        return int(self.sizes.shape[-1])


def moment_likeness(arms: Sequence[Clusters]) -> Array:
    """Return the likeness of units within clusters, told by moments.

    Unbiased variances between and within clusters as in an analysis of variance
    [donner1989], pooled over arms; large clusters weigh little more than middling ones.

    Returns
    -------
    ndarray of float, shape (...)
        May be below 0, where clusters differ less than chance would have it; nan where
        there is nothing to tell it by.
    """
    between: Array = np.asarray(0.0)
    within: Array = np.asarray(0.0)
    total: Array = np.asarray(0.0)
    for events, sizes in arms:
        weights = sizes / (1 + (sizes - 1) * _WORKING_LIKENESS)
        all_weights = weights.sum(-1)
        parts = weights / all_weights[..., None]
        share = events / sizes
        apart = share - (parts * share).sum(-1)[..., None]
        inner = (events * (1 - share)).sum(-1) / np.maximum((sizes - 1).sum(-1), 1)
        freedom = all_weights * (1 - (parts**2).sum(-1))
        by_chance = (weights * (1 - parts) / sizes).sum(-1)
        between = between + (weights * apart**2).sum(-1) - inner * by_chance
        within = within + freedom * inner
        total = total + freedom
    with np.errstate(divide="ignore", invalid="ignore"):
        found = between / (between + within)
    return np.where(between + within > 1e-12 * total, found, np.nan)


def used_likeness(arms: Sequence[Clusters]) -> Array:
    """Return the likeness that variances are worked out with, between 0 and 1.

    As told by :func:`moment_likeness`; drawn towards :data:`LIKENESS_IF_UNKNOWN` where
    events, or units without, are so few that they tell little of it.
    """
    rarer = [np.minimum(one.events.sum(-1), (one.sizes - one.events).sum(-1)) for one in arms]
    doubt = _doubt(np.sum(rarer, axis=0))
    found = moment_likeness(arms)
    known = np.where(np.isnan(found), LIKENESS_IF_UNKNOWN, np.clip(found, 0.0, 1.0))
    return np.asarray(known + doubt * np.maximum(LIKENESS_IF_UNKNOWN - known, 0.0))


def variance_factor(arm: Clusters, likeness: Array) -> Array:
    """Return the variance of the mean share over ``share (1 - share)``, shape (...)."""
    alike = np.asarray(likeness)[..., None]
    return np.asarray((alike + (1 - alike) / arm.sizes).sum(-1) / arm.number**2)


def share_interval(arm: Clusters, others: Sequence[Clusters] = (), level: float = 0.95) -> Interval:
    """Return the limits of the mean share of clusters like these.

    Wilson's limits [newcombe1998a] with the variance of clusters and Student's t.

    Parameters
    ----------
    arm : Clusters
        One trial (arrays of one axis).
    others : sequence of Clusters
        Other arms that help to tell the likeness; at least one of all arms has two
        clusters.
    level : float
        Confidence level, between 0 and 1.

    Examples
    --------
    >>> alike = Clusters(np.array([30.0, 30, 30]), np.array([100.0, 100, 100]))
    >>> [round(limit, 3) for limit in share_interval(alike)]
    [0.19, 0.439]
    """
    low, high = share_limits(arm, others, level)
    return Interval(float(low), float(high))


def share_limits(
    arm: Clusters, others: Sequence[Clusters] = (), level: float = 0.95
) -> tuple[Array, Array]:
    """Return the limits of :func:`share_interval` for many trials at once, shape (...)."""
    from scipy.stats import t

    arms = [arm, *others]
    share = arm.share
    own = np.nan_to_num(moment_likeness([arm]), nan=0.0)
    likeness = np.clip(np.maximum(own, used_likeness(arms)), 0.0, 1.0)
    freedom = _freedom(arms, [one.share * (1 - one.share) for one in arms])
    spread = variance_factor(arm, likeness) * t.isf((1 - level) / 2, freedom) ** 2
    middle = (share + spread / 2) / (1 + spread)
    half = np.sqrt(spread * (share * (1 - share) + spread / 4)) / (1 + spread)
    low = np.where(share <= 0, 0.0, np.maximum(middle - half, 0.0))
    high = np.where(share >= 1, 1.0, np.minimum(middle + half, 1.0))
    return low, high


def p_of_difference(arm: Clusters, other: Clusters, difference: Array | float = 0.0) -> Array:
    """Test whether the mean share of one arm exceeds that of the other by so much.

    Parameters
    ----------
    arm, other : Clusters
        Each of shape (..., clusters).
    difference : float or ndarray
        Supposed difference, ``arm`` less ``other``, between -1 and 1.

    Returns
    -------
    ndarray of float
        Two-sided p; its shape is that of the trials, or that of ``difference``.
    """
    given = np.asarray(difference, float)
    factors = _factors(arm, other)
    one, two = shares_that_differ_by(given, arm.share, other.share, *(1 / c for c in factors))
    return _p(arm, other, arm.share - other.share - given, (one, two), factors, np.asarray(1.0))


def p_of_ratio(arm: Clusters, other: Clusters, ratio: Array | float = 1.0) -> Array:
    """Test whether the mean share of one arm is so many times that of the other.

    Parameters and result are as in :func:`p_of_difference`.
    """
    given = np.asarray(ratio, float)
    factors = _factors(arm, other)
    one, two = shares_in_ratio(given, arm.share, other.share, *(1 / c for c in factors))
    return _p(arm, other, arm.share - given * other.share, (one, two), factors, given)


def difference_interval(arm: Clusters, other: Clusters, level: float = 0.95) -> Interval:
    """Return the differences that :func:`p_of_difference` does not refuse.

    Examples
    --------
    >>> arm = Clusters(np.array([30.0, 40, 35]), np.array([50.0, 50, 50]))
    >>> other = Clusters(np.array([2.0, 1, 3]), np.array([50.0, 50, 50]))
    >>> [round(limit, 2) for limit in difference_interval(arm, other)]
    [0.44, 0.83]
    """
    seen = float(arm.share - other.share)
    return not_refused(lambda d: p_of_difference(arm, other, d), seen, (-1.0, 1.0), level)


def ratio_interval(arm: Clusters, other: Clusters, level: float = 0.95) -> Interval:
    """Return the ratios that :func:`p_of_ratio` does not refuse; the other share is above 0."""
    seen = float(arm.share / other.share)

    def p(part: Array) -> Array:
        with np.errstate(divide="ignore"):
            return p_of_ratio(arm, other, np.minimum(part / (1 - part), 1e9))

    # Ratios from 0 to infinity, as their part of one and themselves.
    low, high = not_refused(p, seen / (1 + seen), (0.0, 1.0), level)
    return Interval(low / (1 - low), high / (1 - high) if high < 1 else float("inf"))


def not_refused(
    p: Callable[[Array], Array], seen: float, ends: tuple[float, float], level: float
) -> Interval:
    """Return the range of values around the one seen that a test does not refuse.

    Parameters
    ----------
    p : callable
        Two-sided p of an array of values.
    seen : float
        Value that the test cannot refuse.
    ends : tuple of float
        Smallest and largest value there is.
    level : float
        Confidence level, between 0 and 1.
    """
    limits = [_limit(p, seen, end, 1 - level) for end in ends]
    return Interval(limits[0], limits[1])


def _limit(p: Callable[[Array], Array], seen: float, end: float, alpha: float) -> float:
    """Return where p first falls to alpha on the way from the value seen to an end."""
    near, far = seen, end
    for steps in (65, 65, 65, 65, 65):
        values = np.linspace(near, far, steps)
        refused = np.flatnonzero(p(values[1:]) < alpha)
        if not refused.size:
            return far
        near, far = float(values[refused[0]]), float(values[refused[0] + 1])
    return (near + far) / 2


def _factors(arm: Clusters, other: Clusters) -> tuple[Array, Array]:
    likeness = used_likeness([arm, other])
    return variance_factor(arm, likeness), variance_factor(other, likeness)


def _p(
    arm: Clusters,
    other: Clusters,
    apart: Array,
    shares: tuple[Array, Array],
    factors: tuple[Array, Array],
    ratio: Array,
) -> Array:
    """Return the p of Student's t."""
    from scipy.stats import t

    spreads = [share * (1 - share) for share in shares]
    variance = spreads[0] * factors[0] + ratio**2 * spreads[1] * factors[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        value = np.abs(apart) / np.sqrt(variance)
    value = np.where(variance > 0, value, np.where(np.abs(apart) < 1e-9, 0.0, np.inf))
    return np.asarray(2 * t.sf(value, _freedom([arm, other], spreads)))


def _freedom(arms: Sequence[Clusters], spreads: Sequence[Array]) -> Array:
    """Return the degrees of freedom that the likeness is told with, after Satterthwaite.

    An arm whose share lies near 0 or 1 varies little and tells little of the likeness. And
    where hardly any unit differs, the likeness is assumed rather than told.
    """
    free = [one.number - 1 for one in arms]
    weighted = sum((f * s for f, s in zip(free, spreads)), np.asarray(0.0))
    squared = sum((f * s**2 for f, s in zip(free, spreads)), np.asarray(0.0))
    events = np.sum([one.events.sum(-1) for one in arms], axis=0)
    rarer = np.minimum(events, np.sum([one.sizes.sum(-1) for one in arms], axis=0) - events)
    with np.errstate(divide="ignore", invalid="ignore"):
        told = np.where(squared > 0, weighted**2 / squared, float(sum(free)))
        return np.minimum(told / (1 - _doubt(rarer)) ** 2, 1e6)


def _doubt(rarer: Array) -> Array:
    return np.asarray(_UNITS_OF_DOUBT / (_UNITS_OF_DOUBT + rarer))
