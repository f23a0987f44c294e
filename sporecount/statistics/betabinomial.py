"""The beta-binomial likelihood: clusters whose units are alike, by a law of their shares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.clusters import Group

#: Likeness below which the law is as good as binomial, and its largest value.
_LEAST, _MOST = 1e-8, 1 - 1e-6


class BetaBinomial(NamedTuple):
    """A fit of groups that may share a parameter.

    Attributes
    ----------
    shares, likeness : tuple of float
        Of each group, alike where they were fitted in common.
    log_likelihood : float
        Of all groups together.
    parameters : int
        How many were fitted.
    """

    shares: tuple[float, ...]
    likeness: tuple[float, ...]
    log_likelihood: float
    parameters: int


class LikelihoodRatio(NamedTuple):
    """A test of a fit against a freer one: twice the gain, degrees of freedom, p."""

    statistic: float
    df: int
    p: float


def log_likelihood(one: Group, share: float, likeness: float) -> float:
    """Return the log likelihood of a group of whole counts.

    Parameters
    ----------
    one : Group
        Events and sizes, both whole.
    share, likeness : float
        Mean share and intracluster correlation, each between 0 and 1.
    """
    from scipy.stats import betabinom

    strength = 1 / likeness - 1
    terms = betabinom.logpmf(one.events, one.sizes, share * strength, (1 - share) * strength)
    return float(np.sum(terms))


def fit_beta_binomial(
    groups: Sequence[Group], *, common_share: bool = False, common_likeness: bool = False
) -> BetaBinomial:
    """Fit shares and likeness by maximum likelihood [williams1975].

    Parameters
    ----------
    groups : sequence of Group
        Whole events and sizes.
    common_share, common_likeness : bool
        Whether the groups have one share, one likeness.

    Examples
    --------
    >>> from sporecount.statistics.clusters import group
    >>> fit = fit_beta_binomial([group([5, 5, 5, 5], [10, 10, 10, 10])])
    >>> round(fit.shares[0], 3), round(fit.likeness[0], 3)
    (0.5, 0.0)
    """
    from scipy.optimize import minimize
    from scipy.special import expit, logit

    shares = 1 if common_share else len(groups)
    alike = 1 if common_likeness else len(groups)

    def parted(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        natural = np.clip(expit(values), _LEAST, _MOST)
        some, rest = natural[:shares], natural[shares:]
        return np.resize(some, len(groups)), np.resize(rest, len(groups))

    def loss(values: NDArray[np.float64]) -> float:
        return -sum(log_likelihood(one, *both) for one, *both in zip(groups, *parted(values)))

    pooled = sum(one.share * one.total for one in groups) / sum(one.total for one in groups)
    first = [pooled] if common_share else [one.share for one in groups]
    starts = [logit(np.clip([*first, *[rho] * alike], 0.005, 0.995)) for rho in (0.01, 0.1, 0.4)]
    bounds = [(-18.0, 18.0)] * (shares + alike)
    found = [minimize(loss, start, method="L-BFGS-B", bounds=bounds) for start in starts]
    best = min(found, key=lambda one: float(one.fun))
    some, rest = parted(np.asarray(best.x))
    return BetaBinomial(
        tuple(map(float, some)), tuple(map(float, rest)), -float(best.fun), shares + alike
    )


def likelihood_ratio(narrow: BetaBinomial, free: BetaBinomial) -> LikelihoodRatio:
    """Test a fit with parameters in common against the freer fit of the same groups.

    With few clusters it finds differences too often (docs/trial-statistics.md).
    """
    from scipy.stats import chi2

    statistic = max(0.0, 2 * (free.log_likelihood - narrow.log_likelihood))
    df = free.parameters - narrow.parameters
    return LikelihoodRatio(statistic, df, float(chi2.sf(statistic, df)))
