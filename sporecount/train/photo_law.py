"""Fits what one photo's finds tell of its false alarms and misses, where the truth is known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import PhotoLaw
from sporecount.train.confidence_law import KnownFinds, known_finds

#: Sizes of the error that a photo's confidences share.
_NODES = 15

#: Microscopes that no renderer knows err in more ways: the error that confidences share, and
#: how far misses vary between photos, are taken so many times as large.
MARGIN = 1.2


def fitted_photo_law(photos: list[dict]) -> PhotoLaw:
    """Return the law under which what was found on photos is likeliest, with a `MARGIN`.

    Parameters
    ----------
    photos : list of dict
        From `sporecount.train.calibrate.judged`.
    """
    power, error = _fitted_false([one for one in map(known_finds, photos) if len(one[0])])
    per_found, per_doubtful, shape = _fitted_misses(photos)
    return PhotoLaw(power, MARGIN * error, per_found, per_doubtful, shape / MARGIN)


def _fitted_false(finds: list[KnownFinds]) -> tuple[float, float]:
    """Return power and common error of the log odds, by maximum likelihood."""
    from scipy.optimize import minimize

    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    weights = np.log(weights / weights.sum())

    def loss(line: NDArray[np.float64]) -> float:
        power, error = np.exp(line)
        total = 0.0
        for logits, spore in finds:
            z = power * logits + error * nodes[:, None]
            each = weights - np.where(spore, np.logaddexp(0.0, -z), np.logaddexp(0.0, z)).sum(
                axis=1
            )
            total -= float(np.logaddexp.reduce(each))
        return total

    power, error = np.exp(minimize(loss, np.log([1.0, 1.0]), method="Nelder-Mead").x)
    return float(power), float(error)


def _fitted_misses(photos: list[dict]) -> tuple[float, float, float]:
    """Return misses for each find and each doubtful spore, and their gamma law's shape."""
    from scipy.optimize import minimize
    from scipy.stats import nbinom

    found = np.array([p["hits"] for p in photos])
    missed = np.array([p["spores"] for p in photos]) - found
    doubtful = np.array([p["chances"][~p["kept"]].sum() for p in photos])

    def loss(line: NDArray[np.float64]) -> float:
        per_found, per_doubtful, shape = np.exp(line)
        mean = np.maximum(per_found * found + per_doubtful * doubtful, 1e-9)
        return -float(nbinom.logpmf(missed, shape, shape / (shape + mean)).sum())

    start = np.log([0.05, 1.0, 1.0])
    best = np.exp(minimize(loss, start, method="Nelder-Mead", options={"maxiter": 2000}).x)
    return float(best[0]), float(best[1]), float(best[2])
