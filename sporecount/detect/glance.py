"""A cheap look at a field: which cells could hold part of a spore at all.

The search network's time is spent only where this look leaves something to find. It
asks no more than that a place stands out from what lies around it.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Side of a cell in working pixels.
GLANCE_CELL_PX = 8
#: The look is taken on a picture so many times coarser than the working scale.
COARSE = 2
#: Smoothing of what stands out and of the ground it is compared with, in coarse pixels:
#: finer than a spore's rim and about its half width. Wider ground lets slopes of light through.
_SIGMA, _GROUND_SIGMA = 1.0, 2.5
#: Departures of this many times the picture's own noise are taken for noise, within bounds in
#: optical density: all but 1 of 6,000 finds on drawn photos depart by more, and that one's
#: contrast was below the 0.04 of the faintest spore taught.
_NOISE_TIMES, _LEAST, _MOST = 5.0, 0.0045, 0.0065
#: Every how manieth pixel tells the noise.
_NOISE_STEP = 3


def promising(density: NDArray[np.float32], examined: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Find the cells of a field that could hold part of a spore.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density at the working scale.
    examined : ndarray, shape (rows, columns), bool
        What of it is sample.

    Returns
    -------
    ndarray, shape (ceil(rows / 8), ceil(columns / 8)), bool
        True where the density departs from the ground around it, darker or brighter, in
        the cell or right beside it.

    Examples
    --------
    >>> field = np.zeros((160, 160, 3), np.float32)
    >>> field[70:80, 70:80] = 0.1
    >>> int(promising(field, np.ones((160, 160), bool)).sum())
    31
    """
    rows, columns = examined.shape
    high, wide = -(-rows // GLANCE_CELL_PX), -(-columns // GLANCE_CELL_PX)
    size = (max(columns // COARSE, 1), max(rows // COARSE, 1))
    # Amber to brown absorbs blue most; the other colours show nothing more (measured).
    blue = cv2.extractChannel(density, 2)
    coarse = cv2.resize(blue, size, interpolation=cv2.INTER_AREA)
    fine, ground = (cv2.GaussianBlur(coarse, (0, 0), sigma) for sigma in (_SIGMA, _GROUND_SIGMA))
    departure = np.asarray(cv2.absdiff(fine, ground), np.float32).reshape(size[1], size[0])
    seen = np.asarray(cv2.resize(examined.view(np.uint8), size, interpolation=0), np.uint8)
    seen = seen.reshape(size[1], size[0])
    out = departure > _floor(departure, seen > 0)
    out &= cv2.dilate(seen, np.ones((9, 9), np.uint8)) > 0
    cell = GLANCE_CELL_PX // COARSE
    padded = np.zeros((high * cell, wide * cell), bool)
    rest = slice(0, min(len(out), len(padded))), slice(0, min(out.shape[1], padded.shape[1]))
    padded[rest] = out[rest]
    cells = np.asarray(padded.reshape(high, cell, wide, cell).any(axis=(1, 3)), np.uint8)
    return np.asarray(cv2.dilate(cells, np.ones((3, 3), np.uint8)), bool)


def _floor(departure: NDArray[np.float32], seen: NDArray[np.bool_]) -> float:
    """Return the departure that noise alone does not reach, within the fixed bounds."""
    picked = departure[::_NOISE_STEP, ::_NOISE_STEP][seen[::_NOISE_STEP, ::_NOISE_STEP]]
    if picked.size == 0:
        return _LEAST
    # The lower quartile of a normal departure's size: objects hardly touch it.
    noise = float(np.percentile(picked, 25)) / 0.3186
    return float(np.clip(_NOISE_TIMES * noise, _LEAST, _MOST))
