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
    grain_px = max(1.0, grain_px)
    small = [max(2, int(np.ceil(n / grain_px)) + 2) for n in shape]
    seed = rng.standard_normal(small, dtype=np.float32)
    # Cubic interpolation of white noise keeps about 0.65 of its deviation.
    wide = cv2.resize(
        seed,
        (int(small[1] * grain_px) + 1, int(small[0] * grain_px) + 1),
        interpolation=cv2.INTER_CUBIC,
    )
    return np.asarray(wide[: shape[0], : shape[1]], np.float32) / np.float32(0.75)
