"""First look: where in the field a spore, or a piece of one, may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.glance import GLANCE_CELL_PX, in_whole_cells, promising
from sporecount.detect.inputs import BLOCK_PX, CELL_PX, blocks, seen
from sporecount.detect.windows import Window, windows
from sporecount.threads import on_threads, side_by_side

#: What the network is shown around each window, cells of the glance.
MARGIN_CELLS = 2

#: Typical spore, um: the network gives shapes relative to it.
TYPICAL_LENGTH_UM, TYPICAL_WIDTH_UM = 12.0, 8.0

#: Cells of the network's output along the side of a block.
_ACROSS = BLOCK_PX // CELL_PX


@dataclass(frozen=True, eq=False)
class Candidates:
    """Peaks of the search network's heat.

    Attributes
    ----------
    xy_work : ndarray, shape (k, 2), float64
        Centres in working pixels.
    spore, fragment, damaged : ndarray, shape (k,), float64
        Heat of the two kinds at the centre, and the probability that a spore is damaged.
    length_um, width_um, angle_deg : ndarray, shape (k,), float64
        Rough shape.
    """

    xy_work: NDArray[np.float64]
    spore: NDArray[np.float64]
    fragment: NDArray[np.float64]
    damaged: NDArray[np.float64]
    length_um: NDArray[np.float64]
    width_um: NDArray[np.float64]
    angle_deg: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.xy_work)

    def take(self, chosen: NDArray) -> Candidates:
        """Return the chosen candidates."""
        return Candidates(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


def search(
    density: NDArray[np.float32], examined: NDArray[np.bool_], heat_floor: float
) -> Candidates:
    """Find candidates in a field.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density at the working scale.
    examined : ndarray, shape (rows, columns), bool
        What of it is sample.
    heat_floor : float
        Peaks below it are not candidates, 0 to 1.
    """
    if not examined.any():
        return _candidates(np.zeros((0, 8)))
    shown, (runs, owner) = _shown_and_windows(in_whole_cells(seen(density, examined)))
    found = on_threads(lambda window: _window_tops(shown, window, heat_floor), runs)
    number = np.repeat(np.arange(len(runs)), [len(tops) for tops in found])
    table = _rows(np.concatenate([np.zeros((0, 11)), *found]))
    x, y = table[:, 0], table[:, 1]
    rows, columns = examined.shape
    inside = (x > -1.5) & (y > -1.5) & (x < columns + 0.5) & (y < rows + 0.5)
    row, column = (
        np.clip(np.round(at).astype(int), 0, side - 1) for at, side in ((y, rows), (x, columns))
    )
    mine = owner[row // GLANCE_CELL_PX, column // GLANCE_CELL_PX] == number
    return _candidates(table[inside & mine & examined[row, column]])


def _shown_and_windows(
    field: NDArray[np.uint8],
) -> tuple[NDArray[np.uint8], tuple[list[Window], NDArray[np.int32]]]:
    """Return the blocks of a field, and the windows of it that are worth searching.

    A function of its own, so that nothing holds the field once its blocks are made.
    """
    return side_by_side(lambda: blocks(field), lambda: windows(promising(field), MARGIN_CELLS))


def _candidates(table: NDArray[np.float64]) -> Candidates:
    return Candidates(
        table[:, :2], *(np.ascontiguousarray(table[:, column]) for column in range(2, 8))
    )


def _window_tops(
    shown: NDArray[np.uint8], window: Window, heat_floor: float
) -> NDArray[np.float64]:
    """Search one window with its margin; return rows as `_tops` does, in the field's cells."""
    # Windows start on whole cells, so that a cell means the same in each of them.
    each = GLANCE_CELL_PX // BLOCK_PX
    top, left = (max(0, side - MARGIN_CELLS) * each for side in (window.top, window.left))
    bottom, right = ((side + MARGIN_CELLS) * each for side in (window.bottom, window.right))
    part = np.ascontiguousarray(shown[None, top:bottom, left:right])
    found = _tops(engine.run("search", part, alone=True)[0], heat_floor)
    found[:, :2] += np.array([left, top]) * _ACROSS
    return found


def peaks(output: NDArray[np.float32], heat_floor: float) -> NDArray[np.float64]:
    """Turn the search network's output into rows of candidates.

    Parameters
    ----------
    output : ndarray, shape (rows, columns, 36), float32
        Logits of the cells of each block: 9 channels, as
        `sporecount.train.network.SEARCH_CHANNELS` names them, each for 2 x 2 cells.
    heat_floor : float
        Lowest heat of a peak.

    Returns
    -------
    ndarray, shape (k, 8), float64
        x and y in working pixels, spore and fragment heat, damaged, length and
        width in um, angle in degrees.
    """
    return _rows(_tops(output, heat_floor))


def _tops(output: NDArray[np.float32], heat_floor: float) -> NDArray[np.float64]:
    """Return rows of a peak's column and row, in output cells, and the 9 logits there."""
    each = _ACROSS**2
    shape = output.shape[:2]
    either = np.maximum(output[..., :each], output[..., each : 2 * each])
    logit = either.reshape(*shape, _ACROSS, _ACROSS).swapaxes(1, 2)
    logit = logit.reshape(shape[0] * _ACROSS, shape[1] * _ACROSS)
    floor = np.float32(np.log(heat_floor / (1.0 - heat_floor)))
    top = cv2.dilate(logit, np.ones((3, 3), np.uint8))
    y, x = np.divmod(np.flatnonzero((logit >= top) & (logit > floor)), logit.shape[1])
    at = output.reshape(*shape, -1, _ACROSS, _ACROSS)
    found = np.empty((len(x), 11))
    found[:, 0], found[:, 1] = x, y
    found[:, 2:] = at[y // _ACROSS, x // _ACROSS, :, y % _ACROSS, x % _ACROSS]
    return found


def _rows(tops: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn what `_tops` returns into rows as `peaks` returns them."""
    x, y, *at = tops.T
    table = np.empty((len(tops), 8))
    table[:, 0] = (x + np.clip(at[2], -1, 1) + 0.5) * CELL_PX - 0.5
    table[:, 1] = (y + np.clip(at[3], -1, 1) + 0.5) * CELL_PX - 0.5
    for column, channel in ((2, 0), (3, 1), (4, 8)):
        table[:, column] = 1.0 / (1.0 + np.exp(-np.clip(at[channel], -50, 50)))
    table[:, 5] = TYPICAL_LENGTH_UM * np.exp(np.clip(at[4], -2, 2))
    table[:, 6] = TYPICAL_WIDTH_UM * np.exp(np.clip(at[5], -2, 2))
    table[:, 7] = np.rad2deg(0.5 * np.arctan2(at[7], at[6])) % 180.0
    return table
