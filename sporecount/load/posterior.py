"""What is known of the number of spores on the whole tape after the fields were seen.

Prior: no spores with the chance ``1 - prevalence``; otherwise T spores, 1 <= T <= most,
with chances in proportion to 1 / T. Given the share found q, the D real spores found are
binomial. So T - D is negative binomial, mixed over q and, where detections may be false,
over D. Sums over T are incomplete beta functions; no simulation is involved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import DetectorRates
from sporecount.load.fields import Seen
from sporecount.load.share import clumping, places, shares
from sporecount.load.true_counts import log_spread, true_counts
from sporecount.settings import LoadSettings

#: Most numbers of real spores that are told apart; neighbours are put together.
_MOST_CASES = 14

#: Cases and shares below this weight are left out.
_NEGLIGIBLE, _LEAST = 1e-6, 1e-30

#: Up to here sums of z^T / T are added up one by one; beyond, an integral does it.
_ADDED = 40


@dataclass(frozen=True)
class Posterior:
    """Chances of the number of spores on the whole tape.

    Attributes
    ----------
    real : ndarray, shape (cases,)
        Possible numbers of real spores among the detections.
    q : ndarray, shape (nodes,)
        Possible shares found.
    weights : ndarray, shape (cases, nodes)
        Chances of both together, after what was seen; they sum to 1.
    prior_q : ndarray, shape (nodes,)
        Chances of the shares before the prior over spores had its say.
    empty : float
        Chance that the tape holds no spore at all.
    most : int
        Most spores thought possible.
    clumping_k : float
        Typical (geometric mean) dispersion k, after what was seen.
    """

    real: NDArray[np.int64]
    q: NDArray[np.float64]
    weights: NDArray[np.float64]
    prior_q: NDArray[np.float64]
    empty: float
    most: int
    clumping_k: float

    def chance_up_to(self, spores: int) -> float:
        """Return the chance that the tape holds at most so many spores."""
        if spores >= self.most:
            return 1.0
        chance = self.empty if spores >= 0 else 0.0
        some = self.real > 0
        chance += float((self.weights[some] * self._below(spores, some, extra=0)).sum())
        if (~some).any() and spores >= 1:
            part = _log_sum(self.q, spores) / _log_sum(self.q, self.most)
            left = 1.0 - self.empty - float(self.weights[some].sum())
            weight = self.weights[~some].sum(axis=0) * _log_sum(self.q, self.most)
            chance += left * float((weight * part).sum() / weight.sum())
        return min(chance, 1.0)

    def low(self, tail: float) -> int:
        """Return a lower limit: fewer spores have at most the chance ``tail``."""
        some = self.real > 0
        if float(self.weights[~some].sum()) > tail or not some.any():
            return 0
        inside = self.weights[some]
        zero = float(self.weights[~some].sum())

        def below(spores: float) -> float:
            return zero + float((inside * self._below(spores, some, extra=0)).sum())

        return _first(below, tail, int(self.real[some].min()), self.most)

    def high(self, tail: float) -> int:
        """Return an upper limit: more spores have at most the chance ``tail``.

        Here each number of spores counts as equally likely beforehand, given the share
        found. So a prior belief in clean tapes cannot pull the limit down, and for evenly
        strewn spores and a small share it is the exact Poisson limit [garwood1936].
        """
        every = np.ones(len(self.real), dtype=bool)
        weights = np.outer(self.weights.sum(axis=1), self.prior_q)

        def below(spores: float) -> float:
            return float((weights * self._below(spores, every, extra=1)).sum())

        return _first(below, 1.0 - tail, int(self.real.min()), self.most)

    def _below(self, spores: float, rows: NDArray[np.bool_], extra: int) -> NDArray[np.float64]:
        """Return the chance of at most so many spores for each case and share."""
        from scipy.special import betainc

        real, q = self.real[rows][:, None], self.q[None, :]
        missed = spores - real
        part = np.where(missed <= -1, 0.0, betainc(real + extra, np.maximum(missed, -1) + 1.0, q))
        whole = betainc(real + extra, np.maximum(self.most - real, 0) + 1.0, q)
        return np.minimum(part / np.maximum(whole, 1e-300), 1.0)


def posterior(seen: Seen, rates: DetectorRates, settings: LoadSettings) -> Posterior:
    """Work out what is known of the whole tape's spores.

    Parameters
    ----------
    seen : Seen
        What was seen.
    rates : DetectorRates
        The detector's mistakes. Recall and rate of false detections are those of one
        tape: they vary between tapes, not between the photos of one.
    settings : LoadSettings
        Priors.
    """
    dispersion = clumping(settings)
    here = places(seen, settings.patch_mm2)
    found = shares(seen, rates, dispersion.k, settings.patch_mm2)
    logs = np.log(dispersion.chances) + log_spread(seen, dispersion.k, here.seen)
    by_k = np.exp(logs - logs.max())
    by_k /= by_k.sum()
    real, weights, prior_is_in = true_counts(seen, rates)
    by_real = np.exp(weights - weights.max())
    real, by_real = _fewer(real, by_real / by_real.sum())
    by_share = by_k @ found.chances
    joint, empty = _weigh_prior(real, found.q, np.outer(by_real, by_share), settings, prior_is_in)
    typical = float(np.exp(by_k @ np.log(dispersion.k)))
    return Posterior(real, found.q, joint, by_share, empty, settings.most_spores, typical)


def _fewer(
    real: NDArray[np.int64], chances: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Leave out negligible cases, and put neighbours together where there are many.

    None real is kept as a case of its own, as its prior is.
    """
    kept = (chances > _NEGLIGIBLE) | ((real == 0) & (chances > _LEAST))
    real, chances = real[kept], chances[kept]
    if len(real) <= _MOST_CASES:
        return real, chances
    steps = np.cumsum(chances) / chances.sum()
    bins = np.minimum((steps * (_MOST_CASES - 2)).astype(np.int64), _MOST_CASES - 3) + 1
    bins[real == 0] = 0
    _, bins = np.unique(bins, return_inverse=True)
    together = np.bincount(bins, weights=chances).astype(float)
    mean = np.bincount(bins, weights=chances * real) / together
    return mean.round().astype(np.int64), together


def _weigh_prior(
    real: NDArray[np.int64],
    q: NDArray[np.float64],
    weights: NDArray[np.float64],
    settings: LoadSettings,
    prior_is_in: bool,
) -> tuple[NDArray[np.float64], float]:
    """Return the weights with the prior over spores in them, and the chance of none."""
    from scipy.special import betainc, digamma

    most = settings.most_spores
    harmonic = float(digamma(most + 1.0) + np.euler_gamma)  # 1 + 1/2 + ... + 1/most
    per_log = settings.prevalence / harmonic
    none = 1.0 - settings.prevalence
    over = real[:, None] > 0
    least = np.maximum(real, 1)[:, None]
    room = betainc(least, np.maximum(most - least, 0) + 1.0, q)
    factor = np.where(over, per_log * room, none + per_log * _log_sum(q, most))
    if prior_is_in:
        factor = factor / ((weights * factor).sum(axis=1) / weights.sum(axis=1))[:, None]
    result = weights * factor
    zero = result[real == 0]
    empty = 0.0
    if zero.size:
        empty = float((zero * none / (none + per_log * _log_sum(q, most))).sum())
    total = float(result.sum())
    return result / total, empty / total


def _log_sum(q: NDArray[np.float64], last: int) -> NDArray[np.float64]:
    """Return the sum of (1 - q)^T / T for T from 1 to ``last``."""
    from scipy.special import exp1

    rate = -np.log1p(-q)
    first = np.arange(1, min(last, _ADDED) + 1)
    result = (np.exp(-np.outer(rate, first)) / first).sum(axis=1)
    if last > _ADDED:
        result += exp1(rate * (_ADDED + 0.5)) - exp1(rate * (last + 0.5))
    return result


def _first(below: Callable[[float], float], wanted: float, start: int, most: int) -> int:
    """Return the first number of spores up to which the chance is at least ``wanted``."""
    from scipy.optimize import brentq

    if below(start) >= wanted:
        return start
    if below(most) <= wanted:
        return most
    # In logarithms, as the answer can be anywhere from a few spores to a million.
    ends = np.log(start + 0.5), np.log(most + 0.5)
    solved = brentq(lambda place: below(np.exp(place) - 0.5) - wanted, *ends, xtol=1e-6, rtol=1e-6)
    return min(max(int(np.ceil(np.exp(solved) - 0.5 - 1e-4)), start), most)
