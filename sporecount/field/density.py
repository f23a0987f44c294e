"""Optical density from pixels and background light, and its one convention.

Pixel values are taken as they are: a camera's tone curve is not known, so densities
compare within a photo, not between cameras.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Optical densities are kept within these bounds.
DENSITY_BOUNDS: tuple[float, float] = (-0.3, 2.5)

#: What a black pixel counts as: dark, not infinitely dark.
LEAST_COUNT = 0.5


def log_counts(values: NDArray[np.uint8] | NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the base-10 logarithm of pixel values, black held at half a count.

    Examples
    --------
    >>> log_counts(np.array([0, 10, 100], np.uint8)).round(3)
    array([-0.301,  1.   ,  2.   ], dtype=float32)
    """
    return np.log10(np.maximum(np.asarray(values, np.float32), np.float32(LEAST_COUNT)))
