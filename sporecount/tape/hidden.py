"""How much two photos overlap, and how much they could without anybody noticing."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.tape.pose import Pose
from sporecount.tape.view import View

#: Longest side of the grid on which areas are compared, pixels.
_SIDE_PX = 64


def overlap_share(first: View, second: View, pose: Pose) -> float:
    """Return the overlap as a share of the smaller examined area, 0 to 1.

    Parameters
    ----------
    first, second : View
        The photos.
    pose : Pose
        Of the second in the first one's frame.
    """
    scale = max(*first.size_um, *second.size_um) / 256
    size = tuple(max(1, int(np.ceil(side / scale))) for side in first.size_um)
    laid = [
        np.asarray(
            cv2.warpAffine(
                view.examined.astype(np.float32),
                where.matrix_px(view.um_per_px, scale),
                size,
                flags=cv2.INTER_AREA,
            ),
            np.float32,
        )
        for view, where in ((first, Pose()), (second, pose))
    ]
    smaller = min(float(view.examined.sum()) * view.um_per_px**2 for view in (first, second))
    return float((laid[0] * laid[1]).sum()) * scale**2 / smaller if smaller else 0.0


def hidden_overlap(first: View, second: View, recognised_from: int) -> float:
    """Return the largest overlap in which too little lies for it to be recognised.

    Every shift of one photo over the other is gone through: where the overlap would
    hold ``recognised_from`` landmarks of either photo, it would have been found.

    Parameters
    ----------
    first, second : View
        Two photos that registration could not join.
    recognised_from : int
        Landmarks in an overlap from which it is practically always recognised.

    Returns
    -------
    float
        As a share of the smaller examined area, 0 to 1.
    """
    import scipy.signal

    scale = max(*first.size_um, *second.size_um) / _SIDE_PX
    (area, marks), (other_area, other_marks) = (_grids(view, scale) for view in (first, second))
    smaller = min(area.sum(), other_area.sum())
    if smaller <= 0:
        return 0.0

    def over_shifts(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(scipy.signal.correlate(a, b, mode="full", method="fft"))

    common = over_shifts(area, other_area)
    most = np.maximum(over_shifts(marks, other_area), over_shifts(area, other_marks))
    unnoticed = np.where(most < recognised_from - 0.5, common, 0.0)
    return float(np.clip(unnoticed.max() / smaller, 0.0, 1.0))


def _grids(view: View, scale: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the examined share and the number of landmarks of each cell."""
    columns, rows = (max(1, int(np.ceil(side / scale))) for side in view.size_um)
    y, x = np.nonzero(view.examined[::2, ::2])
    cells = [np.floor((2 * n + 0.5) * view.um_per_px / scale).astype(int) for n in (x, y)]
    area = _histogram(cells[0], cells[1], rows, columns) * (2 * view.um_per_px / scale) ** 2
    at = np.floor(view.landmarks_um / scale).astype(int).reshape(-1, 2)
    return area, _histogram(at[:, 0], at[:, 1], rows, columns)


def _histogram(
    x: NDArray[np.int64], y: NDArray[np.int64], rows: int, columns: int
) -> NDArray[np.float64]:
    flat = np.clip(y, 0, rows - 1) * columns + np.clip(x, 0, columns - 1)
    return np.bincount(flat, minlength=rows * columns).astype(float).reshape(rows, columns)
