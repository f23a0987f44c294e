"""The bench every style draws on: a fine grid, and the way from it to a patch with truth.

It holds geometry only, no looks, so that the styles stay strangers to each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.drawn import DrawnSpore

FINEST_STEP_UM = 0.32
#: Share of damaged spores that keep nearly their whole outline, in every style.
MILD_SHARE = 0.45
_FAINTEST = 2e-3


@dataclass(frozen=True, eq=False)
class Bench:
    """A grid that is a whole number of times finer than the canvas.

    Attributes
    ----------
    x_um, y_um : ndarray, shape (n, n), float32
        Coordinates about the point that a style draws around.
    origin_px : tuple of float
        (x, y) of that point on the fine grid.
    step_um : float
        Scale of the fine grid.
    factor : int
        Fine pixels along one pixel of the canvas.
    """

    x_um: NDArray[np.float32]
    y_um: NDArray[np.float32]
    origin_px: tuple[float, float]
    step_um: float
    factor: int


@dataclass(frozen=True, eq=False)
class Draft:
    """An object on the bench.

    Attributes
    ----------
    density : ndarray, shape (n, n, 3), float32
        Optical density on the fine grid.
    cover : ndarray, shape (n, n), float32
        Share of each fine pixel inside the outline.
    bench : Bench
        Where it lies.
    home_um : tuple of float
        (x, y) of the bench's origin within the spore it came from.
    """

    density: NDArray[np.float32]
    cover: NDArray[np.float32]
    bench: Bench
    home_um: tuple[float, float] = (0.0, 0.0)


def lay_bench(rng: np.random.Generator, half_um: float, um_per_px: float) -> Bench:
    """Lay out a square fine grid with its origin at a random part of a pixel."""
    factor = max(1, int(np.ceil(um_per_px / FINEST_STEP_UM - 1e-6)))
    step = um_per_px / factor
    half_px = int(np.ceil(half_um / um_per_px)) + 2
    size = (2 * half_px + 1) * factor
    middle = (size - 1) / 2.0
    shift = rng.uniform(-0.5, 0.5, 2) * factor
    origin = (middle + float(shift[0]), middle + float(shift[1]))
    steps = np.arange(size, dtype=np.float32)
    x_um = (steps - np.float32(origin[0])) * np.float32(step)
    y_um = (steps - np.float32(origin[1])) * np.float32(step)
    xx, yy = np.meshgrid(x_um, y_um)
    return Bench(xx, yy, origin, step, factor)


def turned(bench: Bench, angle_deg: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return coordinates (u, v) along and across an axis at ``angle_deg``."""
    angle = np.deg2rad(angle_deg)
    cos, sin = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return bench.x_um * cos + bench.y_um * sin, bench.y_um * cos - bench.x_um * sin


def finish(draft: Draft, state: str, style: str) -> DrawnSpore:
    """Average a draft down to the canvas and measure its truth on the fine grid."""
    bench = draft.bench
    factor = bench.factor
    rows, columns = draft.cover.shape
    coarse = (columns // factor, rows // factor)
    density = draft.density
    if factor > 1:
        averaged = cv2.resize(density, coarse, interpolation=cv2.INTER_AREA)
        density = averaged.astype(np.float32, copy=False)
    x_fine, y_fine, length_um, width_um, angle_deg, area_um2 = _measure(draft.cover, bench.step_um)
    lag = (factor - 1) / 2.0
    centre = ((x_fine - lag) / factor, (y_fine - lag) / factor)
    density, centre = _trim(density, centre)
    return DrawnSpore(
        density=density,
        centre_px=centre,
        kind="spore",
        length_um=length_um,
        width_um=width_um,
        angle_deg=angle_deg,
        state=state,
        area_um2=area_um2,
        style=style,
    )


def outline_um(draft: Draft) -> NDArray[np.float32]:
    """Return points on the outline, shape (k, 2), about the outline's centroid."""
    x_fine, y_fine, *_ = _measure(draft.cover, draft.bench.step_um)
    mask = (draft.cover >= 0.5).astype(np.uint8)
    found = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]
    points = np.concatenate([c.reshape(-1, 2) for c in found]).astype(np.float32)
    points = points[:: max(1, len(points) // 60)]
    return (points - np.array([x_fine, y_fine], np.float32)) * np.float32(draft.bench.step_um)


def home_of_centre_um(draft: Draft) -> NDArray[np.float64]:
    """Return (x, y) of the outline's centroid within the spore it came from."""
    x_fine, y_fine, *_ = _measure(draft.cover, draft.bench.step_um)
    origin = np.array(draft.bench.origin_px)
    return np.array(draft.home_um) + (np.array([x_fine, y_fine]) - origin) * draft.bench.step_um


def _measure(
    cover: NDArray[np.float32], step_um: float
) -> tuple[float, float, float, float, float, float]:
    """Return x and y (fine px), length, width (um), angle (degrees) and area (um2)."""
    moments = cv2.moments(np.ascontiguousarray(cover))
    weight = moments["m00"]
    if weight <= 0:
        rows, columns = cover.shape
        return (columns - 1) / 2.0, (rows - 1) / 2.0, 0.0, 0.0, 0.0, 0.0
    x, y = moments["m10"] / weight, moments["m01"] / weight
    angle = 0.5 * np.arctan2(2.0 * moments["mu11"], moments["mu20"] - moments["mu02"])
    rows_in, columns_in = np.nonzero(cover >= 0.5)
    cos, sin = np.cos(angle), np.sin(angle)
    along = columns_in * cos + rows_in * sin
    across = rows_in * cos - columns_in * sin
    # A pixel on the edge is half covered, so its centre lies on the outline on average.
    length = (np.ptp(along) + 0.5) * step_um if len(along) else step_um
    width = (np.ptp(across) + 0.5) * step_um if len(across) else step_um
    if width > length:
        length, width, angle = width, length, angle + np.pi / 2.0
    return (
        float(x),
        float(y),
        float(length),
        float(width),
        float(np.rad2deg(angle) % 180.0),
        float(weight * step_um**2),
    )


def _trim(
    density: NDArray[np.float32], centre: tuple[float, float]
) -> tuple[NDArray[np.float32], tuple[float, float]]:
    """Cut away the empty surroundings but for a border of one pixel of zeros."""
    strongest = np.abs(density)
    seen = (strongest[..., 0] > _FAINTEST) | (strongest[..., 1] > _FAINTEST)
    seen |= strongest[..., 2] > _FAINTEST
    seen[[0, -1], :] = False
    seen[:, [0, -1]] = False
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(rows):
        return np.zeros((3, 3, 3), np.float32), (1.0, 1.0)
    top, bottom, left, right = rows[0] - 1, rows[-1] + 2, columns[0] - 1, columns[-1] + 2
    cut = density[top:bottom, left:right].astype(np.float32, copy=True)
    cut[~seen[top:bottom, left:right]] = 0.0
    return cut, (centre[0] - float(left), centre[1] - float(top))
