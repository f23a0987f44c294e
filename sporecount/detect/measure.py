"""Measurements of outlined objects, in micrometres and optical densities."""

from __future__ import annotations

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.rays import RHO, Rays

#: Measures of several objects: an array of one figure each, by its name.
Columns = dict[str, NDArray[np.float64]]


def measure_shape(points_px: NDArray[np.float64], um_per_px: float) -> pd.DataFrame:
    """Measure closed outlines.

    Parameters
    ----------
    points_px : ndarray, shape (k, n, 2)
        Outlines, x and y in photo pixels.
    um_per_px : float
        Scale of the photo.

    Returns
    -------
    DataFrame
        x_px, y_px (centre of the area), length_um (extent along the long axis),
        width_um (extent square to it), angle_deg, area_um2, solidity.

    Examples
    --------
    >>> square = np.array([[[0.0, 0.0], [8.0, 0.0], [8.0, 4.0], [0.0, 4.0]]])
    >>> measure_shape(square, 0.5)[["length_um", "width_um", "area_um2"]].iloc[0].tolist()
    [4.0, 2.0, 8.0]
    """
    return pd.DataFrame(shape_columns(points_px, um_per_px))


def shape_columns(points_px: NDArray[np.float64], um_per_px: float) -> Columns:
    """Measure closed outlines, as `measure_shape` does: an array for each of its columns."""
    origin = points_px.mean(axis=1, keepdims=True)
    points = points_px - origin
    following = np.roll(points, -1, axis=1)
    cross = points[..., 0] * following[..., 1] - following[..., 0] * points[..., 1]
    signed = 0.5 * cross.sum(axis=1)
    safe = np.where(np.abs(signed) > 1e-9, signed, 1e-9)
    centre = ((points + following) * cross[..., None]).sum(axis=1) / (6 * safe[:, None])
    angle = _long_axis(points - centre[:, None], following - centre[:, None])
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    across = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    length = np.ptp(np.einsum("knd,kd->kn", points, along), axis=1)
    width = np.ptp(np.einsum("knd,kd->kn", points, across), axis=1)
    hulls = np.array([cv2.contourArea(cv2.convexHull(p)) for p in points.astype(np.float32)])
    centre += origin[:, 0]
    return {
        "x_px": centre[:, 0],
        "y_px": centre[:, 1],
        "length_um": length * um_per_px,
        "width_um": width * um_per_px,
        "angle_deg": np.rad2deg(angle) % 180.0,
        "area_um2": np.abs(signed) * um_per_px**2,
        "solidity": np.clip(np.abs(signed) / np.maximum(hulls, 1e-9), 0.0, 1.0),
    }


def _long_axis(start: NDArray[np.float64], end: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the axis of greatest spread of polygons about their centre, rad."""
    cross = start[..., 0] * end[..., 1] - end[..., 0] * start[..., 1]

    def moment(i: int, j: int) -> NDArray[np.float64]:
        a, b, c, d = start[..., i], start[..., j], end[..., i], end[..., j]
        return ((2 * a * b + 2 * c * d + a * d + c * b) * cross).sum(axis=1) / 24

    sign = np.sign(cross.sum(axis=1))
    xx, yy, xy = (sign * moment(*ij) for ij in ((0, 0), (1, 1), (0, 1)))
    return 0.5 * np.arctan2(2 * xy, xx - yy)


def inside_density(rays: Rays, rho: NDArray[np.float64]) -> Columns:
    """Measure mean optical densities inside outlines.

    Parameters
    ----------
    rays : Rays
        Densities along the rays of each seed.
    rho : ndarray, shape (k, RAYS) or (1, RAYS)
        Where the outline crosses each ray, in parts of the seed's ellipse; one row where
        it is the same for all.

    Returns
    -------
    dict of str to ndarray, shape (k,)
        density (mean of the colours), density_red, density_green, density_blue.
    """
    # On an ellipse scaled by rho, a sample stands for an area in proportion to rho.
    inside = RHO * (rho[:, :, None] > RHO)
    inside = inside.reshape(len(rho), 1, rho.shape[1] * len(RHO))
    total = np.maximum(inside.sum(axis=2, dtype=float), 1e-9)
    seen = rays.density.reshape(len(rays.density), inside.shape[2], 3)
    colours = np.matmul(inside, seen)[:, 0] / total
    names = ("density_red", "density_green", "density_blue")
    return {"density": colours.mean(axis=1), **dict(zip(names, colours.T))}
