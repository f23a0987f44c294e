"""How many spores are really there, given what the detector misses and imagines.

    spores = detections - false ones + missed ones

Every number of spores is taken as equally likely beforehand. Then the false
ones among n detections follow their own law cut off at n, and, with t true
detections and a recall that varies between photos as a beta distribution, the
missed ones follow a beta negative binomial law. Where it is known how many more
spores were in doubt, that tells the missed ones better: they then follow a negative
binomial law (:class:`sporecount.counts.rates.PhotoLaw`). All is summed up exactly.

This is the detector's uncertainty about *this* photo's examined area. It is
not the uncertainty of sampling (:mod:`sporecount.counts.poisson`).
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sporecount.counts.level import check_level
from sporecount.counts.rates import DetectorRates, PhotoLaw, believed_odds

#: Share of a distribution that may be cut off at its far end.
_NEGLIGIBLE = 1e-7

#: Beyond this many possible numbers of false detections, evenly likely ones stand for all.
_MOST_FALSE_CASES = 64

#: Below this relative spread of the false ones between photos there is as good as none.
_NO_SPREAD = 1e-3

#: Chance of still more missed spores that is left out.
_BEYOND = 1e-4

#: So many standard deviations, and cases more, beyond their mean there are no false ones.
_FAR_SPREADS, _FAR_CASES = 12.0, 30

#: Sizes of the error that a photo's confidences share, at which the false ones are worked out.
_NODES = 9


class SporeRange(NamedTuple):
    """Limits of the number of spores really in the examined area."""

    low: int
    high: int


def spores_range(
    detections: int,
    area_mm2: float,
    rates: DetectorRates,
    *,
    confidences: ArrayLike | None = None,
    doubtful: float | None = None,
    level: float = 0.95,
) -> SporeRange:
    """Return limits of the true number of spores in the examined area.

    Parameters
    ----------
    detections : int
        Spores counted by the detector.
    area_mm2 : float
        Examined area.
    rates : DetectorRates
        The detector's measured rates.
    confidences : array_like, shape (detections,), optional
        Chance of each detection to be a spore. Used only where the rates say
        that confidences are calibrated; they then take the place of
        ``rates.false_per_mm2``.
    doubtful : float, optional
        Spores expected among what was not sure enough to be counted. Used only where the
        rates say what it is worth; it then takes the place of the recall.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    SporeRange
        Whole numbers with ``low <= detections <= high``.

    Raises
    ------
    ValueError
        If a number is out of bounds or the confidences are not one for each detection.

    Examples
    --------
    >>> rates = DetectorRates(recall_mean=0.9, recall_sd=0.05, false_per_mm2=0.5)
    >>> spores_range(0, 2.0, rates)
    SporeRange(low=0, high=1)
    >>> spores_range(100, 2.0, rates)
    SporeRange(low=100, high=130)
    """
    if detections < 0:
        raise ValueError(f"detections {detections!r}: a count is 0 or more")
    if not area_mm2 >= 0:
        raise ValueError(f"area_mm2 {area_mm2!r}: an area is 0 or more")
    check_level(level)
    if confidences is not None and rates.confidence_is_calibrated:
        false = _false_from_confidences(
            np.asarray(confidences, dtype=float), detections, rates.photo_law
        )
    else:
        false = _false_from_rate(detections, area_mm2, rates)

    totals, chances = _sum_up(detections, *_fewer_cases(false), rates, doubtful)
    cumulative = np.cumsum(chances)
    tail = (1.0 - level) / 2.0
    low = int(totals[np.searchsorted(cumulative, tail)])
    high = int(totals[min(int(np.searchsorted(cumulative, 1.0 - tail)), totals.size - 1)])
    return SporeRange(min(low, detections), max(high, detections))


def _false_from_rate(detections: int, area_mm2: float, rates: DetectorRates) -> NDArray[np.float64]:
    """Return the chances of 0..n false detections from their rate per area.

    Poisson on one photo; gamma between photos where their spread is known.
    """
    from scipy.stats import nbinom, poisson

    cases = np.arange(detections + 1)
    mean = rates.false_per_mm2 * area_mm2
    if mean == 0.0:
        return (cases == 0).astype(float)
    spread = rates.false_per_mm2_sd / rates.false_per_mm2
    if spread > _NO_SPREAD:
        shape = max(spread**-2.0, 1e-6)
        logs = nbinom.logpmf(cases, shape, shape / (shape + mean))
    else:
        logs = poisson.logpmf(cases, mean)
    # In logarithms, as all of it can be far out in the law's tail.
    chances = np.exp(logs - logs.max())
    return chances / chances.sum()


def _false_from_confidences(
    confidences: NDArray[np.float64], detections: int, law: PhotoLaw | None
) -> NDArray[np.float64]:
    """Return the chances of 0..n false detections from each one's own chance."""
    if confidences.shape != (detections,):
        raise ValueError(
            f"confidences of shape {confidences.shape}: one for each of {detections} detections"
        )
    if not np.all((confidences >= 0.0) & (confidences <= 1.0)):
        raise ValueError("confidences: each lies between 0 and 1")
    unsure = confidences[confidences < 1.0]
    true, weights = _with_common_error(unsure, law)
    chances = np.zeros((len(weights), detections + 1))
    chances[:, 0] = weights
    spread = np.sqrt(np.sum(true * (1.0 - true), axis=0)).max()
    # More false ones than this hardly ever happen, however many detections there are.
    most = int(np.sum(1.0 - true, axis=0).max() + _FAR_SPREADS * spread) + _FAR_CASES
    for place, each in enumerate(true):
        known = chances[:, : min(place, most) + 2]
        known[:, 1:] = known[:, 1:] * each[:, None] + known[:, :-1] * (1.0 - each[:, None])
        known[:, 0] *= each
    return chances.sum(axis=0)


def _with_common_error(
    confidences: NDArray[np.float64], law: PhotoLaw | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the chances (n, nodes) at sizes of the error they share, and the weights of these."""
    if law is None:
        return confidences[:, None], np.ones(1)
    nodes, weights = _normal_nodes()
    odds = law.power * believed_odds(confidences)[:, None] + law.common_error * nodes
    return 1.0 / (1.0 + np.exp(-odds)), weights


@lru_cache(maxsize=1)
def _normal_nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return sizes of a normal error and their weights, which add up to 1."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    return nodes, weights / weights.sum()


def _fewer_cases(
    chances: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the numbers of false detections worth summing over, with their chances."""
    cases = np.flatnonzero(chances > _NEGLIGIBLE * chances.max())
    if cases.size <= _MOST_FALSE_CASES:
        return cases, chances[cases] / chances[cases].sum()
    steps = (np.arange(_MOST_FALSE_CASES) + 0.5) / _MOST_FALSE_CASES
    cases = np.searchsorted(np.cumsum(chances), steps)
    return cases, np.full(_MOST_FALSE_CASES, 1.0 / _MOST_FALSE_CASES)


def _sum_up(
    detections: int,
    false: NDArray[np.int64],
    chances: NDArray[np.float64],
    rates: DetectorRates,
    doubtful: float | None,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return possible numbers of spores and their chances."""
    fewest = detections - int(false.max())
    most_missed = _most_missed(detections - int(false.min()), rates, doubtful)
    total = np.zeros(int(false.max() - false.min()) + most_missed + 1)
    for case, chance in zip(false, chances, strict=True):
        true = detections - int(case)
        start = true - fewest
        total[start : start + most_missed + 1] += chance * missed_chances(
            true, most_missed, rates, doubtful
        )
    return fewest + np.arange(total.size), total / total.sum()


def _most_missed(true: int, rates: DetectorRates, doubtful: float | None) -> int:
    """Return a number of missed spores that is hardly ever passed."""
    if rates.recall_mean == 1.0:
        return 0
    most = 15 + true // 4
    while missed_chances(true, most, rates, doubtful).sum() < 1.0 - _BEYOND and most < 100 * (
        true + 10
    ):
        most *= 2
    return most


def missed_chances(
    true: int, most: int, rates: DetectorRates, doubtful: float | None = None
) -> NDArray[np.float64]:
    """Return the chances of 0..most missed spores when ``true`` were found.

    Parameters
    ----------
    true, most : int
    rates : DetectorRates
    doubtful : float, optional
        As `spores_range` takes it.

    Examples
    --------
    >>> rates = DetectorRates(recall_mean=0.8, recall_sd=0.0, false_per_mm2=0.0)
    >>> [round(float(chance), 4) for chance in missed_chances(0, 3, rates)]
    [0.8, 0.16, 0.032, 0.0064]
    """
    missed = np.arange(most + 1)
    mean, sd = rates.recall_mean, rates.recall_sd
    if mean == 1.0:
        return (missed == 0).astype(float)
    if doubtful is not None and rates.photo_law is not None:
        return _missed_in_doubt(true, missed, doubtful, rates.photo_law)
    size = 1 << (true + most).bit_length()
    if sd == 0.0:
        factorial = _log_gammas(1.0, size)
        ways = factorial[true : true + most + 1] - factorial[true] - factorial[: most + 1]
        return np.exp(ways + (true + 1) * np.log(mean) + missed * np.log1p(-mean))
    by_total, by_missed, by_found = _beta_law(*rates.recall_beta, size)
    logs = by_total[true : true + most + 1] + by_missed[: most + 1]
    logs += by_found[true]
    return np.exp(logs, out=logs)


def _missed_in_doubt(
    true: int, missed: NDArray[np.int64], doubtful: float, law: PhotoLaw
) -> NDArray[np.float64]:
    """Return the chances of missed spores by what was found and what was in doubt."""
    mean = law.missed_per_found * true + law.missed_per_doubtful * doubtful
    shape = law.missed_shape
    ways = _log_gammas(shape, missed.size) - _log_gammas(1.0, missed.size) - _log_gammas(shape, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = (
            ways
            + shape * np.log(shape / (shape + mean))
            + np.where(missed > 0, missed * np.log(mean / (shape + mean)), 0.0)
        )
    return np.exp(logs)


@lru_cache(maxsize=8)
def _beta_law(
    a: float, b: float, size: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the logarithms of the law's factors: of all spores, the missed and the found ones."""
    from scipy.special import betaln

    factorial = _log_gammas(1.0, size)
    found, lost, both = (_log_gammas(start, size) for start in (a, b, a + b))
    # a - 1, as each total number of spores is equally likely beforehand.
    return factorial - both, lost - factorial, found - factorial - betaln(a - 1.0, b)


@lru_cache(maxsize=8)
def _log_gammas(start: float, size: int) -> NDArray[np.float64]:
    """Return the logarithms of the gamma function at start, start + 1, ..., start + size - 1."""
    from scipy.special import gammaln

    return np.asarray(gammaln(start + np.arange(size)), float)
