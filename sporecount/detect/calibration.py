"""From the search network's heat to the chance that a find is what it is called.

The numbers are fitted on rendered photos that no training used
(`python -m sporecount.train calibrate`); docs/model-card.md has the reliability table.

References
----------
Saerens, Latinne & Decaestecker 2002, Neural Computation 14:21-41 [saerens2002]: the share
of a class where a classifier is used is estimated from its own answers there, and the
answers are put right by it, in turns.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Chances below this say nothing about how common spores are on a photo.
LEAST_TELLING = 0.05

#: The usual share of spores among the finds counts as much as so many finds.
USUAL_COUNTS_AS = 5.0

#: A photo's share changes odds by this power of what it would by itself, and to no less than
#: this factor: its finds are few, and not as independent as the theory wants. It never raises
#: odds: among many spores, litter was taken for more of them.
DAMPING, LEAST_FACTOR = 0.7, 0.05

_ROUNDS = 12


@lru_cache(maxsize=1)
def measured() -> dict[str, Any]:
    """Return slope and shift of each kind, and the share of spores among telling finds."""
    text = (files("sporecount.detect") / "weights" / "calibration.json").read_text("utf-8")
    return json.loads(text)


def calibrated(
    spore: NDArray[np.float64], fragment: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the chances of being a spore and of being a fragment.

    Parameters
    ----------
    spore, fragment : ndarray, shape (k,)
        Heat of the two kinds, 0 to 1.

    Examples
    --------
    >>> spore, fragment = calibrated(np.array([0.05, 0.95]), np.array([0.01, 0.01]))
    >>> bool(spore[0] < 0.3), bool(spore[1] > 0.8)
    (True, True)
    """
    lines = measured()
    return chance_of(spore, *lines["spore"]), chance_of(fragment, *lines["fragment"])


def fitted_to_photo(
    chances: NDArray[np.float64], usual_share: float | None = None
) -> NDArray[np.float64]:
    """Return the chances of all finds of one photo, given how common spores are on it.

    Where nothing is clearly a spore, what might be one is more likely litter.

    Parameters
    ----------
    chances : ndarray, shape (k,)
        Chance of each find of the photo to be a spore, from `calibrated`.
    usual_share : float, optional
        Share of spores among the telling finds of a usual photo; that of the package by
        default.

    Returns
    -------
    ndarray, shape (k,)

    Examples
    --------
    >>> alone = fitted_to_photo(np.array([0.6, 0.2, 0.1]))
    >>> among_many = fitted_to_photo(np.array([0.6, 0.2, 0.1] + [0.99] * 50))
    >>> bool(alone[0] < 0.5), bool(among_many[0] > 0.55)
    (True, True)
    """
    usual = measured()["share"] if usual_share is None else usual_share
    telling = chances >= LEAST_TELLING
    if not telling.any():
        return chances
    odds = chances / np.maximum(1.0 - chances, 1e-9)
    fitted = chances
    for _ in range(_ROUNDS):
        share = (fitted[telling].sum() + USUAL_COUNTS_AS * usual) / (
            telling.sum() + USUAL_COUNTS_AS
        )
        factor = (share / (1.0 - share) * (1.0 - usual) / usual) ** DAMPING
        shifted = np.clip(factor, LEAST_FACTOR, 1.0) * odds
        fitted = shifted / (1.0 + shifted)
    return fitted


def chance_of(heat: NDArray[np.float64], slope: float, shift: float) -> NDArray[np.float64]:
    """Return the chance whose logit is the heat's, times a slope and shifted."""
    clipped = np.clip(heat, 1e-6, 1.0 - 1e-6)
    return 1.0 / (1.0 + np.exp(-(slope * np.log(clipped / (1.0 - clipped)) + shift)))
