"""What the second look is taught on: the search network's own candidates, hits and false alarms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.inputs import SEARCH_UM_PER_PX, encode
from sporecount.detect.look import views
from sporecount.detect.search import search
from sporecount.train.objects import STATE, WEIGHT, X, Y
from sporecount.train.tiles import Tile

#: Candidates are taught down to this heat.
HEAT_FLOOR = 0.04

#: A candidate this near to a true centre is that object, um; pieces are small.
REACH_UM = 4.5


def label_candidates(
    xy_work: NDArray[np.float64], rows: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Say what each candidate really is.

    Parameters
    ----------
    xy_work : ndarray, shape (k, 2)
        Candidates, working pixels.
    rows : ndarray, shape (n, 8)
        The tile's objects.

    Returns
    -------
    labels : ndarray, shape (k, 8), float32
        Row of the object, x and y relative to the candidate in um; state -1: nothing.
    known : ndarray, shape (k,), float32
        0 for candidates that should teach nothing: too faint, or a second candidate on
        an object that another one sits nearer to.
    """
    labels = np.zeros((len(xy_work), 8), np.float32)
    labels[:, STATE] = -1
    known = np.ones(len(xy_work), np.float32)
    if len(xy_work) == 0 or len(rows) == 0:
        return labels, known
    reach = REACH_UM / SEARCH_UM_PER_PX
    distance, nearest = cKDTree(rows[:, [X, Y]]).query(xy_work, distance_upper_bound=reach)
    near = np.flatnonzero(np.isfinite(distance))
    best: dict[int, int] = {}
    for c in near[np.argsort(distance[near])]:
        row = int(nearest[c])
        if row in best or rows[row, WEIGHT] < 0.5:
            known[c] = 0.0
            continue
        best[row] = int(c)
        labels[c] = rows[row]
        labels[c, [X, Y]] = (rows[row, [X, Y]] - xy_work[c]) * SEARCH_UM_PER_PX
    return labels, known


def mine(
    tile: Tile, rng: np.random.Generator, most: int = 60
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.float32], NDArray[np.float32]]:
    """Search a tile and return what its candidates look like and what they are.

    Returns
    -------
    close, around : ndarray, uint8, shapes (k, 65, 65, 3) and (k, 49, 49, 3)
    labels : ndarray, shape (k, 8), float32
    known : ndarray, shape (k,), float32
    """
    field = tile.field
    found = search(field.density, field.examined, HEAT_FLOOR)
    if len(found) > most:
        # Keep false alarms, which are rarer and teach more.
        labels, _ = label_candidates(found.xy_work, tile.rows)
        worth = rng.random(len(found)) + 0.5 * (labels[:, STATE] != 0)
        found = found.take(np.argsort(-worth)[:most])
    labels, known = label_candidates(found.xy_work, tile.rows)
    close, wide = views(field, found.xy_work)
    return encode(close), encode(wide), labels, known
