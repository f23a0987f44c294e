"""What a spore's known size says: which finds are none, and whether the scale can be right."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.rescaled import Part, parts_like_spores, sure
from sporecount.detect.search import search
from sporecount.detect.table import INTACT, SPORE_STATES
from sporecount.field.field import Field
from sporecount.literature import SPORE_LENGTH_UM
from sporecount.scale.plausible import LEAST_SPORES
from sporecount.settings import DetectSettings

#: A measured length may be off by this share, and the scale with it.
SIZE_ERROR = 0.06

#: A scale is better when it shows at least `LEAST_SPORES` spores and this many times those found.
TIMES = 3


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
    lengths = detections["length_um"].to_numpy(float)
    possible = (lengths >= low * (1 - SIZE_ERROR)) & (lengths <= high * (1 + SIZE_ERROR))
    return np.asarray(possible | (detections["state"].to_numpy(object) != INTACT), bool)


def lengths_for_scale_check(
    field: Field, found: pd.DataFrame, settings: DetectSettings
) -> NDArray[np.float64]:
    """Return the lengths, at the given scale, of what looks like spores at whichever scale.

    The search knows spores by their size too: where the scale is wrong by a factor of
    two, it finds next to none. So where few are found some spots of the picture are looked
    at smaller and larger. Where one looks like a spore then, the picture is searched again
    so, and what is clearly more there is measured with the given scale.

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
    are_spores = np.isin(found["state"].to_numpy(object), SPORE_STATES)
    lengths = found["length_um"].to_numpy(float)[are_spores]
    if len(lengths) >= LEAST_SPORES or not settings.check_scale:
        return lengths
    best, xy_px = lengths, found[["x_px", "y_px"]].to_numpy(float)[are_spores]
    for part in parts_like_spores(field):
        seen, inside = _lengths_at(field, part, xy_px, settings)
        if len(seen) >= max(LEAST_SPORES, TIMES * inside, len(best) + 1):
            best = seen
    return best


def _lengths_at(
    field: Field, part: Part, spores_px: NDArray[np.float64], settings: DetectSettings
) -> tuple[NDArray[np.float64], int]:
    """Return the lengths found at a scale, and how many of the spores found the part holds."""
    there = search(*part.resized(field), settings.heat_floor)
    xy = field.to_work_px(spores_px)
    half = part.width / 2, part.height / 2
    inside = (np.abs(xy - (part.left + half[0], part.top + half[1])) <= half).all(axis=1)
    return there.length_um[sure(there)] / part.factor, int(inside.sum())
