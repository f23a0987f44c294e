"""The colour of each find, and how far it is from that of the photo's surest spores."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.field import Field

#: A find's colour is its mean density within this distance of its centre, um.
REACH_UM = 4.0

#: Places sampled in one go.
_BATCH = 128

#: No density is less than this, where parts of it are taken.
_LEAST = 0.002

#: Spores of one photo differ in their parts of a colour by so much at least, and nothing
#: is further from them than so many times what they differ by.
LEAST_SPREAD, MOST_APART = 0.015, 8.0


def colours(field: Field, xy_work: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return the mean optical density of each colour about places.

    Parameters
    ----------
    field : Field
        The sample.
    xy_work : ndarray, shape (k, 2)
        Places in working pixels.

    Returns
    -------
    ndarray, shape (k, 3), float32
    """
    reach = REACH_UM / field.work_um_per_px
    steps = np.arange(-int(reach), int(reach) + 1, dtype=np.float32)
    dx, dy = (part.ravel() for part in np.meshgrid(steps, steps))
    near = np.hypot(dx, dy) <= reach
    at = np.asarray(xy_work, np.float32).reshape(-1, 1, 2) + np.stack([dx[near], dy[near]], axis=1)
    if not len(at):
        return np.zeros((0, 3), np.float32)
    return np.concatenate(
        [
            cv2.remap(
                field.density,
                np.ascontiguousarray(part[..., 0]),
                np.ascontiguousarray(part[..., 1]),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            .reshape(len(part), -1, 3)
            .mean(axis=1)
            for part in np.array_split(at, range(_BATCH, len(at), _BATCH))
        ]
    )


def hue_apart(seen: NDArray[np.float32], sure: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far each find's hue is from that of the sure ones.

    Parameters
    ----------
    seen : ndarray, shape (k, 3)
        From `colours`.
    sure : ndarray, shape (k,)
        How much each find speaks for what hue the spores have, 0 or more.

    Returns
    -------
    ndarray, shape (k,)
        In multiples of what sure finds differ by among each other; at most `MOST_APART`.

    Examples
    --------
    >>> brown, grey = [0.1, 0.2, 0.3], [0.2, 0.2, 0.2]
    >>> hue_apart(np.array([brown, brown, grey]), np.array([1.0, 1.0, 0.0])).round(1).tolist()
    [0.0, 0.0, 8.0]
    """
    if not sure.sum() > 0:
        return np.zeros(len(seen))
    dense = np.maximum(seen.astype(np.float64), _LEAST)
    parts = dense[:, [0, 2]] / dense.sum(axis=1, keepdims=True)
    apart = np.zeros(len(seen))
    for part in parts.T:
        off = np.abs(part - _middle(part, sure))
        spread = max(1.4826 * _middle(off, sure), LEAST_SPREAD)
        apart = np.hypot(apart, np.minimum(off / spread, MOST_APART))
    return np.minimum(apart, MOST_APART)


def _middle(values: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Return the weighted median."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
