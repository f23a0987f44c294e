"""Fits what confidences are worth on a tape, from finds whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.rates import DENSE_PER_MM2, ConfidenceLaw

#: With fewer false finds than this among few, the former law of confidences is kept.
LEAST_FALSE = 8

#: How far the power of confidences is from 1, as calibrated ones would have it; and no error
#: that a tape's confidences have in common is smaller than this: a rendered photo is no tape.
_POWER_SPREAD, _LEAST_COMMON_ERROR = 0.5, 0.5

#: The law by which confidences are what they are.
_AS_SAID = ConfidenceLaw()

#: Logits of what one photo's finds are said to be, and which of them are spores.
KnownFinds = tuple[NDArray[np.float64], NDArray[np.bool_]]


def fitted_law(photos: list[dict], before: ConfidenceLaw) -> ConfidenceLaw:
    """Return what the confidences are worth, where finds are few and where they are many.

    Parameters
    ----------
    photos : list of dict
        From `sporecount.train.calibrate.judged`.
    before : ConfidenceLaw
        Stays in force, in its part, where too little was found to tell; its ``company`` does.
    """
    known = [known_finds(p) for p in photos]
    alone = [known_finds(p, before) for p in photos]
    dense = np.array([p["kept"].sum() > DENSE_PER_MM2 * p["mm2"] for p in photos], bool)
    few = [one for one, is_dense in zip(alone, dense, strict=True) if not is_dense]
    many = [one for one, is_dense in zip(known, dense, strict=True) if is_dense]
    law = before
    if sum(int((~spore).sum()) for _, spore in few) >= LEAST_FALSE:
        even, power = _fitted_looks(few)
        error = max(power * _common_spread(few), _LEAST_COMMON_ERROR)
        law = replace(law, even_confidence=even, power=power, common_error=error)
    if sum(int((~spore).sum()) for _, spore in many) >= LEAST_FALSE:
        share, shape = _fitted_false_share(many)
        law = replace(law, dense_false=share, dense_shape=shape)
    return law


def known_finds(photo: dict, law: ConfidenceLaw = _AS_SAID) -> KnownFinds:
    """Return the logits of what was kept as spores, by themselves, and which of them are."""
    kept = photo["kept"]
    known = photo["kind"][kept] >= 0
    return law.by_itself(photo["chances"][kept])[known], photo["kind"][kept][known] == 1


def _fitted_looks(finds: list[KnownFinds]) -> tuple[float, float]:
    """Return the confidence that is even, and the power of the odds, by logistic regression."""
    from scipy.optimize import minimize

    logits, spore = (np.concatenate(part) for part in zip(*finds, strict=True))

    def loss(line: NDArray[np.float64]) -> float:
        z = line[0] * logits + line[1]
        return float(
            np.sum(np.logaddexp(0.0, z) - spore * z) + 0.5 * ((line[0] - 1.0) / _POWER_SPREAD) ** 2
        )

    power, shift = minimize(loss, [1.0, 0.0]).x
    # Of either's own: the line's shift holds how many there are of each.
    even = (np.log(spore.sum() / (~spore).sum()) - shift) / power
    return float(1.0 / (1.0 + np.exp(-even))), float(power)


def _common_spread(finds: list[KnownFinds]) -> float:
    """Return what the logits of a photo's finds have in common (analysis of variance)."""
    logits, spore = (np.concatenate(part) for part in zip(*finds, strict=True))
    means = {kind: logits[spore == kind].mean() for kind in (True, False) if (spore == kind).any()}
    left = [
        own - np.where(is_spore, means.get(True, 0.0), means.get(False, 0.0))
        for own, is_spore in finds
        if len(own)
    ]
    size = np.array([len(own) for own in left])
    if len(left) < 2 or size.sum() == len(left):
        return 0.0
    own = np.array([part.mean() for part in left])
    within = sum(float(((part - part.mean()) ** 2).sum()) for part in left) / (
        size.sum() - len(left)
    )
    between = float((size * own**2).sum()) / (len(left) - 1)
    usual = (size.sum() - (size**2).sum() / size.sum()) / (len(left) - 1)
    return float(np.sqrt(max((between - within) / usual, 0.0)))


def _fitted_false_share(finds: list[KnownFinds]) -> tuple[float, float]:
    """Return false finds for each that the confidences say, and the shape, by likelihood."""
    from scipy.optimize import minimize

    from sporecount.load.true_counts import log_gamma_poisson

    said = np.array([(1.0 / (1.0 + np.exp(logits))).sum() for logits, _ in finds])
    false = np.array([(~spore).sum() for _, spore in finds])

    def loss(logs: NDArray[np.float64]) -> float:
        share, shape = np.exp(np.clip(logs, -3.0, 3.0))
        chances = [log_gamma_poisson(n, share * m, shape) for n, m in zip(false, said, strict=True)]
        return -float(np.sum(chances))

    share, shape = np.exp(minimize(loss, [0.0, 0.0], method="Nelder-Mead").x)
    return float(share), float(np.clip(shape, 0.3, 10.0))
