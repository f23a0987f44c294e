"""Which points of one photo are which of another: each at most once, nearest first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree


def one_to_one(
    first: NDArray[np.float64], second: NDArray[np.float64], within: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pair points of two sets, the nearest first, each point once.

    Parameters
    ----------
    first, second : ndarray, shape (n, 2) and (m, 2)
        Points in the same units.
    within : float
        Largest distance of a pair.

    Returns
    -------
    ndarray, ndarray : shape (pairs,), int
        Row numbers.

    Examples
    --------
    >>> a, b = one_to_one(np.array([[0.0, 0], [3, 0]]), np.array([[2.0, 0], [9, 9]]), 4.0)
    >>> a.tolist(), b.tolist()
    ([1], [0])
    """
    pairs: list[tuple[int, int]] = []
    if len(first) and len(second):
        near = cKDTree(first).sparse_distance_matrix(
            cKDTree(second), within, output_type="coo_matrix"
        )
        taken_first, taken_second = np.zeros(len(first), bool), np.zeros(len(second), bool)
        for number in np.argsort(near.data, kind="stable"):
            a, b = int(near.row[number]), int(near.col[number])
            if not (taken_first[a] or taken_second[b]):
                taken_first[a] = taken_second[b] = True
                pairs.append((a, b))
    return np.array([a for a, _ in pairs], np.intp), np.array([b for _, b in pairs], np.intp)
