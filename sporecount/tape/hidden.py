"""How much two photos overlap, and how much they could without anybody noticing."""

from __future__ import annotations

from collections.abc import Sequence
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
    return Hidden((first, second), looks, most_angle_deg).between(0, 1)


class Hidden:
    """The same for many photos of one tape: what is worked out of a photo serves all its pairs.

    Parameters
    ----------
    views : sequence of View
        The photos.
    looks : sequence of ndarray
        Their landmarks' patches.
    most_angle_deg : float
        Largest turn between two.
    """

    def __init__(
        self,
        views: Sequence[View],
        looks: Sequence[NDArray[np.float32]],
        most_angle_deg: float,
    ) -> None:
        self._views, self._looks = views, looks
        steps = int(np.ceil(most_angle_deg / _STEP_DEG))
        self._angles = np.linspace(-most_angle_deg, most_angle_deg, 2 * steps + 1).tolist()
        self._upright: dict[tuple, NDArray[np.complex64]] = {}
        self._turned: tuple[tuple, list[NDArray[np.complex64]]] | None = None

    def between(self, i: int, j: int) -> float:
        """Return the largest overlap of two photos that cannot be ruled out.

        Pairs with the same ``j`` are best asked for one after the other.
        """
        first, second = self._views[i], self._views[j]
        smaller = min(float(view.examined.sum()) * view.um_per_px**2 for view in (first, second))
        if smaller <= 0:
            return 0.0
        cell = max(*first.size_um, *second.size_um) / _SIDE_PX
        poses = [_about_middle(second, angle, cell) for angle in self._angles]
        sides = np.max([_shape(second, pose, cell) for pose in poses], axis=0)
        rows, columns = (
            scipy.fft.next_fast_len(int(a + b), real=True)
            for a, b in zip(_shape(first, Pose(), cell), sides, strict=True)
        )
        shape = (rows, columns)
        alike = np.nonzero(self._looks[i] @ self._looks[j].T > _ALIKE)
        a, most = self._spectrum(i, cell, shape), 0.0
        for pose, b in zip(poses, self._spectra(j, poses, cell, shape), strict=True):
            # Planes of a grid: area, area well inside, landmarks.
            pairs = np.stack([a[0] * b[0], a[2] * b[1], a[1] * b[2]])
            common, of_first, of_second = scipy.fft.irfft2(pairs, shape)
            met = _meetings(first.landmarks_um[alike[0]],
                            pose.outwards(second.landmarks_um[alike[1]]), shape, cell)  # fmt: skip
            inside = np.rint(np.maximum(of_first, of_second)).astype(int)
            open_ = met >= _least_found()[np.clip(inside, 0, len(_least_found()) - 1)]
            most = max(most, float((common * open_).max()))
        return float(np.clip(most * cell**2 / smaller, 0.0, 1.0))

    def _spectrum(self, i: int, cell: float, shape: tuple[int, int]) -> NDArray[np.complex64]:
        key = (i, cell, shape)
        if key not in self._upright:
            self._upright[key] = scipy.fft.rfft2(_grids(self._views[i], Pose(), cell), shape)
        return self._upright[key]

    def _spectra(
        self, j: int, poses: list[Pose], cell: float, shape: tuple[int, int]
    ) -> list[NDArray[np.complex64]]:
        """Return them at every turn. They are large, so only the last photo's are kept."""
        key = (j, cell, shape)
        if self._turned is None or self._turned[0] != key:
            grids = (_grids(self._views[j], pose, cell) for pose in poses)
            self._turned = key, [scipy.fft.rfft2(grid, shape).conj() for grid in grids]
        return self._turned[1]


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


def _shape(view: View, pose: Pose, cell: float) -> tuple[int, int]:
    """Return the rows and columns of a photo's grid."""
    corners = pose.outwards(np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * view.size_um)
    columns, rows = (max(1, int(np.ceil(far / cell - 1e-9))) for far in corners.max(axis=0))
    return rows, columns


def _grids(view: View, pose: Pose, cell: float) -> NDArray[np.float32]:
    """Return area, area well inside, and landmarks of each cell: shape (3, rows, columns)."""
    rows, columns = _shape(view, pose, cell)
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
    shape: tuple[int, int],
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
