"""Shapes of spores: what is near, what the networks see, and outlines grown from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.outline import outline_and_measure, trace_outlines
from sporecount.detect.rays import RAYS, cast_rays
from sporecount.detect.search import search
from sporecount.detect.seeds import Seeds
from sporecount.detect.table import COLUMNS, INTACT, STATES
from sporecount.field.field import Field
from sporecount.review.carry import plain
from sporecount.settings import DetectSettings

#: Heat from which the search network's idea of a shape is worth trying where a person says
#: that a spore lies: far below what the tool needs to find it by itself.
LEAST_HEAT = 0.01
#: Neighbours further away than this have no say in an outline, um.
NEIGHBOURS_UM = 45.0
#: Half the side of the part of the field that is searched about a click, um.
PATCH_UM = 40.0
#: Scale of the masks that outlines are parted and joined in, um per pixel.
MASK_UM_PER_PX = 0.25

#: Places, x and y, in photo pixels; centre, length, width (um) and angle (degrees); a row
#: of detections.
Xy = NDArray[np.float64]
Shape = tuple[Xy, float, float, float]
Row = Mapping[Any, Any]


def neighbours_of(field: Field, detections: pd.DataFrame, at: Xy) -> Seeds:
    """Return the standing detections near a place."""
    apart = np.hypot(detections["x_px"] - at[0], detections["y_px"] - at[1])
    near = detections[apart * field.calibration.um_per_px <= NEIGHBOURS_UM]
    return Seeds(
        near[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2),
        near["length_um"].fillna(12.0).to_numpy(float),
        near["width_um"].fillna(8.0).to_numpy(float),
        near["angle_deg"].fillna(0.0).to_numpy(float),
    )


def searched(field: Field, at: Xy) -> tuple[NDArray[np.float64], ...]:
    """Return places in photo pixels, lengths, widths, angles and heats about a place."""
    half = int(np.ceil(PATCH_UM / field.work_um_per_px))
    x, y = np.rint(field.to_work_px(at)).astype(int)
    left, top = max(0, x - half), max(0, y - half)
    part = slice(top, y + half + 1), slice(left, x + half + 1)
    found = search(
        np.ascontiguousarray(field.density[part]),
        np.ascontiguousarray(field.examined[part]),
        LEAST_HEAT,
    )
    return (
        field.to_photo_px(found.xy_work + (left, top)),
        found.length_um,
        found.width_um,
        found.angle_deg,
        np.maximum(found.spore, found.fragment),
    )


def mask_shape(mask: NDArray[np.uint8], um_per_px: float) -> Shape:
    """Return centre (pixels of the mask), length, width and angle of the ellipse that fits."""
    moments = cv2.moments(mask, binaryImage=True)
    area = max(moments["m00"], 1.0)
    spread = np.array([[moments["mu20"], moments["mu11"]], [moments["mu11"], moments["mu02"]]])
    values, vectors = np.linalg.eigh(spread / area)
    width, length = 4.0 * np.sqrt(np.maximum(values, 0.25)) * um_per_px
    angle = float(np.rad2deg(np.arctan2(vectors[1, 1], vectors[0, 1])) % 180.0)
    centre = np.array([moments["m10"], moments["m01"]]) / area
    return centre, float(length), float(width), angle


def seeds_of(shapes: Sequence[Shape]) -> Seeds:
    """Return shapes as seeds."""
    return Seeds(
        np.array([shape[0] for shape in shapes], float).reshape(-1, 2),
        np.array([shape[1] for shape in shapes], float),
        np.array([shape[2] for shape in shapes], float),
        np.array([shape[3] for shape in shapes], float),
    )


def together(seeds: Seeds, others: Seeds) -> Seeds:
    """Return two lots of seeds as one."""
    return Seeds(
        *(
            np.concatenate([getattr(seeds, name), getattr(others, name)])
            for name in Seeds.__dataclass_fields__
        )
    )


def shape_of(row: Row) -> Shape:
    """Return the shape of a row of detections."""
    return place_of(row), float(row["length_um"]), float(row["width_um"]), float(row["angle_deg"])


def place_of(row: Row) -> Xy:
    """Return the centre of a row of detections, in photo pixels."""
    return np.array([row["x_px"], row["y_px"]], float)


def outlined(
    field: Field, shape: Shape, others: Seeds, settings: DetectSettings, *, again: bool = True
) -> tuple[Row, float]:
    """Outline one shape, and once more from what that gave; return it and its edge's contrast."""
    both = together(seeds_of([shape]), others)
    row = outline_and_measure(field, both, settings).iloc[0].to_dict()
    if again and row["traced"]:
        shape = shape_of(row)
        both = together(seeds_of([shape]), others)
        second = outline_and_measure(field, both, settings).iloc[0].to_dict()
        row = second if second["traced"] else row
    rays = cast_rays(field, both, settings.outline_um_per_px)
    drop = trace_outlines(rays, field.calibration.um_per_px).drop[0]
    # The weakest quarter tells: an outline that runs through a body has no edge there.
    return row, float(np.percentile(drop, 25) + 0.25 * np.median(drop))


def mean_density(field: Field, outline: Xy) -> dict[str, float]:
    """Return the mean densities within an outline, at the working scale."""
    points = field.to_work_px(outline)
    low = np.maximum(np.floor(points.min(axis=0)).astype(int), 0)
    high = np.ceil(points.max(axis=0)).astype(int) + 1
    part = field.density[low[1] : high[1] + 1, low[0] : high[0] + 1]
    mask = np.zeros(part.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(points - low).astype(np.int32)], 1)
    means = part[mask > 0].mean(axis=0) if mask.any() else np.full(3, np.nan)
    names = ("density_red", "density_green", "density_blue")
    return {"density": float(means.mean()), **dict(zip(names, means.tolist(), strict=True))}


def made_row(row: Row, state: str) -> dict[str, Any]:
    """Return a row as an action keeps it: columns of detections but the confidence."""
    known = {name: row[name] for name in COLUMNS if name in row and name != "confidence"}
    known["state"] = state if state in STATES else INTACT
    return plain(known)


def evenly(points: Xy) -> Xy:
    """Return as many points as any outline has, evenly spaced on a closed line."""
    closed = np.concatenate([points, points[:1]])
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.arange(RAYS) * way[-1] / RAYS
    return np.stack([np.interp(at, way, closed[:, axis]) for axis in (0, 1)], axis=1)
