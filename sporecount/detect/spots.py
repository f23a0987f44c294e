"""Spots: compact dark things about as large as a spore, found without a network."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Spots are looked for where a usual spore is about so many pixels long.
SPORE_PX = 4.5
#: Smoothing before curvatures are taken, pixels: about a spore's half width.
_SIGMA = 1.1
#: Least curvature of density, both ways, of a spot: a pale spore's is several times that.
_LEAST = 0.012


def spots(density: NDArray[np.float32]) -> NDArray[np.intp]:
    """Find compact dark spots, the clearest first.

    Parameters
    ----------
    density : ndarray, shape (rows, columns), float32
        Optical density where a usual spore is `SPORE_PX` long.

    Returns
    -------
    ndarray, shape (k, 2), int
        Columns and rows of the spots' pixels. What is long, as a fibre or a wing scale's edge,
        curves one way only and gives none.

    Examples
    --------
    >>> picture = np.zeros((40, 40), np.float32)
    >>> picture[10:13, 20:23] = 0.4
    >>> picture[30, :] = 0.4
    >>> spots(picture).tolist()
    [[21, 11]]
    """
    smooth = cv2.GaussianBlur(density, (0, 0), _SIGMA)
    xx, yy, xy = (
        np.asarray(cv2.Sobel(smooth, cv2.CV_32F, *order, ksize=3, scale=1 / 4))
        for order in ((2, 0), (0, 2), (1, 1))
    )
    # The weaker of the two curvatures.
    weaker = -0.5 * (xx + yy) - np.hypot(0.5 * (xx - yy), xy)
    top = cv2.dilate(weaker, np.ones((3, 3), np.uint8))
    y, x = np.nonzero((weaker >= top) & (weaker > _LEAST))
    order = np.argsort(-weaker[y, x], kind="stable")
    return np.stack([x, y], axis=1)[order]
