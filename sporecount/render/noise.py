"""Smooth random fields, used wherever light or paper is uneven."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def smooth_field(
    rng: np.random.Generator, shape: tuple[int, int], grain_px: float
) -> NDArray[np.float32]:
    """Return a smooth random field with mean about 0 and standard deviation 1.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    shape : tuple of int
        (height, width).
    grain_px : float
        Size of its spots, at least one pixel.

    Examples
    --------
    >>> smooth_field(np.random.default_rng(1), (30, 40), 5.0).shape
    (30, 40)
    """
    # Blurred white noise on a coarse grid: the blur hides the grid.
    step = max(1.0, grain_px / 3)
    small = [int(np.ceil(n / step)) + 2 for n in shape]
    sigma = max(0.3, grain_px / step / 2)
    reach = int(np.ceil(3 * sigma))
    seed = rng.standard_normal([n + 2 * reach for n in small], dtype=np.float32)
    soft = cv2.GaussianBlur(seed, (0, 0), sigma)[reach:-reach, reach:-reach]
    size = (int(small[1] * step) + 1, int(small[0] * step) + 1)
    wide = cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR)
    # Blurring white noise divides its deviation by 2 sqrt(pi) sigma.
    lost = max(1.0, 2 * np.sqrt(np.pi) * sigma)
    return np.asarray(wide[: shape[0], : shape[1]], np.float32) * np.float32(lost)
