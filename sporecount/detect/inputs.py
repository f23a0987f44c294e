"""What the network sees: optical density, clipped and scaled; one rule for training and use."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Optical densities outside these bounds tell nothing more about a spore.
DENSITY_BOUNDS = (-0.25, 1.0)

#: Working scale of the search, um per pixel.
SEARCH_UM_PER_PX = 0.9

#: Side in working pixels of one cell of the search network's output.
CELL_PX = 2


def encode(density: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Pack optical density into bytes, in steps of 0.005, as training tiles are kept."""
    low, high = DENSITY_BOUNDS
    return np.round((np.clip(density, low, high) - low) * (255.0 / (high - low))).astype(np.uint8)


def scale(density: NDArray[np.float32]) -> NDArray[np.float32]:
    """Clip optical density to what the network was trained on, and double it.

    Parameters
    ----------
    density : ndarray, float32
        Any shape, optical density.
    """
    low, high = DENSITY_BOUNDS
    return np.clip(density, low, high) * np.float32(2.0)
