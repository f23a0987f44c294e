"""Room on the tape: spores are laid where not too much lies already."""

from __future__ import annotations

import math

import cv2
import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX


class Floor:
    """Which places of the picture are taken, on a grid of half a micrometre."""

    def __init__(self, um_per_px: float):
        rows, columns = int(HEIGHT_PX * um_per_px * 2) + 2, int(WIDTH_PX * um_per_px * 2) + 2
        self._taken = np.zeros((rows, columns), np.uint8)

    def claim(self, outline_um: np.ndarray, overlap: float, distance_um: float = 0.0) -> bool:
        """Take the place of an outline, unless too much of it is taken already.

        Parameters
        ----------
        outline_um
            (n, 2) polygon, in um from the picture's top-left pixel.
        overlap
            Share of its area that may be taken.
        distance_um
            Others must keep this far away.

        Returns
        -------
        bool
            Whether it was free; then it is taken from now on.
        """
        cells = outline_um * 2
        left, top = np.maximum(0, np.floor(cells.min(0) - 4).astype(int))
        right, bottom = np.minimum(self._taken.shape[::-1], np.ceil(cells.max(0) + 4).astype(int))
        if right <= left or bottom <= top:
            return False
        own = np.zeros((bottom - top, right - left), np.uint8)
        fixed = np.round((cells - [left, top]) * 16).astype(np.int32)  # four bits below a cell
        cv2.fillPoly(own, [fixed], 1, cv2.LINE_8, 4)
        kept = own
        if distance_um > 0:
            reach = 2 * math.ceil(distance_um * 2) + 1
            kept = cv2.dilate(own, np.ones((reach, reach), np.uint8))
        there = self._taken[top:bottom, left:right]
        if (kept & (there > 0)).sum() > overlap * own.sum():
            return False
        there[own > 0] = 1
        return True
