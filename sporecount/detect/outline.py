"""Outlines: for each seed, the closed line at half height of the object's outer edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from sporecount.detect.edge import whole_objects
from sporecount.detect.measure import Columns, inside_density, shape_columns
from sporecount.detect.rays import BATCH, RAYS, RHO, Rays, grey_of, ray_batches
from sporecount.detect.seeds import Seeds
from sporecount.field.field import Field
from sporecount.settings import DetectSettings

#: Price of a step of one sample between neighbouring rays, in parts of a full edge.
STEP_PRICE = 0.22
#: Price of straying from the seed's ellipse by its own radius.
STRAY_PRICE = 0.5
#: Worth of ending at the line of parting or at the edge of the sample.
LIMIT_WORTH = 0.45
#: Samples the outline may step from one ray to the next.
REACH = 3
#: Samples on either side of the edge over which inside and outside are judged.
FLANK = 5
#: How far inside the edge the body is looked at to tell how it thins out, um.
INNER_UM = 2.0
#: Shift of the edge, um: constant, and for each unit of density at `INNER_UM` and in the
#: core, relative to the drop at the edge. Least squares on drawn spores of known outline.
SHIFT = (-0.11, 0.12, 0.20)
#: Bounds of the shift, um.
SHIFT_BOUNDS_UM = (-0.5, 0.9)
#: A traced outline is plausible while its area is within these factors of the seed's
#: ellipse, its centre no further than this from the seed, um, and its length off by no
#: more than this part of the seed's.
PLAUSIBLE_AREA, PLAUSIBLE_SHIFT_UM, PLAUSIBLE_LENGTH = (0.5, 1.8), 3.0, 0.3
#: Scale of a photo, um per pixel, and how much the traced extents count beside the
#: seed's there: the coarser the photo, the less its outlines tell. From drawn spores.
TRACED_WEIGHT = ((0.6, 1.2), (0.8, 0.5))

_FAR = -1e6


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outline of each seed.

    Attributes
    ----------
    rho : ndarray, shape (k, RAYS), float64
        Where the outline crosses each ray, in parts of the seed's ellipse.
    points_px : ndarray, shape (k, RAYS, 2), float64
        The same points in photo pixels.
    drop : ndarray, shape (k, RAYS), float64
        Optical density inside the edge minus outside, on each ray.
    outside : ndarray, shape (k, RAYS), float64
        Optical density just outside the edge, on each ray.
    bound : ndarray, shape (k, RAYS), bool
        True where the outline follows a line of parting or the edge of the sample.
    """

    rho: NDArray[np.float64]
    points_px: NDArray[np.float64]
    drop: NDArray[np.float64]
    outside: NDArray[np.float64]
    bound: NDArray[np.bool_]


def outline_and_measure(field: Field, seeds: Seeds, settings: DetectSettings) -> pd.DataFrame:
    """Outline the objects at given places and measure them.

    Parameters
    ----------
    field : Field
        The sample.
    seeds : Seeds
        Where the objects are and how large, from a search whose shapes can be trusted.
    settings : DetectSettings
        Scale of the outlines; size of a usual spore.

    Returns
    -------
    DataFrame
        One row for each seed, in order. x_px, y_px: centre of the outline's area;
        length_um, width_um: between the outline's extents and the seed's (see
        ``TRACED_WEIGHT``); angle_deg, area_um2, solidity: of the outline; density,
        density_red, density_green, density_blue: means inside; outline_px: object, an
        array (RAYS, 2) of x and y in photo pixels; traced: bool. Where no plausible
        outline was found, ``traced`` is False and the seed's own ellipse is the outline.
        For an object cut by the edge of the sample, place, extents and area are of the
        whole.
    """
    return pd.DataFrame(outline_columns(field, seeds, settings))


def outline_columns(
    field: Field, seeds: Seeds, settings: DetectSettings
) -> dict[str, NDArray[Any]]:
    """Outline and measure as `outline_and_measure` does: an array for each of its columns."""
    um_per_px = field.calibration.um_per_px
    # Seeds of like length share batches, since the longest sets how much each must look at.
    order = np.argsort(seeds.length_um, kind="stable")
    seeds = seeds.take(order)
    parts = [
        _measured(rays, um_per_px) for rays in ray_batches(field, seeds, settings.outline_um_per_px)
    ]
    traced, own = (
        {name: np.concatenate([part[name] for part in of_parts]) for name in of_parts[0]}
        for of_parts in ([part.traced for part in parts], [part.own for part in parts])
    )
    points_px, ellipses_px, cut, bound = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("points_px", "ellipses_px", "cut", "bound")
    )
    traced, _ = whole_objects(traced, points_px, cut, bound, um_per_px, settings)
    plausible = _plausible(traced, own, um_per_px)
    columns: dict[str, NDArray[Any]] = {
        name: np.where(plausible, traced[name], own[name]) for name in traced
    }
    weight = np.interp(um_per_px, *TRACED_WEIGHT)
    for name in ("length_um", "width_um"):
        between = traced[name] ** weight * own[name] ** (1 - weight)
        columns[name] = np.where(plausible, between, own[name])
    points_px = np.where(plausible[:, None, None], points_px, ellipses_px)
    columns["outline_px"] = np.empty(len(seeds), object)
    columns["outline_px"][:] = list(points_px)
    columns["traced"] = plausible
    back = np.argsort(order)
    return {name: measures[back] for name, measures in columns.items()}


@dataclass(frozen=True, eq=False)
class _Measured:
    """All that is kept of one batch: measures, outlines, and where those are not free."""

    traced: Columns
    own: Columns
    points_px: NDArray[np.float64]
    ellipses_px: NDArray[np.float64]
    cut: NDArray[np.bool_]
    bound: NDArray[np.bool_]


def _measured(rays: Rays, um_per_px: float) -> _Measured:
    """Measure one batch's outlines, and its seeds' ellipses in case they must stand in."""
    outlines = trace_outlines(rays, um_per_px)
    traced = shape_columns(outlines.points_px, um_per_px) | inside_density(rays, outlines.rho)
    seeds, even = rays.seeds, np.ones((1, RAYS))
    own = {
        "x_px": seeds.xy_px[:, 0],
        "y_px": seeds.xy_px[:, 1],
        "length_um": seeds.length_um,
        "width_um": seeds.width_um,
        "angle_deg": seeds.angle_deg,
        # Of the polygon of its points, as the outlines' areas are.
        "area_um2": RAYS / 8 * np.sin(2 * np.pi / RAYS) * seeds.length_um * seeds.width_um,
        "solidity": np.ones(len(seeds)),
        **inside_density(rays, even),
    }
    cut = outlines.bound & rays.cut
    return _Measured(traced, own, outlines.points_px, rays.points_px(even), cut, outlines.bound)


def _plausible(traced: Columns, own: Columns, um_per_px: float) -> NDArray[np.bool_]:
    """Return which outlines may be the seeds' objects."""
    growth = traced["area_um2"] / own["area_um2"]
    shift_px = np.hypot(traced["x_px"] - own["x_px"], traced["y_px"] - own["y_px"])
    stretch = traced["length_um"] / own["length_um"]
    low, high = PLAUSIBLE_AREA
    plausible = (growth >= low) & (growth <= high) & (np.abs(stretch - 1) <= PLAUSIBLE_LENGTH)
    return plausible & (shift_px * um_per_px <= PLAUSIBLE_SHIFT_UM)


def trace_outlines(rays: Rays, um_per_px: float) -> Outlines:
    """Trace the outer edge of every seed's object.

    A closed path around the seed is sought that follows the strongest fall of
    density outward without jumping (dynamic programming over the rays); each
    crossing is then moved to half height between the density inside the edge
    and the local background outside. A rim darker than the centre, or brighter
    than it, makes no difference: only the outermost fall counts.

    Parameters
    ----------
    rays : Rays
        Densities along the rays of each seed.
    um_per_px : float
        Scale of the photo.

    Returns
    -------
    Outlines
    """
    grey = grey_of(rays.density)
    path = np.concatenate(
        [
            _best_path(_worth(grey[part], rays.limit[part]))
            for part in (slice(n, n + BATCH) for n in range(0, max(len(grey), 1), BATCH))
        ]
    )
    rho, drop, outside = _half_height(grey, path, rays.limit)
    bound = path >= rays.limit - 1
    radius_um = np.linalg.norm(rays.step_px, axis=2) * um_per_px
    shift_um = _shift_um(grey, rho, radius_um, outside, drop)
    rho = np.where(bound, rho, np.maximum(rho + shift_um[:, None] / radius_um, RHO[0]))
    return Outlines(rho, rays.points_px(rho), drop, outside, bound)


def _worth(grey: NDArray[np.float32], limit: NDArray[np.intp]) -> NDArray[np.float32]:
    """Return how well each sample serves as the edge, (RAYS, len(RHO), k)."""
    # With the objects last, each step below and in the search is one unbroken piece of memory.
    seen = np.ascontiguousarray(grey.transpose(1, 2, 0))
    fall = np.zeros_like(seen)
    fall[:, 4:-2] = 0.5 * (seen[:, 2:-4] + seen[:, 3:-3] - seen[:, 5:-1] - seen[:, 6:])
    # Most rays have no limit.
    ray, own = np.nonzero((limit < len(RHO)).T)
    last = np.maximum(limit[own, ray] - 1, 0)
    before_last = np.arange(len(RHO)) < last[:, None]
    fall[ray, :, own] *= before_last
    usual = np.percentile(np.maximum(fall.max(axis=1), 0), 60, axis=0) + 1e-4
    worth = np.minimum(fall / usual.astype(np.float32), np.float32(1.3))
    worth -= (np.float32(STRAY_PRICE) * (RHO - 1) ** 2)[:, None]
    ends = np.where(before_last, worth[ray, :, own], np.float32(_FAR))
    ends[np.arange(len(last)), last] = LIMIT_WORTH - STRAY_PRICE * (RHO[last] - 1) ** 2
    worth[ray, :, own] = ends
    return worth


def _best_path(worth: NDArray[np.float32]) -> NDArray[np.intp]:
    """Return the closed path of greatest worth, as sample indices, (k, RAYS)."""
    rays, samples, k = worth.shape
    # Once around and a half more: the second pass over a ray no longer feels the start.
    order = (np.arange(-rays // 2, rays + rays // 2) % rays).tolist()
    # Sides of REACH samples nobody may stand on spare every look aside its own bounds.
    total = np.full((len(order), samples + 2 * REACH, k), _FAR, np.float32)
    own = slice(REACH, REACH + samples)
    total[0, own] = worth[order[0]]
    around = sliding_window_view(total, samples, axis=1).swapaxes(2, 3)
    price = np.float32(STEP_PRICE) * np.abs(np.arange(-REACH, REACH + 1, dtype=np.float32))
    lowered = np.empty((len(price), samples, k), np.float32)
    for turn, ray in enumerate(order[1:], start=1):
        best = total[turn, own]
        np.subtract(around[turn - 1], price[:, None, None], out=lowered)
        lowered.max(axis=0, out=best)
        best += worth[ray]
    return _traced_back(total, order)


def _traced_back(total: NDArray[np.float32], order: list[int]) -> NDArray[np.intp]:
    """Return the path, (k, RAYS), from the worth of the best one to each place.

    Parameters
    ----------
    total : ndarray, shape (turns, samples + 2 * REACH, k)
        For each turn, worth of the best path up to there.
    order : list of int
        The ray of each turn; of the turns about the middle, each ray has one.
    """
    turns, wide, k = total.shape
    rays = turns // 2
    # Staying first, then the nearer and the outer: the same choice among equals everywhere.
    shifts = np.array(sorted(range(-REACH, REACH + 1), key=lambda shift: (abs(shift), -shift)))
    price = np.float32(STEP_PRICE) * np.abs(shifts).astype(np.float32)[:, None]
    # Places are counted on through samples and objects, as they lie in memory.
    steps, flat = shifts * k, total.reshape(turns, wide * k)
    lowest = REACH * k + np.arange(k)
    highest = lowest + (wide - 2 * REACH - 1) * k
    here = lowest + total[-1, REACH : wide - REACH].argmax(axis=0) * k
    path = np.empty((rays, k), np.intp)
    for turn in range(turns - 1, rays // 2 - 1, -1):
        if turn < rays // 2 + rays:
            path[order[turn]] = here
        came = flat[turn - 1].take(here + steps[:, None])
        came -= price
        here = here + steps.take(came.argmax(axis=0))
        np.minimum(np.maximum(here, lowest, out=here), highest, out=here)
    return np.ascontiguousarray(path.T) // max(k, 1) - REACH


def _half_height(
    grey: NDArray[np.float32], path: NDArray[np.intp], limit: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the crossing at half height, the drop and the outside density, each (k, RAYS)."""
    k, rays, samples = grey.shape
    # Offsets first: numpy is slow to reduce a short last axis.
    offsets = np.arange(-FLANK, FLANK + 1)[:, None, None]
    index = path + offsets
    own = (index >= 0) & (index < np.minimum(limit, samples))
    starts = samples * np.arange(k * rays).reshape(k, rays)
    window = grey.ravel().take(starts + np.clip(index, 0, samples - 1)).astype(float)
    inside = np.where(own[: FLANK + 1], window[: FLANK + 1], -np.inf).max(axis=0)
    inside = np.where(np.isfinite(inside), inside, window[FLANK])
    outside = np.where(own[FLANK:], window[FLANK:], np.inf).min(axis=0)
    bound = path >= limit - 1
    outside = _with_usual(outside, bound)
    above = window - 0.5 * (inside + outside)
    crosses = (above[:-1] > 0) & (above[1:] <= 0) & own[:-1] & own[1:]
    away = np.where(crosses, np.abs(offsets[:-1] + 0.5), np.inf)
    which = away.argmin(axis=0)[None]
    before, after = (np.take_along_axis(side, which, axis=0)[0] for side in (above[:-1], above[1:]))
    part = before / np.maximum(before - after, 1e-9)
    found = crosses.any(axis=0) & ~bound
    place = np.where(found, path + which[0] - FLANK + np.clip(part, 0, 1), path)
    rho = np.interp(place, np.arange(samples), RHO)
    return rho, inside - outside, outside


def _shift_um(
    grey: NDArray[np.float32],
    rho: NDArray[np.float64],
    radius_um: NDArray[np.float64],
    outside: NDArray[np.float64],
    drop: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return how far outside half height the edge lies, um, one figure for each object.

    A body that thins out towards its edge passes half height well inside its outline;
    the blurred line of a thin wall passes it outside.
    """
    spacing = RHO[1] - RHO[0]
    place = (rho - INNER_UM / radius_um - RHO[0]) / spacing
    index = np.clip(np.rint(place), 0, len(RHO) - 1).astype(int)
    inner = _medians(np.take_along_axis(grey, index[:, :, None], axis=2)[:, :, 0])
    middle = len(RHO) // 5
    core = _medians(grey[:, :, :middle].reshape(len(grey), grey.shape[1] * middle))
    low = _medians(outside)
    height = np.maximum(_medians(drop), 1e-3)
    start, by_inner, by_core = SHIFT
    shift = start + by_inner * (inner - low) / height + by_core * (core - low) / height
    return np.clip(shift, *SHIFT_BOUNDS_UM)


def _medians(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return the median of each row; numpy is quicker to sort rows than to part them (measured)."""
    ordered = np.sort(values, axis=1)
    length = values.shape[1]
    return 0.5 * (ordered[:, (length - 1) // 2] + ordered[:, length // 2])


def _with_usual(outside: NDArray[np.float64], bound: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Replace the outside where there is none by the usual outside of the same object."""
    lacking = bound | ~np.isfinite(outside)
    known = np.sort(np.where(lacking, np.inf, outside), axis=1)
    number = np.maximum(np.count_nonzero(~lacking, axis=1), 1)
    row = np.arange(len(outside))
    usual = 0.5 * (known[row, (number - 1) // 2] + known[row, number // 2])
    usual[lacking.all(axis=1)] = 0.0
    return np.where(lacking, usual[:, None], outside)
