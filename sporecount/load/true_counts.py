"""How many of the detections are real, and what the fields say about clumping.

For each number of real spores D among the detections, three things are weighed: how likely
the detector makes the rest up; the prior, by which D spores found are as likely as 1 / D
whatever share was found; and, for each dispersion k, how likely the detections fall into
the places as they did (Dirichlet-multinomial: negative binomial counts of a given sum).
False detections are taken to clump like real ones, as litter does; so how they lie says
nothing about which is which.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import DetectorRates
from sporecount.load.fields import Seen


class TrueCounts(NamedTuple):
    """Logarithms of the weights of D real spores among the detections, up to a constant.

    Where ``prior_is_in``, they are final. Otherwise the prior of D is in them as 1 / D,
    and that of D = 0 as 1: the caller knows how likely a tape without spores is.
    """

    real: NDArray[np.int64]
    log_weights: NDArray[np.float64]
    prior_is_in: bool = False


def true_counts(seen: Seen, rates: DetectorRates) -> TrueCounts:
    """Weigh the numbers of real spores among the detections.

    Examples
    --------
    >>> table = Seen(100.0, np.array([2.0]), np.array([2]), 1)
    >>> counted = true_counts(table, DetectorRates(0.9, 0.0, false_per_mm2=0.5))
    >>> counted.real.tolist(), np.exp(counted.log_weights).round(3).tolist()
    ([0, 1, 2], [0.184, 0.368, 0.184])
    """
    if seen.confidences is not None and rates.confidence_is_calibrated:
        return _from_confidences(np.concatenate([*seen.confidences, np.empty(0)]))
    if rates.false_per_mm2 == 0.0:
        return TrueCounts(np.array([seen.total]), np.zeros(1))
    real = np.arange(seen.total + 1)
    law = log_false_law(seen.total - real, seen.examined_mm2, rates)
    return TrueCounts(real, law - np.log(np.maximum(real, 1)))


def log_false_law(cases: NDArray, area_mm2: float, rates: DetectorRates) -> NDArray[np.float64]:
    """Return ln of the chance of so many false detections on an area.

    Poisson on one tape; its mean varies between tapes as a gamma law.

    Examples
    --------
    >>> rates = DetectorRates(0.9, 0.0, false_per_mm2=0.5)
    >>> np.exp(log_false_law(np.array([0, 1]), 2.0, rates)).round(4).tolist()
    [0.3679, 0.3679]
    """
    from scipy.special import gammaln

    mean = rates.false_per_mm2 * area_mm2
    spread = rates.false_per_mm2_sd / rates.false_per_mm2
    if spread < 1e-3:
        return cases * np.log(mean) - mean - gammaln(cases + 1.0)
    shape = spread**-2.0
    ways = gammaln(cases + shape) - gammaln(shape) - gammaln(cases + 1.0)
    return ways + shape * np.log(shape / (shape + mean)) + cases * np.log(mean / (shape + mean))


def log_spread(seen: Seen, k: NDArray[np.float64], places_seen: float) -> NDArray[np.float64]:
    """Return ln of the chance that the detections fall into the places as they did, for each k.

    Examples
    --------
    >>> even = Seen(100.0, np.array([1.0, 1.0]), np.array([6, 6]), 2)
    >>> uneven = Seen(100.0, np.array([1.0, 1.0]), np.array([12, 0]), 2)
    >>> [int(log_spread(table, np.array([0.3, 20.0]), 2.0).argmax()) for table in (even, uneven)]
    [1, 0]
    """
    from scipy.special import gammaln

    counts, total = seen.spores, seen.total
    shapes = np.outer(k * places_seen, seen.areas_mm2 / seen.areas_mm2.sum())
    whole = shapes.sum(axis=1)
    own = gammaln(shapes + counts) - gammaln(shapes) - gammaln(counts + 1.0)
    together = gammaln(total + 1.0) + gammaln(whole) - gammaln(whole + total)
    return own.sum(axis=1) + together


def _from_confidences(confidences: NDArray[np.float64]) -> TrueCounts:
    """Weigh by each detection's own chance to be a spore."""
    chances = np.ones(1)
    for chance in confidences:
        chances = np.convolve(chances, [1.0 - chance, chance])
    real = np.flatnonzero(chances > 1e-9 * chances.max())
    return TrueCounts(real, np.log(chances[real]), prior_is_in=True)
