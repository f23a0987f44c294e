"""Which objects cut by the edge of the sample belong to it.

The associated-point rule [miles1978]: an object belongs to the field that holds
its centre, so that fields side by side add up without counting any twice (see
also [gundersen1977]). The centre of a cut object is not seen; it lies in view
when at least half of the object's area does.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.measure import Columns
from sporecount.literature import SPORE_LENGTH_UM
from sporecount.settings import DetectSettings

#: A completed ellipse is believed when its axes are within this factor of the usual spore's.
BELIEVED = 1.35
#: Least part of the rays that must end at the object's own edge for a completion.
LEAST_FREE = 0.4
#: Fewer rays than this that end at the edge are no cut.
LEAST_CUT = 2

_WHOLE = ["x_px", "y_px", "length_um", "width_um", "angle_deg", "area_um2"]


def completed_ellipse(
    points_px: NDArray[np.float64], free: NDArray[np.bool_], usual_px: tuple[float, float]
) -> tuple[float, float, float, float, float] | None:
    """Complete an outline of which a part is cut away, where that can be done well.

    Parameters
    ----------
    points_px : ndarray, shape (n, 2)
        The outline of the part in view.
    free : ndarray, shape (n,), bool
        True where the outline is the object's own edge.
    usual_px : tuple of float
        Length and width of the photo's usual spore, in pixels.

    Returns
    -------
    tuple or None
        x, y, length, width (pixels) and angle (degrees) of the whole object; None
        where too little is in view or the ellipse is no likely spore.
    """
    own = points_px[free].astype(np.float32)
    if len(own) < max(6, LEAST_FREE * len(free)):
        return None
    (x, y), (one, two), turn = cv2.fitEllipseDirect(own)
    length, width = max(one, two), min(one, two)
    angle = (turn + (90.0 if two > one else 0.0)) % 180.0
    within = [
        usual / BELIEVED < size < usual * BELIEVED for size, usual in zip((length, width), usual_px)
    ]
    return (x, y, length, width, angle) if all(within) else None


def whole_objects(
    shape: Columns,
    points_px: NDArray[np.float64],
    cut: NDArray[np.bool_],
    bound: NDArray[np.bool_],
    um_per_px: float,
    settings: DetectSettings,
) -> tuple[Columns, NDArray[np.float64]]:
    """Complete the shapes of cut objects and say how much of each is in view.

    Parameters
    ----------
    shape : dict of str to ndarray, shape (k,)
        Shapes as measured, from `measure.shape_columns`.
    points_px : ndarray, shape (k, n, 2)
        Outlines in photo pixels.
    cut : ndarray, shape (k, n), bool
        True where an outline follows the edge of the sample.
    bound : ndarray, shape (k, n), bool
        True where it follows that edge or a line of parting.
    um_per_px : float
        Scale of the photo.
    settings : DetectSettings
        Size of a usual spore where the photo shows none whole.

    Returns
    -------
    shape : dict of str to ndarray, shape (k,)
        The same; for cut objects place, length, width, angle and area of the whole.
    in_view : ndarray, shape (k,), float64
        Area in view over the area of the whole; 1 for objects that are not cut.
    """
    in_view = np.ones(len(cut))
    touched = np.flatnonzero(cut.sum(axis=1) >= LEAST_CUT)
    if not len(touched):
        return shape, in_view
    shape = {name: measures.copy() for name, measures in shape.items()}
    whole = np.ones(len(cut), bool)
    whole[touched] = False
    length, width, usual_area = _usual(
        {name: measures[whole] for name, measures in shape.items()}, settings
    )
    for i in touched:
        seen = float(shape["area_um2"][i])
        ellipse = completed_ellipse(
            points_px[i], ~bound[i], (length / um_per_px, width / um_per_px)
        )
        if ellipse is None:
            in_view[i] = seen / usual_area
            continue
        x, y, long_px, wide_px, angle = ellipse
        long, wide = long_px * um_per_px, wide_px * um_per_px
        in_view[i] = min(seen / (np.pi / 4 * long * wide), 1.0)
        for name, measure in zip(_WHOLE, (x, y, long, wide, angle, np.pi / 4 * long * wide)):
            shape[name][i] = measure
    return shape, in_view


def _usual(shape: Columns, settings: DetectSettings) -> tuple[float, float, float]:
    """Return length, width (um) and area (um2) of the usual spore of a photo."""
    length, width = settings.typical_length_um, settings.typical_width_um
    low, high = SPORE_LENGTH_UM
    lengths = shape["length_um"]
    spores = (lengths >= low) & (lengths <= high) & (shape["solidity"] > 0.9)
    if spores.sum() < 5:
        return length, width, np.pi / 4 * length * width
    return (
        float(np.median(lengths[spores])),
        float(np.median(shape["width_um"][spores])),
        float(np.median(shape["area_um2"][spores])),
    )
