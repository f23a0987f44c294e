"""How many of the detections are real, and what the fields say about clumping.

For each number of real spores D among the detections, four things are weighed: how likely
the detector makes the rest up; how much like spores the detections look (where there are
many, how many are false by their confidences); the prior, by which D spores found are as
likely as 1 / D whatever share was found; and, for each dispersion k, how likely the
detections fall into the places as they did (Dirichlet-multinomial: negative binomial
counts of a given sum).
False detections are taken to clump like real ones, as litter does; so how they lie says
nothing about which is which.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import (
    BELIEVED,
    DENSE_PER_MM2,
    ConfidenceLaw,
    DetectorRates,
    believed_odds,
)
from sporecount.load.fields import Seen

#: Steps in which the error that all confidences have in common is gone through, in its
#: standard deviations.
_STEPS = np.linspace(-2.0, 2.0, 9)

#: Up to so many detections are gone through one by one; points of the curve for more.
_ONE_BY_ONE, _TILTS = 150, 400


class TrueCounts(NamedTuple):
    """Logarithms of the weights of D real spores among the detections, up to a constant.

    The prior of D is in them as 1 / D, and that of D = 0 as 1: the caller knows how likely
    a tape without spores is.
    """

    real: NDArray[np.int64]
    log_weights: NDArray[np.float64]


def true_counts(seen: Seen, rates: DetectorRates) -> TrueCounts:
    """Weigh the numbers of real spores among the detections.

    Examples
    --------
    >>> table = Seen(100.0, np.array([2.0]), np.array([2]), 1)
    >>> counted = true_counts(table, DetectorRates(0.9, 0.0, false_per_mm2=0.5))
    >>> counted.real.tolist(), np.exp(counted.log_weights).round(3).tolist()
    ([0, 1, 2], [0.184, 0.368, 0.184])
    """
    if rates.false_per_mm2 == 0.0:
        return TrueCounts(np.array([seen.total]), np.zeros(1))
    real = np.arange(seen.total + 1)
    false, prior = seen.total - real, -np.log(np.maximum(real, 1))
    looked = seen.confidences is not None and rates.confidence_is_calibrated
    confidences = np.concatenate([*(seen.confidences or ()), np.empty(0)])
    if looked and seen.total > DENSE_PER_MM2 * seen.examined_mm2:
        by_confidence = log_false_by_confidence(false, confidences, rates.confidence_law)
        return TrueCounts(real, prior + by_confidence)
    logs = prior + log_false_law(false, seen.examined_mm2, rates)
    if looked:
        law = rates.confidence_law
        odds = np.concatenate([law.by_itself(own) for own in seen.confidences or ()] or [logs[:0]])
        logs = _with_looks(logs, odds, law)
    return TrueCounts(real, logs)


def log_false_by_confidence(
    cases: NDArray, confidences: NDArray[np.float64], law: ConfidenceLaw
) -> NDArray[np.float64]:
    """Return ln of the chance of so many false detections where there are many.

    As many as the confidences say, times a factor that all detections of the tape have in
    common and that varies between tapes as a gamma law.

    Examples
    --------
    >>> law = ConfidenceLaw(dense_false=1.0, dense_shape=1.0)
    >>> one = np.array([0.9, 0.8, 0.7, 0.6])  # one false among them, on average
    >>> np.exp(log_false_by_confidence(np.arange(3), one, law)).round(3).tolist()
    [0.5, 0.25, 0.125]
    """
    mean = law.dense_false * float((1.0 - np.clip(confidences, *BELIEVED)).sum())
    return log_gamma_poisson(cases, mean, law.dense_shape)


def _with_looks(
    logs: NDArray[np.float64], odds: NDArray[np.float64], known: ConfidenceLaw
) -> NDArray[np.float64]:
    """Weigh by how the detections look, when all of a tape's may be too sure or too doubtful.

    The more detections there are, the more such a common error matters.
    """
    from scipy.special import logsumexp

    chances = np.exp(-0.5 * _STEPS**2)
    laws = []
    for step, chance in zip(_STEPS, chances / chances.sum(), strict=True):
        law = logs + _log_looks_of(odds, known, known.common_error * step)
        laws.append(law - logsumexp(law) + np.log(chance))
    return np.asarray(logsumexp(laws, axis=0), np.float64) + float(logsumexp(logs))


def log_looks(confidences: NDArray[np.float64], law: ConfidenceLaw) -> NDArray[np.float64]:
    """Return ln of how well D of the detections look real and the rest false, for D = 0, 1, ...

    A confidence is the chance to be a spore among detections of which a usual share are.
    On this tape the share may be another, down to none: what a confidence tells is how much
    likelier such a detection is on a spore than on something else. Averaged over the ways
    to choose D of them.

    Examples
    --------
    >>> law = ConfidenceLaw(even_confidence=0.85, power=1.5)
    >>> np.abs(log_looks(np.array([0.85, 0.85]), law)).round(6).tolist()
    [0.0, 0.0, 0.0]
    >>> log_looks(np.array([0.5, 0.99]), law).round(2).tolist()
    [0.0, 3.6, 1.69]
    """
    return _log_looks_of(believed_odds(confidences), law, 0.0)


def _log_looks_of(
    odds: NDArray[np.float64], law: ConfidenceLaw, shift: float
) -> NDArray[np.float64]:
    """Return the same of log odds; ``shift`` is added to how much likelier each is on a spore."""
    from scipy.special import gammaln

    even = np.log(law.even_confidence / (1.0 - law.even_confidence))
    odds = law.power * (odds - even) + shift
    real = np.arange(len(odds) + 1)
    ways = gammaln(len(odds) + 1.0) - gammaln(real + 1.0) - gammaln(len(odds) - real + 1.0)
    logs = _log_choices(odds) if len(odds) <= _ONE_BY_ONE else _log_choices_of_many(odds)
    return logs - ways


def _log_choices(log_odds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return ln of the sum, over all choices of D, of the product of their odds."""
    logs = np.full(len(log_odds) + 1, -np.inf)
    logs[0] = 0.0
    for place, odds in enumerate(log_odds):
        logs[1 : place + 2] = np.logaddexp(logs[1 : place + 2], logs[: place + 1] + odds)
    return logs


def _log_choices_of_many(log_odds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the same by the saddle point, exact at both ends."""
    tilts = np.linspace(-log_odds.max() - 12.0, -log_odds.min() + 12.0, _TILTS)
    # Detections as sure as each other are put together.
    levels, many = np.unique(np.round(log_odds, 1), return_counts=True)
    tilted = levels[None, :] + tilts[:, None]
    chance = 1.0 / (1.0 + np.exp(-tilted))
    number, spread = chance @ many, (chance * (1.0 - chance)) @ many
    logs = np.logaddexp(0.0, tilted) @ many - tilts * number - 0.5 * np.log(2.0 * np.pi * spread)
    inner = (number > 0.5) & (number < len(log_odds) - 0.5)
    ends = [0.0, len(log_odds)]
    at = np.concatenate([ends[:1], number[inner], ends[1:]])
    known = np.concatenate([[0.0], logs[inner], [log_odds.sum()]])
    return np.interp(np.arange(len(log_odds) + 1), at, known)


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
    return log_gamma_poisson(cases, mean, spread**-2.0)


def log_gamma_poisson(cases: NDArray, mean: float, shape: float) -> NDArray[np.float64]:
    """Return ln of the chances of cases whose Poisson mean varies as a gamma law."""
    from scipy.special import gammaln

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
