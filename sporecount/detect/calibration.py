"""From what the networks say to the chance that a find is what it is called.

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
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Chances below this say nothing about how common spores are on a photo.
LEAST_TELLING = 0.05

#: The usual share of spores among the finds counts as much as so many finds.
USUAL_COUNTS_AS = 2.0

#: A photo's share lowers odds to no less than this factor: its finds are few, and not as
#: independent as the theory wants. It never raises odds: among many spores, litter was taken
#: for more of them.
LEAST_FACTOR = 0.05

_ROUNDS = 12

#: Networks are never surer than this, or one of them would overrule the other.
_LEAST = 1e-3


@lru_cache(maxsize=1)
def measured() -> dict[str, Any]:
    """Return slopes and shift of each kind, and the share of spores among telling finds.

    ``spore`` and ``fragment`` weigh search and closer look; ``spore_unseen`` and
    ``fragment_unseen`` the search alone.
    """
    text = (files("sporecount.detect") / "weights" / "calibration.json").read_text("utf-8")
    return json.loads(text)


def calibrated(
    spore: NDArray[np.float64],
    fragment: NDArray[np.float64],
    shares: NDArray[np.float64],
    lines: Mapping[str, Any] | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the chances of being a spore and of being a fragment.

    Where the closer look saw nothing, by the edge of a photo, the search alone decides.

    Parameters
    ----------
    spore, fragment : ndarray, shape (k,)
        The search's heat of the two kinds, 0 to 1.
    shares : ndarray, shape (k, 4)
        The closer look's shares of intact, damaged, fragment, neither; NaN where it saw
        nothing.
    lines : mapping, optional
        What `measured` returns, by default that.

    Examples
    --------
    >>> litter, whole = [0.02, 0.03, 0.05, 0.9], [0.9, 0.05, 0.02, 0.03]
    >>> heat, none = np.array([0.1, 0.95]), np.array([0.01, 0.01])
    >>> spore, fragment = calibrated(heat, none, np.array([litter, whole]))
    >>> bool(spore[0] < 0.1), bool(spore[1] > 0.9), bool(fragment.max() < 0.1)
    (True, True, True)
    """
    lines = measured() if lines is None else lines
    unseen = np.isnan(shares).any(axis=1)

    def chance(heat: NDArray[np.float64], share: NDArray[np.float64], kind: str) -> Any:
        both = evidence(heat, share)
        alone = chance_of(both[:, :1], lines[f"{kind}_unseen"])
        return np.where(unseen, alone, chance_of(both, lines[kind]))

    return (
        chance(spore, shares[:, 0] + shares[:, 1], "spore"),
        chance(fragment, shares[:, 2], "fragment"),
    )


def evidence(heat: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the logits of heat and of the closer look's share, shape (k, 2)."""
    both = np.clip(np.stack([heat, share], axis=1), _LEAST, 1.0 - _LEAST)
    return np.log(both / (1.0 - both))


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
        factor = share / (1.0 - share) * (1.0 - usual) / usual
        shifted = np.clip(factor, LEAST_FACTOR, 1.0) * odds
        fitted = shifted / (1.0 + shifted)
    return fitted


def chance_of(evidence: NDArray[np.float64], line: Sequence[float]) -> NDArray[np.float64]:
    """Return the chance whose logit is ``evidence`` (k, n) times the line's slopes and shifted.

    Parameters
    ----------
    evidence : ndarray, shape (k, n)
    line : sequence of float
        n slopes, then the shift.
    """
    return 1.0 / (1.0 + np.exp(-(evidence @ np.asarray(line[:-1]) + line[-1])))
