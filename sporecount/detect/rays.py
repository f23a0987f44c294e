"""Densities along rays from each seed, on an ellipse of the seed's own shape."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.seeds import Seeds
from sporecount.field.closeup import padded_close_ups
from sporecount.field.field import Field

#: Rays about a seed.
RAYS = 48
#: Samples along a ray, as parts of the seed's own ellipse (1: on the ellipse).
RHO = np.linspace(0.04, 1.92, 48, dtype=np.float32)
#: Rays run within this distance of the seed, um.
REACH_UM = 16.0
#: Seeds whose close-ups are held in memory at once.
BATCH = 128


@dataclass(frozen=True, eq=False)
class Rays:
    """What lies along the rays of each seed.

    Attributes
    ----------
    seeds : Seeds
        The seeds the rays start from.
    step_px : ndarray, shape (k, RAYS, 2), float32
        Vector in photo pixels from the centre to the seed's ellipse on each ray.
    density : ndarray, shape (k, RAYS, len(RHO), 3), float32
        Optical densities of red, green and blue.
    limit : ndarray, shape (k, RAYS), int
        Index along the ray of the first sample that is not the seed's own ground:
        nearer to a neighbour, or outside the examined sample; ``len(RHO)`` where none.
    cut : ndarray, shape (k, RAYS), bool
        True where the limit is the edge of the examined sample.
    """

    seeds: Seeds
    step_px: NDArray[np.float32]
    density: NDArray[np.float32]
    limit: NDArray[np.intp]
    cut: NDArray[np.bool_]

    def points_px(self, rho: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return the points (k, RAYS, 2) at `rho` (k, RAYS), in photo pixels."""
        return self.seeds.xy_px[:, None, :] + rho[:, :, None] * self.step_px


def cast_rays(field: Field, seeds: Seeds, um_per_px: float) -> Rays:
    """Sample the photo along rays about each seed.

    Parameters
    ----------
    field : Field
        The sample.
    seeds : Seeds
        Where, and how large, about.
    um_per_px : float
        Scale of the close-ups the samples are taken from; at the working scale, or
        coarser, the field itself serves.

    Returns
    -------
    Rays
    """
    parts = list(ray_batches(field, seeds, um_per_px))
    if len(parts) == 1:
        return parts[0]
    names = ("step_px", "density", "limit", "cut")
    return Rays(seeds, *(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def ray_batches(field: Field, seeds: Seeds, um_per_px: float) -> Iterator[Rays]:
    """Sample the photo along rays about each seed, `BATCH` seeds at a time.

    Parameters
    ----------
    field, seeds, um_per_px
        As for `cast_rays`. A seed's neighbours count whichever batch they are in.

    Yields
    ------
    Rays
        Those of the next seeds, in order; one without entries where there are no seeds.
    """
    neighbours = _neighbours(seeds, field.calibration.um_per_px)
    near_edge = _near_the_edge(field, seeds)
    for start in range(0, max(len(seeds), 1), BATCH):
        part = slice(start, start + BATCH)
        own = seeds.take(part)
        step_um = _ellipse_steps(own)
        step_px = (step_um / field.calibration.um_per_px).astype(np.float32)
        density = _densities(field, own, step_um, um_per_px)
        first, last = np.searchsorted(neighbours[:, 0], (start, start + len(own)))
        by_neighbour = _before_others(
            seeds, neighbours[first:last], start, step_px, field.calibration.um_per_px
        )
        by_edge = _before_edge(field, own, step_px, near_edge[part])
        cut = (by_edge < len(RHO)) & (by_edge <= by_neighbour)
        yield Rays(own, step_px, density, np.minimum(by_neighbour, by_edge), cut)


def _ellipse_steps(seeds: Seeds) -> NDArray[np.float32]:
    """Return the vectors from centre to ellipse, um, shape (k, RAYS, 2)."""
    turn = np.arange(RAYS) * (2 * np.pi / RAYS)
    angle = np.deg2rad(seeds.angle_deg)[:, None]
    along = 0.5 * seeds.length_um[:, None] * np.cos(turn)
    across = 0.5 * seeds.width_um[:, None] * np.sin(turn)
    x = along * np.cos(angle) - across * np.sin(angle)
    y = along * np.sin(angle) + across * np.cos(angle)
    return np.stack([x, y], axis=2).astype(np.float32)


def _densities(
    field: Field, seeds: Seeds, step_um: NDArray[np.float32], um_per_px: float
) -> NDArray[np.float32]:
    """Return densities at every ray sample of one batch, (k, RAYS, len(RHO), 3)."""
    if not len(seeds):
        return np.zeros((0, RAYS, len(RHO), 3), np.float32)
    if um_per_px >= field.work_um_per_px:
        return _from_field(field, seeds, step_um)
    return _from_close_ups(field, seeds, step_um, um_per_px)


def _from_field(field: Field, seeds: Seeds, step_um: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return densities at every ray sample of one batch, (k, RAYS, len(RHO), 3)."""
    centre = field.to_work_px(seeds.xy_px).astype(np.float32)[:, None, None, :]
    at = centre + step_um[:, :, None, :] * (RHO[:, None] / np.float32(field.work_um_per_px))
    rows = at.reshape(-1, len(RHO), 2)
    border = cv2.BORDER_REPLICATE
    # One map of x and y needs no second.
    out = cv2.remap(  # type: ignore[call-overload]
        field.density, rows, None, cv2.INTER_LINEAR, borderMode=border
    )
    return np.asarray(out, np.float32).reshape(*at.shape[:3], 3)


def _from_close_ups(
    field: Field, seeds: Seeds, step_um: NDArray[np.float32], um_per_px: float
) -> NDArray[np.float32]:
    """Return densities at every ray sample of one batch, (k, RAYS, len(RHO), 3)."""
    # No wider than the longest ray of the batch: sampling the photo is what costs most.
    longest = float(np.maximum(seeds.length_um, seeds.width_um).max()) / 2 * float(RHO[-1])
    half_um = min(REACH_UM, longest + 2 * um_per_px)
    closes = padded_close_ups(field, seeds.xy_px, half_um, um_per_px)
    k, side = closes.shape[:2]
    # Columns and rows apart: numpy is slow where the last axis is as short as two.
    x, y = (
        np.clip(
            step_um[..., axis, None] * (RHO / np.float32(um_per_px)) + np.float32((side - 1) / 2),
            0,
            np.float32(side - 1.001),
        )
        for axis in (0, 1)
    )
    y += np.float32(side) * np.arange(k, dtype=np.float32)[:, None, None]
    picture = closes.reshape(k * side, side, 4)
    x, y = (at.reshape(k * RAYS, len(RHO)) for at in (x, y))
    out = cv2.cvtColor(cv2.remap(picture, x, y, cv2.INTER_LINEAR), cv2.COLOR_RGBA2RGB)
    return np.asarray(out, np.float32).reshape(k, RAYS, len(RHO), 3)


def _before_edge(
    field: Field, seeds: Seeds, step_px: NDArray[np.float32], near_edge: NDArray[np.bool_]
) -> NDArray[np.intp]:
    """Return the first sample on each ray that is not examined; len(RHO) where none."""
    by_edge = np.full(step_px.shape[:2], len(RHO), np.intp)
    near = np.flatnonzero(near_edge)
    if len(near):
        x, y = (
            seeds.xy_px[near, axis, None, None] + RHO * step_px[near, :, axis, None]
            for axis in (0, 1)
        )
        outside = ~_examined(field, x, y)
        by_edge[near] = np.where(outside.any(axis=2), outside.argmax(axis=2), len(RHO))
    return by_edge


def _neighbours(seeds: Seeds, um_per_px: float) -> NDArray[np.intp]:
    """Return pairs (seed, another within reach of its rays), (n, 2), by the first."""
    tree = cKDTree(seeds.xy_px)
    pairs = tree.query_pairs(1.3 * REACH_UM / um_per_px, output_type="ndarray")
    both = np.concatenate([pairs, pairs[:, ::-1]])
    return both[np.argsort(both[:, 0], kind="stable")]


def _before_others(
    seeds: Seeds,
    pairs: NDArray[np.intp],
    start: int,
    step_px: NDArray[np.float32],
    um_per_px: float,
) -> NDArray[np.intp]:
    """Return the first sample on each ray that lies deeper in a neighbour's ellipse.

    The rays are those of the seeds from `start` on, the pairs those of the same seeds.
    """
    limit = np.full(step_px.shape[:2], len(RHO), np.intp)
    own, other = pairs.T
    away = (seeds.xy_px[own] - seeds.xy_px[other])[:, None, :]
    angle = np.deg2rad(seeds.angle_deg[other])
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    half_length = (0.5 * seeds.length_um[other] / um_per_px)[:, None]
    half_width = (0.5 * seeds.width_um[other] / um_per_px)[:, None]

    def in_ellipse(vector: NDArray[np.floating]) -> tuple[NDArray, NDArray]:
        x, y = vector[..., 0], vector[..., 1]
        return (x * cos + y * sin) / half_length, (y * cos - x * sin) / half_width

    # On a ray, depth in the other ellipse is |a + rho b|, in its own it is rho: they are
    # equal at the least positive root of |a|^2 + 2 rho a.b + rho^2 (|b|^2 - 1).
    (a_u, a_v), (b_u, b_v) = in_ellipse(away), in_ellipse(step_px[own - start])
    a_a, a_b, b_b = a_u**2 + a_v**2, a_u * b_u + a_v * b_v, b_u**2 + b_v**2
    square = a_b**2 - (b_b - 1) * a_a
    below = np.sqrt(np.maximum(square, 0)) - a_b
    meets = (square >= 0) & (below > 1e-9)
    rho = np.where(meets, a_a / np.where(meets, below, 1.0), np.inf)
    np.minimum.at(limit, own - start, np.searchsorted(RHO, rho, side="right"))
    return limit


def _near_the_edge(field: Field, seeds: Seeds) -> NDArray[np.bool_]:
    """Return which seeds have ground within reach that is not examined."""
    if not len(seeds):
        return np.zeros(0, bool)
    side = 2 * round(REACH_UM / field.work_um_per_px) + 1
    rows, columns = field.examined.shape
    x, y = np.rint(field.to_work_px(seeds.xy_px)).astype(int).T
    x, y = np.clip(x, 0, columns - 1), np.clip(y, 0, rows - 1)
    # Only about the seeds: in a review they are a handful on a large photo.
    half = side // 2
    if min(rows, columns) < side:
        return np.ones(len(seeds), bool)
    inner_x, inner_y = np.clip(x, half, columns - 1 - half), np.clip(y, half, rows - 1 - half)
    around = np.lib.stride_tricks.sliding_window_view(field.examined, (side, side))
    deep = around[inner_y - half, inner_x - half].all(axis=(1, 2))
    return ~deep | (inner_x != x) | (inner_y != y)


def _examined(
    field: Field, x_px: NDArray[np.float64], y_px: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return which points, in photo pixels, lie on the examined sample."""
    rows, columns = field.examined.shape
    height, width = field.pixels.shape[:2]
    on_photo = (x_px > -0.5) & (y_px > -0.5) & (x_px < width - 0.5) & (y_px < height - 0.5)
    x = np.clip(np.rint(field.to_work_px(x_px)), 0, columns - 1).astype(int)
    y = np.clip(np.rint(field.to_work_px(y_px)), 0, rows - 1).astype(int)
    return on_photo & field.examined[y, x]


def grey_of(density: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean of the three colours, the last axis; far quicker than ``mean``."""
    grey = density[..., 0] + density[..., 1]
    grey += density[..., 2]
    grey *= np.float32(1 / 3)
    return grey
