"""A cheap look at a field: which cells could hold a spore, or a piece of one, at all.

A network looks at the field at half the search's scale, a twentieth of the search's work. The
search's time is spent only where this leaves something to find.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.inputs import BLOCK_PX, ZERO_BYTE, blocks

#: The look is taken on a picture so many times coarser than the working scale.
COARSE = 2

#: Side of a cell in working pixels.
GLANCE_CELL_PX = COARSE * BLOCK_PX


def promising(seen: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Find the cells of a field that could hold the centre of a spore or of a piece.

    Parameters
    ----------
    seen : ndarray, shape (rows, columns, 3), uint8
        The field as the networks see it (`sporecount.detect.inputs.encode`), `ZERO_BYTE` where
        it is not sample.

    Returns
    -------
    ndarray, shape (ceil(rows / 8), ceil(columns / 8)), bool
        Where the network says more than 0, to which its cut was shifted
        (`sporecount.train.quantise.shift_to_cut`).

    Examples
    --------
    >>> bool(promising(np.full((160, 160, 3), ZERO_BYTE, np.uint8)).any())
    False
    """
    return engine.run("glance", glance_blocks(seen)[None])[0, ..., 0] > 0.0


def glance_blocks(seen: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return what the glance network is shown of a field.

    Parameters
    ----------
    seen
        As `promising` takes it.

    Returns
    -------
    ndarray, shape (ceil(rows / 8), ceil(columns / 8), 48), uint8
        As `sporecount.detect.inputs.blocks` has it, at half the working scale.
    """
    whole = in_whole_cells(seen)
    size = (whole.shape[1] // COARSE, whole.shape[0] // COARSE)
    return blocks(np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.uint8))


def in_whole_cells(seen: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the field as the networks see it, with clear pixels up to the ends of cells."""
    below, right = (-side % GLANCE_CELL_PX for side in seen.shape[:2])
    if not (below or right):
        return seen
    clear = (ZERO_BYTE,) * 3
    whole = cv2.copyMakeBorder(seen, 0, below, 0, right, cv2.BORDER_CONSTANT, value=clear)
    return np.asarray(whole, np.uint8)
