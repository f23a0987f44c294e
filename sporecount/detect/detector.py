"""From a field to its table of detections: searched, calibrated, outlined, measured."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.calibration import calibrated
from sporecount.detect.edge import whole_objects
from sporecount.detect.measure import measure_density, measure_shape
from sporecount.detect.outline import trace_outlines
from sporecount.detect.rays import cast_rays
from sporecount.detect.search import Candidates, search
from sporecount.detect.seeds import Seeds
from sporecount.detect.table import COLUMNS, DAMAGED, FRAGMENT, INTACT, empty_detections
from sporecount.field.field import Field
from sporecount.settings import DetectSettings

#: Centres nearer than this are two finds of one object, um.
SAME_OBJECT_UM = 2.5

#: An outline is believed while its area is within these factors of the searched ellipse's
#: and its centre no further than this from the searched one, um.
BELIEVED_AREA, BELIEVED_SHIFT_UM = (0.55, 1.8), 2.5


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
        `sporecount.detect.table.COLUMNS`. An object belongs to the field that holds
        its centre; for one cut by the edge, length, width and area are those of the
        whole.
    """
    found = search(field.density, field.examined, settings.heat_floor)
    spore, fragment = calibrated(found.spore, found.fragment)
    is_fragment = fragment > spore
    confidence = np.where(is_fragment, fragment, spore)
    least = np.where(is_fragment, settings.least_fragment_confidence, settings.least_confidence)
    kept = confidence >= least
    kept[kept] = _firsts(found.xy_work[kept] * field.work_um_per_px, confidence[kept])
    if not kept.any():
        return empty_detections()
    chosen = found.take(kept)
    table = outline_and_measure(field, _seeds(field, chosen), settings)
    damaged = chosen.damaged >= settings.least_damaged
    table["state"] = np.where(is_fragment[kept], FRAGMENT, np.where(damaged, DAMAGED, INTACT))
    table["confidence"] = confidence[kept]
    table = table.sort_values(["y_px", "x_px"], ignore_index=True)
    return table[list(COLUMNS)].astype(COLUMNS)


def outline_and_measure(field: Field, seeds: Seeds, settings: DetectSettings) -> pd.DataFrame:
    """Outline the objects at given places and measure them.

    Parameters
    ----------
    field, settings
        As for `detect`.
    seeds : Seeds
        Where they are and how large about, from any search; at least one.

    Returns
    -------
    DataFrame
        One row for each seed: place, shape, densities and ``outline_px``. Where the
        light gives no believable outline, the seed's own ellipse stands in.
    """
    um_per_px = field.calibration.um_per_px
    rays = cast_rays(field, seeds, settings.outline_um_per_px)
    outlines = trace_outlines(rays, um_per_px)
    shape, _ = whole_objects(
        measure_shape(outlines.points_px, um_per_px),
        outlines.points_px,
        outlines.bound & rays.cut,
        outlines.bound,
        um_per_px,
        settings,
    )
    ellipses = rays.points_px(np.ones((len(seeds), rays.step_px.shape[1])))
    own = measure_shape(ellipses, um_per_px)
    growth = shape["area_um2"].to_numpy() / own["area_um2"].to_numpy()
    shift = np.hypot(shape["x_px"] - own["x_px"], shape["y_px"] - own["y_px"]) * um_per_px
    low, high = BELIEVED_AREA
    believed = ((growth > low) & (growth < high) & (shift < BELIEVED_SHIFT_UM)).to_numpy()
    table = shape.where(pd.Series(believed, index=shape.index), own)
    # The search has seen thousands of spores with their sizes, the outline only this one:
    # the mean of both errs less than either.
    for column in ("length_um", "width_um"):
        table[column] = np.sqrt(table[column] * own[column])
    table["x_px"], table["y_px"] = seeds.xy_px[:, 0], seeds.xy_px[:, 1]
    table = pd.concat([table, measure_density(rays, outlines)], axis=1)
    table["outline_px"] = list(np.where(believed[:, None, None], outlines.points_px, ellipses))
    return table


def _seeds(field: Field, found: Candidates) -> Seeds:
    return Seeds(
        field.to_photo_px(found.xy_work),
        np.maximum(found.length_um, 2.0),
        np.maximum(found.width_um, 1.5),
        found.angle_deg,
    )


def _firsts(xy_um: NDArray[np.float64], confidence: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return True for all but the less sure of two finds of one object."""
    first = np.ones(len(xy_um), bool)
    order = np.argsort(-confidence, kind="stable")
    for near in cKDTree(xy_um[order]).query_pairs(SAME_OBJECT_UM, output_type="ndarray").tolist():
        better, worse = order[min(near)], order[max(near)]
        if first[better]:
            first[worse] = False
    return first
