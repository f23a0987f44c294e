"""The truth of a tile as rows of numbers, the form in which the networks are taught."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: Columns of a row: position in working pixels, shape, state code, weight (0: don't care).
X, Y, LENGTH, WIDTH, COS2, SIN2, STATE, WEIGHT = range(8)
STATE_CODES = {"intact": 0, "damaged": 1, "fragment": 2}
FRAGMENT = STATE_CODES["fragment"]

#: An object paler than this against its surroundings (optical density) is nobody's to
#: find: neither taught as a spore nor as something else.
FAINT_CONTRAST = 0.04

#: The same as a multiple of the picture's pixel noise at the working scale.
FAINT_NOISE = 0.9

#: An object that shows less than this in the picture's own values, by itself, against the
#: pixel noise and against the unevenness of what it lies on, is nobody's to find either.
FAINT_SHOWN, SHOWN_NOISE, SHOWN_BUSY = 0.02, 1.6, 0.7

#: Share hidden under opaque things above which an object is likewise left alone.
MOSTLY_COVERED = 0.55


def object_rows(
    truth: pd.DataFrame,
    x_work: NDArray[np.float64],
    y_work: NDArray[np.float64],
    noise: float = 0.0,
) -> NDArray[np.float32]:
    """Turn a truth table into rows for training.

    Parameters
    ----------
    truth : DataFrame
        As `sporecount.render.picture.render` gives it.
    x_work, y_work : ndarray, shape (n,)
        The same objects' centres in working pixels.
    noise : float
        Pixel noise of the picture at the working scale, optical density.

    Returns
    -------
    ndarray, shape (n, 8), float32
    """
    rows = np.zeros((len(truth), 8), np.float32)
    if len(truth) == 0:
        return rows
    doubled = np.deg2rad(2.0 * truth["angle_deg"].to_numpy(float))
    rows[:, X], rows[:, Y] = x_work, y_work
    rows[:, LENGTH] = truth["length_um"]
    rows[:, WIDTH] = truth["width_um"]
    rows[:, COS2], rows[:, SIN2] = np.cos(doubled), np.sin(doubled)
    rows[:, STATE] = [STATE_CODES[state] for state in truth["state"]]
    seen = truth["in_field"] & (truth["contrast"] >= max(FAINT_CONTRAST, FAINT_NOISE * noise))
    ground = np.maximum(SHOWN_NOISE * noise, SHOWN_BUSY * truth["busy"])
    seen &= truth["shown"] >= np.maximum(FAINT_SHOWN, ground)
    seen &= truth["covered"] <= MOSTLY_COVERED
    rows[:, WEIGHT] = seen.to_numpy(float)
    return rows
