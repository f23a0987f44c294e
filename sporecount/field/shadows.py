"""Shadows of dirt on the lens or the sensor: they say nothing of the sample's focus.

What lies far from the sample's plane throws faint, grey, broad shadows: little light is
lost, and as much of each colour. Spores and scales out of focus are tinted, and something
among them is darker.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Working pixels per pixel of the copy that is judged, and the blur that takes its noise.
_COARSE, _SMOOTH = 4, 1.5
#: Density from which on there is a shadow.
_LEAST_DENSITY = 0.03
#: On rendered tapes shadows cover up to 0.02 of the picture, are up to 0.07 deep and have up
#: to 0.1 of their density as tint; blurred samples at least 0.02, 0.09 and 0.46.
_MOST_SHARE, _MOST_DENSITY, _MOST_TINT = 0.05, 0.12, 0.2
#: Percentiles of the shadows' pixels that stand for the deepest and the most tinted.
_DEEPEST, _TINTED = 99.5, 90.0


def only_shadows(density: NDArray[np.float32], examined: NDArray[np.bool_]) -> bool:
    """Say whether all that is to be seen are shadows of dirt on the lens or the sensor.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density.
    examined : ndarray, shape (rows, columns), bool
        The part that is sample.

    Examples
    --------
    >>> grey = np.zeros((200, 200, 3), np.float32)
    >>> grey[80:110, 80:110] = 0.05
    >>> brown = grey * np.array([0.5, 1.0, 1.8], np.float32)
    >>> seen = np.ones((200, 200), bool)
    >>> only_shadows(grey, seen), only_shadows(brown, seen)
    (True, False)
    """
    size = max(density.shape[1] // _COARSE, 1), max(density.shape[0] // _COARSE, 1)
    small = np.asarray(cv2.resize(density, size, interpolation=cv2.INTER_AREA), np.float32)
    small = np.asarray(cv2.GaussianBlur(small, (0, 0), _SMOOTH), np.float32)
    seen = cv2.resize(examined.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    inner = cv2.erode(seen.view(np.uint8), np.ones((5, 5), np.uint8)) > 0
    shown = inner & (np.abs(small).max(axis=2) > _LEAST_DENSITY)
    if not shown.any() or shown.sum() > _MOST_SHARE * inner.sum():
        return False
    red, green, blue = (small[..., channel][shown] for channel in range(3))
    if np.percentile(np.maximum(np.maximum(red, green), blue), _DEEPEST) > _MOST_DENSITY:
        return False
    tint = np.abs(red - blue) / np.maximum(np.abs(green), 0.5 * _LEAST_DENSITY)
    return bool(np.percentile(tint, _TINTED) <= _MOST_TINT)
