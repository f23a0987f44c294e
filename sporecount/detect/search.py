"""First look: where in the field a spore, or a piece of one, may be."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.inputs import CELL_PX, scale

#: Side of the blocks a field is searched in, and what they overlap by, in working pixels.
BLOCK_PX, MARGIN_PX = 512, 32

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
    rows, columns = density.shape[:2]
    found: list[NDArray[np.float64]] = []
    core = BLOCK_PX - 2 * MARGIN_PX
    for top in range(0, rows, core):
        for left in range(0, columns, core):
            if not examined[top : top + core, left : left + core].any():
                continue
            found.append(_search_block(density, examined, top, left, core, heat_floor))
    table = np.concatenate(found) if found else np.zeros((0, 8))
    return Candidates(
        table[:, :2], *(np.ascontiguousarray(table[:, column]) for column in range(2, 8))
    )


def _search_block(
    density: NDArray[np.float32],
    examined: NDArray[np.bool_],
    top: int,
    left: int,
    core: int,
    heat_floor: float,
) -> NDArray[np.float64]:
    rows, columns = density.shape[:2]
    # Blocks start on whole cells, so that a cell means the same in every block.
    y0, x0 = max(0, top - MARGIN_PX), max(0, left - MARGIN_PX)
    y1, x1 = min(rows, top + core + MARGIN_PX), min(columns, left + core + MARGIN_PX)
    part = scale(density[y0:y1, x0:x1])
    part[~examined[y0:y1, x0:x1]] = 0.0
    below, right = -part.shape[0] % 8, -part.shape[1] % 8
    padded = np.pad(part, ((0, below), (0, right), (0, 0)))
    output = engine.run("search", np.ascontiguousarray(padded.transpose(2, 0, 1))[None])[0]
    found = peaks(output, heat_floor)
    found[:, 0] += x0
    found[:, 1] += y0
    x, y = found[:, 0], found[:, 1]
    inside = (x >= left - 0.5) & (x < left + core - 0.5) & (y >= top - 0.5) & (y < top + core - 0.5)
    inside |= ((left == 0) & (x < 0)) | ((top == 0) & (y < 0))
    xi = np.clip(np.round(x).astype(int), 0, columns - 1)
    yi = np.clip(np.round(y).astype(int), 0, rows - 1)
    on_field = (x > -1.5) & (y > -1.5) & (x < columns + 0.5) & (y < rows + 0.5)
    return found[inside & on_field & examined[yi, xi]]


def peaks(output: NDArray[np.float32], heat_floor: float) -> NDArray[np.float64]:
    """Turn the search network's output into rows of candidates.

    Parameters
    ----------
    output : ndarray, shape (9, rows, columns), float32
        Logits, as `sporecount.train.network.SEARCH_CHANNELS` names them.
    heat_floor : float
        Lowest heat of a peak.

    Returns
    -------
    ndarray, shape (k, 8), float64
        x and y in working pixels, spore and fragment heat, damaged, length and
        width in um, angle in degrees.
    """
    logit = output[:2].max(axis=0)
    floor = np.float32(np.log(heat_floor / (1.0 - heat_floor)))
    top = cv2.dilate(logit, np.ones((3, 3), np.uint8))
    iy, ix = np.nonzero((logit >= top) & (logit > floor))
    at = output[:, iy, ix].astype(np.float64)
    table = np.empty((len(ix), 8))
    table[:, 0] = (ix + np.clip(at[2], -1, 1) + 0.5) * CELL_PX - 0.5
    table[:, 1] = (iy + np.clip(at[3], -1, 1) + 0.5) * CELL_PX - 0.5
    for column, channel in ((2, 0), (3, 1), (4, 8)):
        table[:, column] = 1.0 / (1.0 + np.exp(-np.clip(at[channel], -50, 50)))
    table[:, 5] = TYPICAL_LENGTH_UM * np.exp(np.clip(at[4], -2, 2))
    table[:, 6] = TYPICAL_WIDTH_UM * np.exp(np.clip(at[5], -2, 2))
    table[:, 7] = np.rad2deg(0.5 * np.arctan2(at[7], at[6])) % 180.0
    return table
