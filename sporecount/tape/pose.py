"""Where a photo lies: a rotation and a shift, in micrometres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Pose:
    """A turn, then a shift: ``outer = turn(angle_deg) @ inner + (x_um, y_um)``.

    Both frames are in micrometres, x right, y down, from the top-left corner of the
    photo whose frame it is (not from the middle of its first pixel, so that scale does
    not matter).

    Attributes
    ----------
    x_um, y_um : float
        Where the inner frame's corner lies in the outer one.
    angle_deg : float
        Turn from +x towards +y (clockwise on the screen).

    Examples
    --------
    >>> quarter = Pose(10.0, 0.0, 90.0)
    >>> quarter.outwards(np.array([[3.0, 0.0]])).round(6).tolist()
    [[10.0, 3.0]]
    >>> quarter.inwards(np.array([[10.0, 3.0]])).round(6).tolist()
    [[3.0, 0.0]]
    """

    x_um: float = 0.0
    y_um: float = 0.0
    angle_deg: float = 0.0

    @property
    def turn(self) -> NDArray[np.float64]:
        """Rotation matrix, shape (2, 2)."""
        c, s = np.cos(np.radians(self.angle_deg)), np.sin(np.radians(self.angle_deg))
        return np.array([[c, -s], [s, c]])

    @property
    def shift_um(self) -> NDArray[np.float64]:
        """(x_um, y_um)."""
        return np.array([self.x_um, self.y_um])

    def outwards(self, xy_um: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring points, shape (n, 2), from the inner frame to the outer one."""
        return np.asarray(xy_um) @ self.turn.T + self.shift_um

    def inwards(self, xy_um: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring points, shape (n, 2), from the outer frame to the inner one."""
        return (np.asarray(xy_um) - self.shift_um) @ self.turn

    def after(self, inner: Pose) -> Pose:
        """Return the pose that does ``inner`` first and then this one.

        Examples
        --------
        >>> Pose(1.0, 2.0).after(Pose(10.0, 20.0, 3.0))
        Pose(x_um=11.0, y_um=22.0, angle_deg=3.0)
        """
        x, y = self.outwards(inner.shift_um[None])[0]
        return Pose(float(x), float(y), self.angle_deg + inner.angle_deg)

    def inverse(self) -> Pose:
        """Return the pose that undoes this one."""
        x, y = -self.shift_um @ self.turn
        return Pose(float(x), float(y), -self.angle_deg)

    def matrix_px(self, inner_um_per_px: float, outer_um_per_px: float) -> NDArray[np.float64]:
        """Return the (2, 3) matrix from inner to outer pixels, centres at integers."""
        linear = self.turn * (inner_um_per_px / outer_um_per_px)
        half = linear @ np.array([0.5, 0.5]) - 0.5
        return np.column_stack([linear, self.shift_um / outer_um_per_px + half])


def best_pose(
    inner_um: NDArray[np.float64],
    outer_um: NDArray[np.float64],
    weights: NDArray[np.float64] | None = None,
) -> Pose:
    """Return the pose that brings points nearest to others, by least squares.

    Parameters
    ----------
    inner_um, outer_um : ndarray, shape (n, 2)
        Pairs of points. One pair gives a shift without a turn.
    weights : ndarray, shape (n,), optional
        Weight of each pair.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    >>> found = best_pose(square, Pose(5.0, 6.0, 30.0).outwards(square))
    >>> round(found.x_um, 6), round(found.y_um, 6), round(found.angle_deg, 6)
    (5.0, 6.0, 30.0)
    """
    share = np.ones(len(inner_um)) if weights is None else np.asarray(weights, float)
    share = share / share.sum()
    middle_in, middle_out = share @ inner_um, share @ outer_um
    a, b = inner_um - middle_in, outer_um - middle_out
    across = float(share @ (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
    along = float(share @ (a * b).sum(axis=1))
    angle = float(np.degrees(np.arctan2(across, along))) if across or along else 0.0
    x, y = middle_out - Pose(angle_deg=angle).turn @ middle_in
    return Pose(float(x), float(y), angle)
