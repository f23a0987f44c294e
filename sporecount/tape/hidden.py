"""How much two photos overlap, and how much they could without anybody noticing."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import scipy.fft
import scipy.stats
from numpy.typing import NDArray

from sporecount.tape.pose import Pose
from sporecount.tape.view import View

#: Longest side of the grid on which shifts are gone through, pixels; step of the turns.
_SIDE_PX, _STEP_DEG = 128, 1.0

#: Landmarks nearer to the overlap's edge than this may be missing from one photo, um.
_EDGE_UM = 10.0

#: Two landmarks that look this much alike may be one.
_ALIKE = 0.5

#: Share of the landmarks that an overlap shows again, at the least (measured: 0.93 to 0.95
#: on rendered tapes), and the risk that is taken when an overlap is ruled out.
_FOUND_AGAIN, _RISK = 0.9, 0.01


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


def hidden_overlap(
    first: View,
    second: View,
    looks: tuple[NDArray[np.float32], NDArray[np.float32]],
    most_angle_deg: float,
) -> float:
    """Return the largest overlap that cannot be ruled out.

    Every shift and turn of one photo over the other is gone through. Two photos show
    nine in ten of the landmarks in their overlap alike and at the same place; where
    so many fewer are, that chance explains it in less than one case of a hundred, the
    photos cannot lie like that. What is left are overlaps with next to nothing in them,
    and those in which what there is fits by chance.

    Parameters
    ----------
    first, second : View
        Two photos that registration could not join.
    looks : tuple of ndarray
        Their landmarks' patches, from `sporecount.tape.guesses.patches`.
    most_angle_deg : float
        Largest turn between them.

    Returns
    -------
    float
        As a share of the smaller examined area, 0 to 1.
    """
    cell = max(*first.size_um, *second.size_um) / _SIDE_PX
    own = _grids(first, Pose(), cell)
    smaller = min(float(view.examined.sum()) * view.um_per_px**2 for view in (first, second))
    if smaller <= 0:
        return 0.0
    alike = np.nonzero(looks[0] @ looks[1].T > _ALIKE)
    most = 0.0
    steps = int(np.ceil(most_angle_deg / _STEP_DEG))
    for angle in np.linspace(-most_angle_deg, most_angle_deg, 2 * steps + 1):
        pose = _about_middle(second, float(angle), cell)
        other = _grids(second, pose, cell)
        shape = tuple(scipy.fft.next_fast_len(a + b, real=True)
                      for a, b in zip(own.shape[1:], other.shape[1:]))  # fmt: skip
        a, b = scipy.fft.rfft2(own, shape), scipy.fft.rfft2(other, shape).conj()
        # Planes of a grid: area, area well inside, landmarks.
        pairs = np.stack([a[0] * b[0], a[2] * b[1], a[1] * b[2]])
        common, of_first, of_second = scipy.fft.irfft2(pairs, shape)
        met = _meetings(first.landmarks_um[alike[0]], pose.outwards(second.landmarks_um[alike[1]]),
                        shape, cell)  # fmt: skip
        inside = np.rint(np.maximum(of_first, of_second)).astype(int)
        open_ = met >= _least_found()[np.clip(inside, 0, len(_least_found()) - 1)]
        most = max(most, float((common * open_).max()))
    return float(np.clip(most * cell**2 / smaller, 0.0, 1.0))


@lru_cache(maxsize=1)
def _least_found() -> NDArray[np.int64]:
    """Return how many of n landmarks must be found for an overlap to remain possible."""
    n = np.arange(1000)
    return np.asarray(scipy.stats.binom.ppf(_RISK, n, _FOUND_AGAIN), float).astype(np.int64)


def _about_middle(view: View, angle: float, cell: float) -> Pose:
    """Turn a photo, and shift it so that none of it leaves its grid on the left or above."""
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * view.size_um
    low = Pose(angle_deg=angle).outwards(corners).min(axis=0)
    x, y = np.ceil(-low / cell) * cell
    return Pose(float(x), float(y), angle)


def _grids(view: View, pose: Pose, cell: float) -> NDArray[np.float32]:
    """Return area, area well inside, and landmarks of each cell: shape (3, rows, columns)."""
    corners = pose.outwards(np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * view.size_um)
    columns, rows = (max(1, int(np.ceil(far / cell - 1e-9))) for far in corners.max(axis=0))
    matrix = pose.matrix_px(view.um_per_px, cell)
    inset = cv2.erode(
        view.examined.astype(np.uint8),
        np.ones((2 * round(_EDGE_UM / view.um_per_px) + 1,) * 2, np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    planes = np.zeros((3, rows, columns), np.float32)
    for plane, mask in enumerate((view.examined, inset)):
        laid = cv2.warpAffine(
            np.asarray(mask, np.float32), matrix, (columns, rows), flags=cv2.INTER_LINEAR
        )
        planes[plane] = np.asarray(laid, np.float32).reshape(rows, columns)
    x, y = np.floor(pose.outwards(view.landmarks_um) / cell).astype(int).reshape(-1, 2).T
    np.add.at(planes[2], (np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)), 1.0)
    return planes


def _meetings(
    first_um: NDArray[np.float64],
    second_um: NDArray[np.float64],
    shape: tuple[int, ...],
    cell: float,
) -> NDArray[np.float32]:
    """Return how many landmarks that look alike meet, about, at each shift."""
    met = np.zeros(shape, np.float32)
    x, y = np.rint((first_um - second_um) / cell).astype(int).reshape(-1, 2).T
    np.add.at(met, (y % shape[0], x % shape[1]), 1.0)
    # One cell to all sides, around the ends of the grid as shifts go.
    wide = np.pad(met, 1, mode="wrap")
    summed = cv2.boxFilter(wide, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(summed, np.float32)[1:-1, 1:-1]
