"""Two shares that agree best with what was seen, where their difference or ratio is given."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def shares_that_differ_by(
    difference: Array, share: Array, other: Array, weight: Array, other_weight: Array
) -> tuple[Array, Array]:
    """Return the likeliest two shares, the first larger by a given difference.

    Parameters
    ----------
    difference : ndarray of float
        Between -1 and 1. All arrays may be of any shapes that go together.
    share, other : ndarray of float
        Shares seen.
    weight, other_weight : ndarray of float
        Units each rests on, as if they were independent; above 0.

    Returns
    -------
    tuple of ndarray
        The shares, each between 0 and 1.

    References
    ----------
    Closed form of the cubic: [farrington1990].

    Examples
    --------
    >>> one, other = shares_that_differ_by(*map(np.asarray, (0.0, 0.3, 0.1, 100.0, 100.0)))
    >>> round(float(one), 3), round(float(other), 3)
    (0.2, 0.2)
    """
    ratio = other_weight / weight
    a = 1 + ratio
    b = -(1 + ratio + share + ratio * other + difference * (ratio + 2))
    c = difference**2 + difference * (2 * share + ratio + 1) + share + ratio * other
    d = -share * difference * (1 + difference)
    v = (b / (3 * a)) ** 3 - b * c / (6 * a**2) + d / (2 * a)
    root = np.sqrt(np.maximum((b / (3 * a)) ** 2 - c / (3 * a), 0.0))
    u = np.where(v < 0, -1.0, 1.0) * np.maximum(root, 1e-100)
    turn = (np.pi + np.arccos(np.clip(v / u**3, -1.0, 1.0))) / 3
    one = 2 * u * np.cos(turn) - b / (3 * a)
    one = np.clip(one, np.maximum(difference, 0.0), np.minimum(1.0 + difference, 1.0))
    return one, np.clip(one - difference, 0.0, 1.0)


def shares_in_ratio(
    ratio: Array, share: Array, other: Array, weight: Array, other_weight: Array
) -> tuple[Array, Array]:
    """Return the likeliest two shares, the first a given multiple of the other.

    Parameters are as in :func:`shares_that_differ_by`; ``ratio`` is 0 or larger.

    Examples
    --------
    >>> one, other = shares_in_ratio(*map(np.asarray, (1.0, 0.3, 0.1, 100.0, 100.0)))
    >>> round(float(one), 3), round(float(other), 3)
    (0.2, 0.2)
    """
    seen, other_seen = weight * share, other_weight * other
    a = (weight + other_weight) * ratio
    b = weight * ratio + seen + other_weight + other_seen * ratio
    c = seen + other_seen
    # The smaller root, in the form that stays exact where a is small.
    base = 2 * c / (b + np.sqrt(np.maximum(b**2 - 4 * a * c, 0.0)))
    base = np.clip(base, 0.0, 1.0)
    return np.clip(ratio * base, 0.0, 1.0), base
