"""One detection that is several is parted, and several that are one are joined."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.measure import measure_shape
from sporecount.detect.outline import outline_and_measure
from sporecount.detect.parting import part_touching
from sporecount.field.field import Field
from sporecount.review.errors import ReviewError
from sporecount.review.shapes import (
    MASK_UM_PER_PX,
    Row,
    Shape,
    Xy,
    evenly,
    made_row,
    mask_shape,
    mean_density,
    neighbours_of,
    outlined,
    place_of,
    searched,
    seeds_of,
    shape_of,
    together,
)
from sporecount.settings import DetectSettings

#: How much narrower a neck must be, tried in turn until the pieces are as many as asked.
NECKS = (0.2, 0.12, 0.07, 0.04, 0.02)
#: Part of the smallest distance at which two spores of a clump can lie, um.
LEAST_APART_UM = 4.0


def parted(
    field: Field, detections: pd.DataFrame, target: int, parts: int, settings: DetectSettings
) -> list[dict[str, Any]]:
    """Return the spores that one detection really is.

    Where the search network sees as many spores within the outline, it is parted there; else
    at the outline's necks; else across its long axis into equal lengths. Each part is then
    outlined for itself, with a line of parting between them.

    Parameters
    ----------
    field, detections, settings
        As for `grown`.
    target : int
        Row of the detection.
    parts : int
        How many it is.

    Returns
    -------
    list of dict
        As `grown` returns it, along the long axis, each in the target's state.

    Raises
    ------
    ReviewError
        If it is to be less than two parts, or has no outline.
    """
    if parts < 2:
        raise ReviewError(
            f"{parts} parts", "a detection is parted into two or more", "give 2 or more"
        )
    row = detections.iloc[target].to_dict()
    outline = _outline_of(row)
    others = neighbours_of(field, detections.drop(index=detections.index[target]), place_of(row))
    shapes = _parts_by_search(field, outline, parts) or _parts_by_shape(field, row, outline, parts)
    seeds = seeds_of(shapes)
    table = outline_and_measure(field, together(seeds, others), settings).iloc[:parts]
    along = np.deg2rad(float(row["angle_deg"]))
    order = np.argsort(table["x_px"] * np.cos(along) + table["y_px"] * np.sin(along))
    return [made_row(table.iloc[int(each)].to_dict(), str(row["state"])) for each in order]


def joined(
    field: Field, detections: pd.DataFrame, targets: Sequence[int], settings: DetectSettings
) -> dict[str, Any]:
    """Return the one spore that several detections really are.

    It is outlined anew from their common shape; where that leaves one of them outside, the
    hull of their outlines is kept.

    Parameters
    ----------
    field, detections, settings
        As for `grown`.
    targets : sequence of int
        Rows of the detections.

    Returns
    -------
    dict
        As `grown` returns it, in the state of the largest of them.

    Raises
    ------
    ReviewError
        If there are fewer than two, or one has no outline.
    """
    if len(set(targets)) < 2:
        raise ReviewError("one detection", "only several can be joined", "choose two or more")
    rows = detections.iloc[list(targets)]
    points = np.concatenate([_outline_of(row) for row in rows.to_dict("records")]).astype(
        np.float32
    )
    hull = evenly(cv2.convexHull(points).reshape(-1, 2).astype(float))
    um_per_px = field.calibration.um_per_px
    shape = measure_shape(hull[None], um_per_px).iloc[0].to_dict()
    at = place_of(shape)
    kept = detections.drop(index=detections.index[list(targets)])
    row, _ = outlined(field, shape_of(shape), neighbours_of(field, kept, at), settings, again=False)
    centres = rows[["x_px", "y_px"]].to_numpy(np.float32)
    inside = [
        cv2.pointPolygonTest(row["outline_px"].astype(np.float32), (float(x), float(y)), False) >= 0
        for x, y in centres
    ]
    if not (row["traced"] and all(inside)):
        row = {**shape, **mean_density(field, hull), "outline_px": hull}
    largest = rows["area_um2"].fillna(0.0).to_numpy(float).argmax()
    return made_row(row, str(rows["state"].iloc[int(largest)]))


def _parts_by_search(field: Field, outline: Xy, parts: int) -> list[Shape]:
    """Return the places within an outline that look most like spores, if they are enough."""
    xy, length, width, angle, heat = searched(field, outline.mean(axis=0))
    polygon = outline.astype(np.float32)
    inside = [cv2.pointPolygonTest(polygon, (float(x), float(y)), False) >= 0 for x, y in xy]
    chosen: list[int] = []
    for k in np.argsort(-heat):
        apart = np.hypot(*(xy[chosen] - xy[k]).T) * field.calibration.um_per_px
        if inside[k] and (not chosen or apart.min() >= LEAST_APART_UM):
            chosen.append(int(k))
    if len(chosen) < parts:
        return []
    return [(xy[k], float(length[k]), float(width[k]), float(angle[k])) for k in chosen[:parts]]


def _parts_by_shape(field: Field, row: Row, outline: Xy, parts: int) -> list[Shape]:
    """Part an outline at its necks, or else across its long axis into equal lengths."""
    per_um = field.calibration.um_per_px / MASK_UM_PER_PX
    corner = outline.min(axis=0)
    points = (outline - corner) * per_um + 2.0
    columns, rows = np.ceil(points.max(axis=0)).astype(int) + 3
    mask = np.zeros((rows, columns), np.uint8)
    cv2.fillPoly(mask, [np.rint(points).astype(np.int32)], 1)
    labels = _necked(mask.astype(bool), float(row["width_um"]), parts)
    if labels is None:
        labels = _sliced(mask, parts)
    shapes = [mask_shape((labels == k).astype(np.uint8), MASK_UM_PER_PX) for k in _numbers(parts)]
    return [((xy - 2.0) / per_um + corner, *size) for xy, *size in shapes]


def _numbers(parts: int) -> range:
    return range(1, parts + 1)


def _necked(mask: NDArray[np.bool_], width_um: float, parts: int) -> NDArray[np.int32] | None:
    width = width_um if np.isfinite(width_um) and width_um > 0 else 8.0
    for neck in NECKS:
        labels = part_touching(mask, 0.5 * width / MASK_UM_PER_PX, neck)
        sizes = np.bincount(labels.ravel())[1:]
        if len(sizes) == parts and sizes.min() >= 0.3 * sizes.max():
            return labels
    return None


def _sliced(mask: NDArray[np.uint8], parts: int) -> NDArray[np.int32]:
    _, _, _, angle = mask_shape(mask, 1.0)
    turn = np.deg2rad(angle)
    yy, xx = np.nonzero(mask)
    along = xx * np.cos(turn) + yy * np.sin(turn)
    # By area, not by length: ends are narrower than the middle.
    bounds = np.quantile(along, np.arange(1, parts) / parts)
    labels = np.zeros(mask.shape, np.int32)
    labels[yy, xx] = 1 + np.searchsorted(bounds, along)
    return labels


def _outline_of(row: Row) -> Xy:
    outline = np.asarray(row["outline_px"], float).reshape(-1, 2)
    if len(outline) < 3:
        raise ReviewError(
            "a detection without an outline",
            "it cannot be parted or joined",
            "reject it, and add what is there",
        )
    return outline
