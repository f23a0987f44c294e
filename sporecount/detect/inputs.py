"""What the network sees: optical density, clipped and scaled; one rule for training and use."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Optical densities outside these bounds tell nothing more about a spore.
DENSITY_BOUNDS = (-0.25, 1.0)

#: Working scale of the search, um per pixel.
SEARCH_UM_PER_PX = 0.9

#: Side in working pixels of one cell of the search network's output.
CELL_PX = 2


#: Side in working pixels of one block: the network is given the pixels of a block at once.
BLOCK_PX = 4

#: Rows of blocks that are made at a time, to spare memory.
_STRIP_BLOCKS = 64

#: Optical density of one step of a byte, and the byte of density 0.
STEP = (DENSITY_BOUNDS[1] - DENSITY_BOUNDS[0]) / 255
ZERO_BYTE = round(-DENSITY_BOUNDS[0] / STEP)


def encode(density: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Pack optical density into bytes, in steps of about 0.005; beyond the bounds it is cut.

    Parameters
    ----------
    density : ndarray, float32
        Any shape.

    Examples
    --------
    >>> encode(np.float32([[[-1.0, 0.0, 0.5, 7.0]]])).tolist()
    [[[0, 51, 153, 255]]]
    """
    if density.size == 0:
        return np.zeros(density.shape, np.uint8)
    packed = cv2.addWeighted(density, 1 / STEP, density, 0.0, ZERO_BYTE, dtype=cv2.CV_8U)
    return np.asarray(packed, np.uint8).reshape(density.shape)


def seen(density: NDArray[np.float32], examined: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return a field as the networks see it: encoded, and clear where it is not sample.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density at the working scale.
    examined : ndarray, shape (rows, columns), bool
        What of it is sample.
    """
    packed = encode(density)
    if examined.all():
        return packed
    # Several times faster than writing to the places of a mask.
    clear = np.full_like(packed, ZERO_BYTE)
    cv2.copyTo(packed, examined.view(np.uint8), clear)
    return clear


def blocks(packed: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Make the pixels of each block its channels.

    Parameters
    ----------
    packed : ndarray, shape (rows, columns, 3), uint8
        Encoded density, sides multiples of 4.

    Returns
    -------
    ndarray, shape (rows / 4, columns / 4, 48), uint8
        All pixels of the first colour row by row, then those of the next.
    """
    rows, columns = packed.shape[0] // BLOCK_PX, packed.shape[1] // BLOCK_PX
    # A block's row of one colour is four bytes: moved as one number, a sixth of the time.
    made = np.empty((rows, columns, 3 * BLOCK_PX), np.int32)
    for top in range(0, rows, _STRIP_BLOCKS):
        part = packed[top * BLOCK_PX : (top + _STRIP_BLOCKS) * BLOCK_PX]
        colours = [colour.view(np.int32) for colour in cv2.split(part)]
        lines = [colour[row::BLOCK_PX] for colour in colours for row in range(BLOCK_PX)]
        cv2.merge(lines, made[top : top + _STRIP_BLOCKS])
    return made.view(np.uint8)


def scale(density: NDArray[np.float32]) -> NDArray[np.float32]:
    """Clip optical density to what networks are trained on, and double it.

    Parameters
    ----------
    density : ndarray, float32
        Any shape, optical density.
    """
    low, high = DENSITY_BOUNDS
    return np.clip(density, low, high) * np.float32(2.0)
