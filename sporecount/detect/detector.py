"""From a field to its detections: searched, looked at closer, calibrated, outlined, measured."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.calibration import calibrated, fitted_to_photo
from sporecount.detect.closer import damaged_share, look_closer, relative_tones
from sporecount.detect.colour import colours
from sporecount.detect.outline import outline_columns
from sporecount.detect.search import Candidates, search
from sporecount.detect.seeds import Seeds
from sporecount.detect.table import COLUMNS, DAMAGED, FRAGMENT, INTACT, empty_detections
from sporecount.field.field import Field
from sporecount.settings import DetectSettings

#: Centres nearer than this are two finds of one object, um.
SAME_OBJECT_UM = 2.5

#: From this heat on, a find is one of those by which a photo's usual spore is known.
LIKELY_HEAT = 0.5


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
    return detect_with_doubt(field, settings)[0]


def detect_with_doubt(field: Field, settings: DetectSettings) -> tuple[pd.DataFrame, float]:
    """Do as `detect` does, and say how many more spores are in doubt.

    Returns
    -------
    DataFrame
        As `detect` gives it.
    float
        Spores expected among the places that were not sure enough: the sum of their chances.
    """
    found, shares, seen = finds(field, settings.heat_floor)
    spore, fragment = calibrated(found.spore, found.fragment, shares)
    is_fragment, fitted = fragment > spore, fitted_to_photo(spore, seen)
    confidence = np.where(is_fragment, fragment, fitted)
    least = np.where(is_fragment, settings.least_fragment_confidence, settings.least_confidence)
    kept = confidence >= least
    doubtful = float(fitted[~kept].sum())
    if not kept.any():
        return empty_detections(), doubtful
    columns = outline_columns(field, _seeds(field, found.take(kept)), settings)
    damaged = damaged_chance(found, shares)[kept] >= settings.least_damaged
    state = np.where(is_fragment[kept], FRAGMENT, np.where(damaged, DAMAGED, INTACT))
    order = np.lexsort((columns["x_px"], columns["y_px"]))
    known = columns | {"confidence": confidence[kept], "state": state}
    ready = {name: known[name][order] for name in COLUMNS}
    table = pd.DataFrame(ready | {"state": pd.array(ready["state"], dtype="str")})
    return table, doubtful


def finds(
    field: Field, heat_floor: float
) -> tuple[Candidates, NDArray[np.float64], NDArray[np.float32]]:
    """Search a field, and look closer at each place that was found.

    Parameters
    ----------
    field : Field
        The sample.
    heat_floor : float
        Places of less heat are not looked at.

    Returns
    -------
    Candidates
        Each object once.
    ndarray, shape (k, 4), float64
        What the closer look takes each for: shares of
        `sporecount.detect.closer.CLASSES`; NaN by the edge of the photo.
    ndarray, shape (k, 3), float32
        The colour of each (`sporecount.detect.colour.colours`).
    """
    found = search(field.density, field.examined, heat_floor)
    heat = np.maximum(found.spore, found.fragment)
    found = found.take(_firsts(found.xy_work * field.work_um_per_px, heat))
    surely = (found.spore >= LIKELY_HEAT) & (found.spore > found.fragment)
    seen = colours(field, found.xy_work)
    shares = look_closer(field, _seeds(field, found), relative_tones(seen, surely))
    return found, shares, seen


def damaged_chance(found: Candidates, shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far each find, were it a spore, is taken for a damaged one, shape (k,).

    By the closer look; by the search where that saw nothing.
    """
    share = damaged_share(shares)
    return np.where(np.isnan(share), found.damaged, share)


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
    if len(xy_um) < 2:
        return first
    order = np.argsort(-confidence, kind="stable")
    for near in cKDTree(xy_um[order]).query_pairs(SAME_OBJECT_UM, output_type="ndarray").tolist():
        better, worse = order[min(near)], order[max(near)]
        if first[better]:
            first[worse] = False
    return first
