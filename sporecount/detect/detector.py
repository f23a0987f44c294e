"""From a field to its table of detections."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.candidates import find_candidates
from sporecount.detect.edge import whole_objects
from sporecount.detect.measure import measure_density, measure_edge, measure_shape
from sporecount.detect.outline import trace_outlines
from sporecount.detect.rays import cast_rays
from sporecount.detect.seeds import Seeds
from sporecount.detect.state import judge
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.field.field import Field
from sporecount.settings import DetectSettings

#: Centres nearer than this are two outlines of one object, um.
SAME_OBJECT_UM = 2.5
#: Objects less likely than this after a rough outline are not outlined closely.
LEAST_CHANCE = 0.1


def detect(field: Field, settings: DetectSettings) -> pd.DataFrame:
    """Find, outline, measure and judge the spores of a field.

    Parameters
    ----------
    field : Field
        The sample, from `sporecount.field.make.make_field`.
    settings : DetectSettings
        How.

    Returns
    -------
    DataFrame
        One row for each spore or piece of one, in reading order; the columns of
        `sporecount.detect.table.COLUMNS`. A spore cut by the edge of the sample is
        listed when at least half of it is in view; its length, width and area are
        then those of the whole.
    """
    return detect_at(field, find_candidates(field, settings), settings)


def detect_at(field: Field, seeds: Seeds, settings: DetectSettings) -> pd.DataFrame:
    """Outline, measure and judge the spores of a field at given seeds.

    Parameters
    ----------
    field, settings
        As for `detect`.
    seeds : Seeds
        Where to look, from any candidate step.

    Returns
    -------
    DataFrame
        As for `detect`.
    """
    if not len(seeds):
        return empty_detections()
    rough, _ = outlined_features(field, seeds, field.work_um_per_px, settings)
    _, chance = judge(rough)
    seeds = seeds_of(rough[chance >= LEAST_CHANCE])
    if not len(seeds):
        return empty_detections()
    features, points_px = outlined_features(field, seeds, settings.outline_um_per_px, settings)
    state, confidence = judge(features)
    table = features.assign(state=state, confidence=confidence)
    table["outline_px"] = list(points_px)
    kept = (confidence >= settings.least_confidence) & (
        features["in_view"].to_numpy() >= settings.least_in_view
    )
    kept &= _firsts(table, confidence, SAME_OBJECT_UM / field.calibration.um_per_px)
    table = table.loc[kept].sort_values(["y_px", "x_px"], ignore_index=True)
    return table[list(COLUMNS)].astype(COLUMNS)


def outlined_features(
    field: Field, seeds: Seeds, um_per_px: float, settings: DetectSettings
) -> tuple[pd.DataFrame, NDArray[np.float64]]:
    """Outline the object at each seed and measure all that its state is judged by.

    Parameters
    ----------
    field, settings
        As for `detect`.
    seeds : Seeds
        Where to look; at least one.
    um_per_px : float
        Scale at which outlines are traced.

    Returns
    -------
    features : DataFrame
        One row for each seed: shape, densities, edge.
    points_px : ndarray, shape (k, n, 2), float64
        The outlines, x and y in photo pixels.
    """
    photo_um_per_px = field.calibration.um_per_px
    rays = cast_rays(field, seeds, um_per_px)
    outlines = trace_outlines(rays, photo_um_per_px)
    shape, in_view = whole_objects(
        measure_shape(outlines.points_px, photo_um_per_px),
        outlines.points_px,
        outlines.bound & rays.cut,
        outlines.bound,
        photo_um_per_px,
        settings,
    )
    edge = measure_edge(outlines).assign(in_view=in_view)
    features = pd.concat([shape, measure_density(rays, outlines), edge], axis=1)
    return features, outlines.points_px


def seeds_of(shape: pd.DataFrame) -> Seeds:
    """Return outlined objects as seeds, for a closer outline."""
    return Seeds(
        shape[["x_px", "y_px"]].to_numpy(),
        np.maximum(shape["length_um"].to_numpy(), 3.0),
        np.maximum(shape["width_um"].to_numpy(), 2.5),
        shape["angle_deg"].to_numpy(),
    )


def _firsts(
    table: pd.DataFrame, confidence: NDArray[np.float64], within_px: float
) -> NDArray[np.bool_]:
    """Return True for all but the less sure of two outlines of one object."""
    first = np.ones(len(table), bool)
    xy = table[["x_px", "y_px"]].to_numpy()
    order = np.argsort(-confidence, kind="stable")
    for near in cKDTree(xy[order]).query_pairs(within_px, output_type="ndarray").tolist():
        better, worse = order[min(near)], order[max(near)]
        if first[better]:
            first[worse] = False
    return first
