"""First look: where in the field a spore, or a piece of one, may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.glance import GLANCE_CELL_PX, promising
from sporecount.detect.inputs import BLOCK_PX, CELL_PX, ZERO_BYTE, blocks, seen
from sporecount.detect.windows import Window, windows
from sporecount.threads import on_threads

#: What the network is shown around each window, cells of the glance.
MARGIN_CELLS = 2

#: Typical spore, um: the network gives shapes relative to it.
TYPICAL_LENGTH_UM, TYPICAL_WIDTH_UM = 12.0, 8.0


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
    field = seen(density, examined)
    runs, owner = windows(promising(field), MARGIN_CELLS)

    def search_window(number: int) -> NDArray[np.float64]:
        found = _window_peaks(field, runs[number], heat_floor)
        x, y = (
            np.clip(np.round(found[:, k]).astype(int), 0, field.shape[1 - k] - 1) for k in (0, 1)
        )
        mine = owner[y // GLANCE_CELL_PX, x // GLANCE_CELL_PX] == number
        return found[mine & examined[y, x]]

    found = on_threads(search_window, range(len(runs)))
    return _candidates(np.concatenate([np.zeros((0, 8)), *found]))


def _candidates(table: NDArray[np.float64]) -> Candidates:
    return Candidates(
        table[:, :2], *(np.ascontiguousarray(table[:, column]) for column in range(2, 8))
    )


def _window_peaks(
    field: NDArray[np.uint8], window: Window, heat_floor: float
) -> NDArray[np.float64]:
    """Search one window with its margin; return rows as `peaks` does, in the field's pixels."""
    rows, columns = field.shape[:2]
    # Windows start on whole cells, so that a cell means the same in each of them.
    y0, x0 = ((max(0, side - MARGIN_CELLS) * GLANCE_CELL_PX) for side in (window.top, window.left))
    y1, x1 = ((side + MARGIN_CELLS) * GLANCE_CELL_PX for side in (window.bottom, window.right))
    part = field[y0:y1, x0:x1]
    sides = [(0, -part.shape[0] % GLANCE_CELL_PX), (0, -part.shape[1] % GLANCE_CELL_PX), (0, 0)]
    if any(after for _, after in sides):
        part = np.pad(part, sides, constant_values=ZERO_BYTE)
    found = peaks(engine.run("search", blocks(part)[None], alone=True)[0], heat_floor)
    found[:, :2] += (x0, y0)
    x, y = found[:, 0], found[:, 1]
    return found[(x > -1.5) & (y > -1.5) & (x < columns + 0.5) & (y < rows + 0.5)]


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
    across = BLOCK_PX // CELL_PX
    each = across**2
    either = np.maximum(output[..., :each], output[..., each : 2 * each])
    rows, columns = (side * across for side in output.shape[:2])
    logit = either.reshape(*output.shape[:2], across, across).swapaxes(1, 2).reshape(rows, columns)
    floor = np.float32(np.log(heat_floor / (1.0 - heat_floor)))
    top = cv2.dilate(logit, np.ones((3, 3), np.uint8))
    iy, ix = np.nonzero((logit >= top) & (logit > floor))
    at = output.reshape(*output.shape[:2], -1, across, across)
    at = at[iy // across, ix // across, :, iy % across, ix % across].T.astype(np.float64)
    table = np.empty((len(ix), 8))
    table[:, 0] = (ix + np.clip(at[2], -1, 1) + 0.5) * CELL_PX - 0.5
    table[:, 1] = (iy + np.clip(at[3], -1, 1) + 0.5) * CELL_PX - 0.5
    for column, channel in ((2, 0), (3, 1), (4, 8)):
        table[:, column] = 1.0 / (1.0 + np.exp(-np.clip(at[channel], -50, 50)))
    table[:, 5] = TYPICAL_LENGTH_UM * np.exp(np.clip(at[4], -2, 2))
    table[:, 6] = TYPICAL_WIDTH_UM * np.exp(np.clip(at[5], -2, 2))
    table[:, 7] = np.rad2deg(0.5 * np.arctan2(at[7], at[6])) % 180.0
    return table
