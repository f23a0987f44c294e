"""First look: where in the field a spore, or a piece of one, may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.glance import GLANCE_CELL_PX, promising
from sporecount.detect.inputs import BLOCK_PX, CELL_PX, ZERO_BYTE, blocks, encode
from sporecount.detect.windows import Window, windows

#: What the network is shown around each window, in working pixels, whole cells. Of 6,000 finds
#: on drawn photos 3 were lost and 7 gained for want of what lies further off.
MARGIN_PX = 24

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
    cells = promising(density, examined)
    runs, owner = windows(cells, MARGIN_PX // GLANCE_CELL_PX)
    found = [
        _search_window(density, examined, window, owner == number, heat_floor)
        for number, window in enumerate(runs)
    ]
    return _candidates(np.concatenate(found) if found else np.zeros((0, 8)))


def _candidates(table: NDArray[np.float64]) -> Candidates:
    return Candidates(
        table[:, :2], *(np.ascontiguousarray(table[:, column]) for column in range(2, 8))
    )


def _search_window(
    density: NDArray[np.float32],
    examined: NDArray[np.bool_],
    window: Window,
    owned: NDArray[np.bool_],
    heat_floor: float,
) -> NDArray[np.float64]:
    """Search one window with its margin, and keep what lies in the cells it owns."""
    rows, columns = density.shape[:2]
    # Windows start on whole cells, so that a cell means the same in each of them.
    y0, x0 = (max(0, side * GLANCE_CELL_PX - MARGIN_PX) for side in (window.top, window.left))
    y1 = min(rows, window.bottom * GLANCE_CELL_PX + MARGIN_PX)
    x1 = min(columns, window.right * GLANCE_CELL_PX + MARGIN_PX)
    part = encode(density[y0:y1, x0:x1])
    part[~examined[y0:y1, x0:x1]] = ZERO_BYTE
    high, wide = part.shape[:2]
    sides = [(0, -high % (2 * BLOCK_PX)), (0, -wide % (2 * BLOCK_PX)), (0, 0)]
    part = np.pad(part, sides, constant_values=ZERO_BYTE)
    found = peaks(engine.run("search", blocks(part)[None])[0], heat_floor)
    found[:, 0] += x0
    found[:, 1] += y0
    x, y = found[:, 0], found[:, 1]
    xi = np.clip(np.round(x).astype(int), 0, columns - 1)
    yi = np.clip(np.round(y).astype(int), 0, rows - 1)
    on_field = (x > -1.5) & (y > -1.5) & (x < columns + 0.5) & (y < rows + 0.5)
    mine = owned[yi // GLANCE_CELL_PX, xi // GLANCE_CELL_PX]
    return found[mine & on_field & examined[yi, xi]]


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
