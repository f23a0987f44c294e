"""From the search network's heat to the chance that a find is what it is called.

The two numbers per kind are fitted on rendered photos that no training used
(`python -m sporecount.train calibrate`); docs/model-card.md has the reliability table.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray


@lru_cache(maxsize=1)
def _lines() -> dict[str, list[float]]:
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
    lines = _lines()
    return _line(spore, *lines["spore"]), _line(fragment, *lines["fragment"])


def _line(heat: NDArray[np.float64], slope: float, shift: float) -> NDArray[np.float64]:
    clipped = np.clip(heat, 1e-6, 1.0 - 1e-6)
    return 1.0 / (1.0 + np.exp(-(slope * np.log(clipped / (1.0 - clipped)) + shift)))
