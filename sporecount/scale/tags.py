"""A scale from the photo's own tags."""

from __future__ import annotations

from sporecount.photo.photo import TagScale
from sporecount.scale.calibration import Calibration


def calibration_from_tags(tag_scale: TagScale) -> Calibration:
    """Return the scale a file carries; its error is unknown.

    Examples
    --------
    >>> calibration_from_tags(TagScale(0.5, "OME-TIFF physical size")).um_per_px
    0.5
    """
    return Calibration(um_per_px=tag_scale.um_per_px, source=tag_scale.source)
