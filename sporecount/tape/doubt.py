"""The rule for photos that may overlap: never counted twice, never a zero that is none."""

from __future__ import annotations

import numpy as np
import scipy.sparse.csgraph
from numpy.typing import NDArray


def counted_groups(
    doubts: NDArray[np.bool_], area_mm2: NDArray[np.float64], spores: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Choose groups of photos of which no two may overlap.

    Among groups that may overlap one another, only sets without such a pair come into
    question; of these only those that hold their share, by area, of the spores of all
    groups in doubt, rounded down, and at least one where there is any; and of these the
    one with the largest area. So no area is counted twice, the choice makes the tape
    look cleaner than the photos are by less than one spore, and it is never without
    spores where any photo in doubt shows one.

    Parameters
    ----------
    doubts : ndarray, shape (n, n), bool
        Which groups may overlap.
    area_mm2 : ndarray, shape (n,)
        Area of each group.
    spores : ndarray, shape (n,), int
        Spores on each group.

    Returns
    -------
    ndarray, shape (n,), bool
        True for groups that are counted.

    Examples
    --------
    Three photos that may all overlap, with 7 spores in all: a third of the area should
    hold 2. With a single spore in all, the photo that shows it stands for all three.

    >>> counted_groups(~np.eye(3, dtype=bool), np.ones(3), np.array([0, 5, 2])).tolist()
    [False, False, True]
    >>> counted_groups(~np.eye(3, dtype=bool), np.ones(3), np.array([0, 1, 0])).tolist()
    [False, True, False]
    """
    count = len(area_mm2)
    chosen = np.zeros(count, bool)
    if count == 0:
        return chosen
    clusters, label = scipy.sparse.csgraph.connected_components(doubts, directed=False)
    for cluster in range(clusters):
        members = np.flatnonzero(label == cluster)
        chosen[_best_set(members, doubts, area_mm2, spores)] = True
    return chosen


def _best_set(
    members: NDArray[np.intp],
    doubts: NDArray[np.bool_],
    area_mm2: NDArray[np.float64],
    spores: NDArray[np.int64],
) -> list[int]:
    """Return the best set among those grown from each member in turn.

    Sets grow by the largest area first; each stage of growth is a set too, so that the
    single groups are among them, one of which always holds its share.
    """
    all_spores, all_area = int(spores[members].sum()), float(area_mm2[members].sum())
    best, best_key = [int(members[0])], (-1.0, 0.0)
    for weight in (area_mm2, spores / np.maximum(area_mm2, 1e-12)):
        order = members[np.argsort(-weight[members], kind="stable")]
        for start in order:
            grown = list[int]()
            for other in [start, *order]:
                if other in grown or doubts[other, grown].any():
                    continue
                grown.append(int(other))
                area, found = float(area_mm2[grown].sum()), int(spores[grown].sum())
                share = int(all_spores * area / all_area + 1e-9) if all_area > 0 else 0
                dense = found >= max(share, min(all_spores, 1))
                # Of equal areas the one that is nearest to all of them together.
                key = (round(area, 9), -float(found))
                if dense and key > best_key:
                    best, best_key = list(grown), key
    return best
