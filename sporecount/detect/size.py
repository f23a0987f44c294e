"""What a spore's known size says: which finds are none, and whether the scale can be right."""

from __future__ import annotations

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.search import search
from sporecount.detect.table import INTACT, SPORE_STATES
from sporecount.field.field import Field
from sporecount.literature import SPORE_LENGTH_UM
from sporecount.scale.plausible import LEAST_SPORES
from sporecount.settings import DetectSettings

#: A measured length may be off by this share, and the scale with it.
SIZE_ERROR = 0.06

#: Those scales, as factors on the picture's size.
FACTORS = (0.25, 0.4, 0.5, 2.0, 2.5, 4.0)

#: A scale is better when it shows at least `LEAST_SPORES` spores and this many times those found.
TIMES = 3

#: Heat from which on a find at another scale is taken for a spore.
SURE_HEAT = 0.75

#: Largest picture, in pixels, that is searched at another scale.
MOST_PX = 400_000


def of_possible_size(detections: pd.DataFrame) -> NDArray[np.bool_]:
    """Return False for whole spores of a length that none has, as far as is known.

    Blood cells, yeasts and the like are a little smaller. Damaged spores may be shrunken
    or burst, and pieces have any size.

    Examples
    --------
    >>> states = ["intact", "intact", "fragment"]
    >>> table = pd.DataFrame({"length_um": [7.5, 12.0, 7.5], "state": states})
    >>> of_possible_size(table).tolist()
    [False, True, True]
    """
    low, high = SPORE_LENGTH_UM
    possible = detections["length_um"].between(low * (1 - SIZE_ERROR), high * (1 + SIZE_ERROR))
    return (possible | (detections["state"] != INTACT)).to_numpy(bool)


def lengths_for_scale_check(
    field: Field, found: pd.DataFrame, settings: DetectSettings
) -> NDArray[np.float64]:
    """Return the lengths, at the given scale, of what looks like spores at whichever scale.

    The search knows spores by their size too: where the scale is wrong by a factor of
    two, it finds next to none. So where few are found the picture is searched again
    smaller and larger, and what is clearly more there is measured with the given scale.

    Parameters
    ----------
    field : Field
        The sample.
    found : DataFrame
        All that `sporecount.detect.detector.detect` found in it, of any size.
    settings : DetectSettings
        How.

    Returns
    -------
    ndarray, shape (k,), float64
        Lengths in um.
    """
    spores = found[found["state"].isin(SPORE_STATES)]
    lengths = spores["length_um"].to_numpy(float)
    if len(lengths) >= LEAST_SPORES or not settings.check_scale:
        return lengths
    best = lengths
    for factor in FACTORS:
        seen, inside = _lengths_at(field, factor, spores, settings)
        if len(seen) >= max(LEAST_SPORES, TIMES * inside, len(best) + 1):
            best = seen
    return best


def _lengths_at(
    field: Field, factor: float, spores: pd.DataFrame, settings: DetectSettings
) -> tuple[NDArray[np.float64], int]:
    """Return the lengths found at a scale, and how many of `spores` the same part holds."""
    rows, columns = field.examined.shape
    side = int((MOST_PX**0.5) / factor)
    height, width = min(rows, side), min(columns, side)
    top, left = _liveliest(field, height, width)
    part = slice(top, top + height), slice(left, left + width)
    size = (max(8, round(width * factor)), max(8, round(height * factor)))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR
    density = np.asarray(cv2.resize(field.density[part], size, interpolation=way), np.float32)
    examined = cv2.resize(field.examined[part].astype(np.uint8), size, interpolation=0) > 0
    there = search(density, examined, settings.heat_floor)
    sure = (there.spore >= SURE_HEAT) & (there.spore > there.fragment)
    xy = field.to_work_px(spores[["x_px", "y_px"]].to_numpy(float).reshape(-1, 2))
    inside = (np.abs(xy - (left + width / 2, top + height / 2)) <= (width / 2, height / 2)).all(1)
    return there.length_um[sure] / factor, int(inside.sum())


def _liveliest(field: Field, height: int, width: int) -> tuple[int, int]:
    """Return the top left corner of the part of the field where most is to be seen."""
    rows, columns = field.examined.shape
    if (height, width) == (rows, columns):
        return 0, 0
    seen = ((field.density[::4, ::4, 2] > 0.08) & field.examined[::4, ::4]).astype(np.float32)
    # Spots in their number, not the area of one wing scale: edges count.
    edges = cv2.morphologyEx(seen, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    total = cv2.integral(edges)
    h, w = max(1, height // 4), max(1, width // 4)
    sums = total[h:, w:] - total[:-h, w:] - total[h:, :-w] + total[:-h, :-w]
    top, left = np.unravel_index(int(np.argmax(sums)), sums.shape)
    return min(4 * int(top), rows - height), min(4 * int(left), columns - width)
