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
    question; of these only those on which spores lie at least as densely as on all
    groups in doubt together; and of these the one with the largest area. So no area is
    counted twice, the choice never makes the tape look cleaner than the photos are,
    and it is never without spores where any photo in doubt shows one.

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
    Three photos that may all overlap: the middle one is densest, the last one stands
    for all three without looking cleaner than they are.

    >>> counted_groups(~np.eye(3, dtype=bool), np.ones(3), np.array([0, 5, 2])).tolist()
    [False, True, False]
    >>> counted_groups(~np.eye(3, dtype=bool), np.ones(3), np.array([0, 3, 2])).tolist()
    [False, False, True]
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
    single groups are among them, one of which is always dense enough.
    """
    # Compared crosswise, without division: whole numbers stay exact where areas are equal.
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
                dense = found * all_area >= all_spores * area * (1 - 1e-9)
                # Of equal areas the one that is nearest to all of them together.
                key = (round(area, 9), -float(found))
                if dense and key > best_key:
                    best, best_key = list(grown), key
    return best
