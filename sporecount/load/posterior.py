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
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.load.fields import Seen
from sporecount.load.share import clumping, places, shares
from sporecount.load.true_counts import log_spread, true_counts
from sporecount.settings import LoadSettings

#: Most numbers of real spores that are told apart; neighbours are put together.
_MOST_CASES = 14

#: Cases and shares below this weight are left out.
_NEGLIGIBLE, _LEAST = 1e-6, 1e-30

#: Up to here the upper limit takes each number of spores for equally likely: the heaviest
#: class starts there, and no decision hangs on more.
_EVEN_UP_TO = LOAD_CLASS_LOWER_BOUNDS[-1]

#: The most spores thought possible are never fewer than this many times those found, by
#: the share looked at: what was seen goes before what was thought.
_TIMES_SEEN = 10.0

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
        chance += float((self.weights[some] * self._below(spores, some)).sum())
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
            return zero + float((inside * self._below(spores, some)).sum())

        return _first(below, tail, int(self.real[some].min()), self.most)

    def high(self, tail: float) -> int:
        """Return an upper limit: more spores have at most the chance ``tail``.

        Here each number of spores counts as equally likely beforehand, given the share
        found, up to where the heaviest class starts. So a prior belief in clean tapes
        cannot pull the limit down, and for evenly strewn spores and a small share it is
        the exact Poisson limit [garwood1936]. Beyond, each power of ten is as likely as
        the next: a place that happened to be empty must not let the most that is thought
        possible make the limit.
        """
        weights = self._shares_left()
        ends = self._even_law(_EVEN_UP_TO), self._log_law(_EVEN_UP_TO)
        whole = ends[0] + _EVEN_UP_TO * (self._log_law(self.most) - ends[1])
        whole = np.maximum(whole, 1e-300)

        def below(spores: float) -> float:
            part = self._even_law(min(spores, _EVEN_UP_TO))
            if spores > _EVEN_UP_TO:
                part = part + _EVEN_UP_TO * (self._log_law(spores) - ends[1])
            return float((weights * np.minimum(part / whole, 1.0)).sum())

        return _first(below, 1.0 - tail, int(self.real.min()), self.most)

    def _shares_left(self) -> NDArray[np.float64]:
        """Return chances of cases and shares without those that ask for too many spores."""
        from scipy.special import betainc

        real = np.maximum(self.real, 1)[:, None]
        room = betainc(real, np.maximum(self.most - real, 0) + 1.0, self.q[None, :])
        chances = self.prior_q * np.where(self.real[:, None] > 0, room, 1.0)
        chances /= np.maximum(chances.sum(axis=1, keepdims=True), 1e-300)
        return chances * self.weights.sum(axis=1)[:, None]

    def _even_law(self, spores: float) -> NDArray[np.float64]:
        """Return the likelihood summed up to so many spores, for each case and share."""
        from scipy.special import betainc

        real, q = self.real[:, None], self.q[None, :]
        missed = spores - real
        law = betainc(real + 1.0, np.maximum(missed, -1) + 1.0 + (missed <= -1), q) / q
        return np.where(missed <= -1, 0.0, law)

    def _log_law(self, spores: float) -> NDArray[np.float64]:
        """Return the same with each number of spores weighed by its inverse; 0 left out."""
        from scipy.special import betainc

        real, q = np.maximum(self.real, 1)[:, None], self.q[None, :]
        missed = spores - real
        law = betainc(real, np.maximum(missed, 0) + 1.0, q) / real
        none = np.broadcast_to(_log_sum(self.q, int(spores)), law.shape)
        return np.where(self.real[:, None] == 0, none, np.where(missed < 0, 0.0, law))

    def _below(self, spores: float, rows: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Return the chance of at most so many spores for each case and share."""
        from scipy.special import betainc

        real, q = self.real[rows][:, None], self.q[None, :]
        missed = spores - real
        part = np.where(missed <= -1, 0.0, betainc(real, np.maximum(missed, -1) + 1.0, q))
        whole = betainc(real, np.maximum(self.most - real, 0) + 1.0, q)
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
    most = max(settings.most_spores, int(np.ceil(_TIMES_SEEN * seen.total / seen.share)))
    here = places(seen, settings.patch_mm2)
    found = shares(seen, rates, dispersion.k, settings.patch_mm2)
    logs = np.log(dispersion.chances) + log_spread(seen, dispersion.k, here.seen)
    by_k = np.exp(logs - logs.max())
    by_k /= by_k.sum()
    real, weights = true_counts(seen, rates)
    by_real = np.exp(weights - weights.max())
    real, by_real = _fewer(real, by_real / by_real.sum())
    by_share = by_k @ found.chances
    joint, empty = _weigh_prior(
        real, found.q, np.outer(by_real, by_share), settings.prevalence, most
    )
    typical = float(np.exp(by_k @ np.log(dispersion.k)))
    return Posterior(real, found.q, joint, by_share, empty, most, typical)


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
    prevalence: float,
    most: int,
) -> tuple[NDArray[np.float64], float]:
    """Return the weights with the prior over spores in them, and the chance of none."""
    from scipy.special import betainc, digamma

    harmonic = float(digamma(most + 1.0) + np.euler_gamma)  # 1 + 1/2 + ... + 1/most
    per_log = prevalence / harmonic
    none = 1.0 - prevalence
    over = real[:, None] > 0
    least = np.maximum(real, 1)[:, None]
    room = betainc(least, np.maximum(most - least, 0) + 1.0, q)
    factor = np.where(over, per_log * room, none + per_log * _log_sum(q, most))
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
