"""Which objects are which: the one rule by which centres are paired."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: A found centre within this distance of a true one is that one, um.
WITHIN_UM = 5.0


@dataclass(frozen=True, eq=False)
class Matching:
    """Pairs of found and true objects, each used at most once.

    Attributes
    ----------
    found, true : ndarray, shape (pairs,), int
        Row numbers of the pairs.
    found_left, true_left : ndarray, int
        Rows without a partner: false alarms and misses.
    """

    found: NDArray[np.intp]
    true: NDArray[np.intp]
    found_left: NDArray[np.intp]
    true_left: NDArray[np.intp]


def match_centres(
    found_xy: NDArray[np.float64], true_xy: NDArray[np.float64], within: float
) -> Matching:
    """Pair found and true centres: most pairs first, then least total distance.

    Parameters
    ----------
    found_xy, true_xy : ndarray, shape (n, 2) and (m, 2)
        Centres in the same units.
    within : float
        Largest distance of a pair, in those units.

    Examples
    --------
    >>> pairs = match_centres(np.array([[0.0, 0], [9, 9]]), np.array([[1.0, 0]]), 2.0)
    >>> pairs.found.tolist(), pairs.found_left.tolist(), pairs.true_left.tolist()
    ([0], [1], [])
    """
    from scipy.optimize import linear_sum_assignment
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    n, m = len(found_xy), len(true_xy)
    pairs: list[tuple[int, int]] = []
    if n and m:
        near = cKDTree(found_xy).sparse_distance_matrix(
            cKDTree(true_xy), within, output_type="coo_matrix"
        )
        links = csr_matrix(  # type: ignore[type-var]
            (np.ones(near.nnz), (near.row, n + near.col)), shape=(n + m, n + m), dtype=float
        )
        groups, label = connected_components(links, directed=False)  # type: ignore[arg-type]
        touched = np.unique(label[near.row]) if near.nnz else np.zeros(0, int)
        rows_of = _members(label[:n], groups)
        columns_of = _members(label[n:], groups)
        for group in touched:
            rows, columns = rows_of[group], columns_of[group]
            cost = np.hypot(*np.moveaxis(found_xy[rows, None] - true_xy[None, columns], -1, 0))
            # Beyond reach costs more than any set of pairs within reach together.
            cost = np.where(cost <= within, cost, 10.0 * within * (len(rows) + len(columns)))
            for r, c in zip(*linear_sum_assignment(cost), strict=True):
                if cost[r, c] <= within:
                    pairs.append((int(rows[r]), int(columns[c])))
    pairs.sort()
    found = np.array([p[0] for p in pairs], np.intp)
    true = np.array([p[1] for p in pairs], np.intp)
    return Matching(
        found,
        true,
        np.setdiff1d(np.arange(n), found),
        np.setdiff1d(np.arange(m), true),
    )


def _members(label: NDArray[np.int32], groups: int) -> list[NDArray[np.intp]]:
    order = np.argsort(label, kind="stable")
    bounds = np.searchsorted(label[order], np.arange(groups + 1))
    return [order[bounds[g] : bounds[g + 1]] for g in range(groups)]
