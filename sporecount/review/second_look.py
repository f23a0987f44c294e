"""A second search of a photo: what the tool may have missed, and how sure it is of states.

It asks of less heat than the count does, and keeps what the networks said of each place. It
takes about as long as a count: once for each photo that is opened.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sporecount.detect.calibration import calibrated, fitted_to_photo
from sporecount.detect.detector import SAME_OBJECT_UM, damaged_chance, finds
from sporecount.detect.matching import match_centres
from sporecount.field.field import Field
from sporecount.microscope import Adjustment
from sporecount.settings import DetectSettings

#: Places of less heat than this are not looked at a second time either: of 15,000 on rendered
#: photos none was a spore with a chance worth a look.
LOW_FLOOR = 0.1

#: Chance of being a spore from which on a place is worth a look.
LEAST_CHANCE = 0.008

#: Columns of places where a spore may have been missed: id (``m1`` is the first), place in
#: photo pixels, chance of being a spore, chance of being damaged if it is one, rough shape.
MISS_COLUMNS: dict[str, str] = {
    "id": "str",
    "x_px": "float64",
    "y_px": "float64",
    "chance": "float64",
    "damaged": "float64",
    "length_um": "float64",
    "width_um": "float64",
    "angle_deg": "float64",
}


@dataclass(frozen=True, eq=False)
class SecondLook:
    """What a second search says of a photo.

    Attributes
    ----------
    misses : DataFrame
        Places where a spore may have been missed, the likeliest first; columns
        ``MISS_COLUMNS``.
    spore, damaged : ndarray, shape (k,), float64
        For each of the tool's detections, in its order: the chance to be a spore, and to be
        a damaged one if it is one; nan where the search does not meet it again.
    """

    misses: pd.DataFrame
    spore: NDArray[np.float64]
    damaged: NDArray[np.float64]


def no_second_look(detections: pd.DataFrame) -> SecondLook:
    """Return a second look that saw nothing: what is known of each detection is the count's."""
    misses = pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in MISS_COLUMNS.items()})
    unknown = np.full(len(detections), np.nan)
    return SecondLook(misses, unknown, unknown)


def second_look(
    field: Field,
    detections: pd.DataFrame,
    settings: DetectSettings,
    low_floor: float = LOW_FLOOR,
    adjustment: Adjustment | None = None,
) -> SecondLook:
    """Search a field again, for what lies below the threshold of the count.

    Parameters
    ----------
    field : Field
        The sample.
    detections : DataFrame
        What the count found there, columns ``sporecount.detect.table.COLUMNS``.
    settings : DetectSettings
        Those of the count.
    low_floor : float
        Least heat of a place, 0 to 1.
    adjustment : Adjustment, optional
        That of the microscope, where the count was adjusted.
    """
    places = all_finds(field, settings, low_floor)
    if adjustment is not None:
        places["spore"] = adjustment.confidence(places["spore"])
    reach = SAME_OBJECT_UM / field.calibration.um_per_px
    again, place_of = _met_again(places, detections, reach)
    spore, damaged = (np.full(len(detections), np.nan) for _ in range(2))
    spore[again], damaged[again] = (places[c].to_numpy()[place_of] for c in ("spore", "damaged"))
    met = np.isin(np.arange(len(places)), place_of)
    new = places[~met]
    # What the count was sure enough of and left out, it left out for its size.
    by_size = (new["spore"] >= settings.least_confidence) & (new["spore"] >= new["fragment"])
    new = new[~by_size & (new["spore"] >= LEAST_CHANCE)]
    new = _away_from(new, detections, reach)
    new = new.rename(columns={"spore": "chance"}).sort_values("chance", ascending=False)
    new["id"] = [f"m{number}" for number in range(1, len(new) + 1)]
    misses = new[list(MISS_COLUMNS)].reset_index(drop=True).astype(MISS_COLUMNS)
    return SecondLook(misses, spore, damaged)


def all_finds(field: Field, settings: DetectSettings, low_floor: float) -> pd.DataFrame:
    """Return all places of so much heat, with what the count would take them for.

    Returns
    -------
    DataFrame
        ``x_px``, ``y_px`` in photo pixels; ``spore``, ``fragment``: chances as the count has
        them; ``is_fragment``: which of the two it is called; ``damaged``: chance of a spore to
        be damaged; ``heat``; rough shape.
    """
    floor = min(low_floor, settings.heat_floor)
    found, shares, seen = finds(field, floor)
    spore, fragment = calibrated(found.spore, found.fragment, shares)
    heat = np.maximum(found.spore, found.fragment)
    xy = field.to_photo_px(found.xy_work).reshape(-1, 2)
    return pd.DataFrame(
        {
            "x_px": xy[:, 0],
            "y_px": xy[:, 1],
            # What the count never saw says nothing of its finds.
            "spore": fitted_to_photo(spore, seen, among=heat >= settings.heat_floor),
            "fragment": fragment,
            "is_fragment": fragment > spore,
            "damaged": damaged_chance(found, shares),
            "heat": heat,
            "length_um": found.length_um,
            "width_um": found.width_um,
            "angle_deg": found.angle_deg,
        }
    )


def _met_again(
    places: pd.DataFrame, detections: pd.DataFrame, reach_px: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return which detections the search meets again, and which place each is."""
    none = np.zeros(0, np.int64)
    if places.empty or detections.empty:
        return none, none
    mine, theirs = (one[["x_px", "y_px"]].to_numpy(float) for one in (detections, places))
    found = match_centres(mine, theirs, reach_px)
    return np.asarray(found.found, np.int64), np.asarray(found.true, np.int64)


def _away_from(places: pd.DataFrame, detections: pd.DataFrame, reach_px: float) -> pd.DataFrame:
    """Return the places that are not the middle of a detection once more."""
    if places.empty or detections.empty:
        return places.copy()
    tree = cKDTree(detections[["x_px", "y_px"]].to_numpy(float))
    apart, _ = tree.query(places[["x_px", "y_px"]].to_numpy(float), k=1)
    return places.loc[np.asarray(apart) > reach_px].copy()
