"""From what the networks say to the chance that a find is what it is called.

The numbers are fitted on rendered photos that no training used
(`python -m sporecount.train calibrate`); docs/model-card.md has the reliability table.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sporecount.detect.colour import hue_apart
from sporecount.detect.table import SURE_POWER

#: How doubtful a find is: the rest of its chance, times the chance to this power.
DOUBT_POWER = 0.5

#: So many sure finds tell half of what the hue of a photo's spores can tell.
ENOUGH = 3.0

#: Networks are never surer than this, or one of them would overrule the other.
_LEAST = 1e-3


@lru_cache(maxsize=1)
def measured() -> dict[str, Any]:
    """Return slopes and shift of each kind, and of what a photo's other finds say.

    ``spore`` and ``fragment`` weigh search and closer look; ``spore_unseen`` and
    ``fragment_unseen`` the search alone; ``photo`` what `photo_evidence` returns.
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
    return _logit(np.stack([heat, share], axis=1))


def _logit(chances: NDArray[np.float64]) -> NDArray[np.float64]:
    bounded = np.clip(chances, _LEAST, 1.0 - _LEAST)
    return np.log(bounded / (1.0 - bounded))


def fitted_to_photo(
    chances: NDArray[np.float64],
    seen: NDArray[np.float32] | None = None,
    line: Sequence[float] | None = None,
    among: NDArray[np.bool_] | None = None,
) -> NDArray[np.float64]:
    """Return the chances of all finds of one photo, given what the others are.

    Where nothing is clearly a spore, what might be one is more likely litter; so it is among
    many doubtful things, or in another hue than the sure ones. No chance is raised: among
    many spores, litter would be taken for more of them.

    Parameters
    ----------
    chances : ndarray, shape (k,)
        Chance of each find of the photo to be a spore, from `calibrated`.
    seen : ndarray, shape (k, 3), optional
        Colours of the finds (`sporecount.detect.colour.colours`); by default all alike.
    line : sequence of float, optional
        Slopes and shift for `photo_evidence`; those of the package by default.
    among : ndarray, shape (k,), bool, optional
        Which finds speak for the others; by default all.

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
    known = measured()["photo"] if line is None else line
    return np.minimum(chance_of(photo_evidence(chances, seen, among), known), chances)


def photo_evidence(
    chances: NDArray[np.float64],
    seen: NDArray[np.float32] | None = None,
    among: NDArray[np.bool_] | None = None,
) -> NDArray[np.float64]:
    """Return what a photo tells of each of its finds.

    Parameters
    ----------
    chances, seen, among
        As `fitted_to_photo` takes them.

    Returns
    -------
    ndarray, shape (k, 4)
        The find's own logit; how many other finds are sure and how many doubtful, as
        log(1 + number); how far its hue is from that of the sure ones, the less the fewer
        these are.
    """
    speaks = np.ones(len(chances), bool) if among is None else among
    sure = np.where(speaks, chances**SURE_POWER, 0.0)
    doubtful = np.where(speaks, (1.0 - chances) * chances**DOUBT_POWER, 0.0)
    others = np.maximum(sure.sum() - sure, 0.0)
    apart = np.zeros(len(chances)) if seen is None else hue_apart(seen, sure)
    return np.stack(
        [
            _logit(chances),
            np.log1p(others),
            np.log1p(np.maximum(doubtful.sum() - doubtful, 0.0)),
            apart * others / (others + ENOUGH),
        ],
        axis=1,
    )


def chance_of(evidence: NDArray[np.float64], line: Sequence[float]) -> NDArray[np.float64]:
    """Return the chance whose logit is ``evidence`` (k, n) times the line's slopes and shifted.

    Parameters
    ----------
    evidence : ndarray, shape (k, n)
    line : sequence of float
        n slopes, then the shift.
    """
    return 1.0 / (1.0 + np.exp(-(evidence @ np.asarray(line[:-1]) + line[-1])))
