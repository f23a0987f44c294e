"""Objects along a curve: the distance from it and the way along it, for every pixel."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image
from sporecount.render.clutter.paint import frame_to_px

#: Distance given to pixels beyond the curve's reach, um.
FAR_UM = 1e3


def wandering_curve(
    rng: np.random.Generator, length_um: float, bend: float, points: int
) -> NDArray[np.float64]:
    """Return a smooth random curve about (0, 0), shape (points, 2), um.

    ``bend`` is the spread of the heading, in radians, from one end to the other.
    """
    turns = np.cumsum(rng.standard_normal(points - 1))
    window = max(5, points // 4)
    turns = (
        np.convolve(turns, np.ones(window) / window, mode="same")[: points - 1]
        * bend
        / np.sqrt(points)
    )
    heading = turns + rng.normal(0.0, bend) * np.linspace(-0.5, 0.5, points - 1)
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length_um / (points - 1)
    curve = np.vstack([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    return curve - (curve.min(axis=0) + curve.max(axis=0)) / 2


def along_curve(
    canvas: Canvas, points_um: NDArray[np.float64], reach_um: float
) -> tuple[Image, Image]:
    """Return distances across and along a polyline for the pixels near it.

    Parameters
    ----------
    canvas : Canvas
        Where the curve is drawn.
    points_um : ndarray, shape (n, 2)
        Its corners in the object's frame.
    reach_um : float
        How far from the curve the answer is wanted.

    Returns
    -------
    across_um : ndarray, float32
        Distance from the curve with the sign of its side; ``FAR_UM`` beyond reach.
    along_um : ndarray, float32
        Way along the curve to the nearest point of it.
    """
    across = np.full(canvas.shape, FAR_UM / canvas.step_um, np.float32)
    nearest = across.copy()
    along = np.zeros(canvas.shape, np.float32)
    corners = frame_to_px(canvas, points_um)
    reach = reach_um / canvas.step_um
    rows, columns = canvas.shape
    gone = 0.0
    for (ax, ay), (bx, by) in pairwise(corners):
        left, right = int(max(min(ax, bx) - reach, 0)), int(min(max(ax, bx) + reach + 2, columns))
        top, bottom = int(max(min(ay, by) - reach, 0)), int(min(max(ay, by) + reach + 2, rows))
        length = float(np.hypot(bx - ax, by - ay))
        if right <= left or bottom <= top or length == 0.0:
            gone += length
            continue
        ex, ey = (bx - ax) / length, (by - ay) / length
        x = np.arange(left, right, dtype=np.float32) - np.float32(ax)
        y = (np.arange(top, bottom, dtype=np.float32) - np.float32(ay))[:, None]
        way = np.clip(x * np.float32(ex) + y * np.float32(ey), 0.0, np.float32(length))
        side = x * np.float32(ey) - y * np.float32(ex)
        away = cv2.magnitude(x - way * np.float32(ex), y - way * np.float32(ey))
        near = (away < nearest[top:bottom, left:right]) & (away <= reach)
        np.copyto(nearest[top:bottom, left:right], away, where=near)
        np.copyto(across[top:bottom, left:right], np.copysign(away, side), where=near)
        np.copyto(along[top:bottom, left:right], way + np.float32(gone), where=near)
        gone += length
    across *= np.float32(canvas.step_um)
    along *= np.float32(canvas.step_um)
    return across, along
