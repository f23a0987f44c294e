"""One frozen calibration value, passed explicitly to whatever measures."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sporecount.errors import ScaleError


@dataclass(frozen=True)
class Calibration:
    """Micrometres per pixel, where the number came from, and how sure it is.

    Attributes
    ----------
    um_per_px : float
        Micrometres per photo pixel.
    source : str
        Where it came from, in words, as it appears in ``scale_source``.
    standard_error : float
        Standard error of ``um_per_px`` in um per pixel; nan where unknown.
    notes : tuple of str
        What a person should know about the choice of this scale.

    Raises
    ------
    ScaleError
        If ``um_per_px`` is not a positive finite number.
    """

    um_per_px: float
    source: str
    standard_error: float = math.nan
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.um_per_px) and self.um_per_px > 0):
            raise ScaleError(
                f"scale {self.um_per_px!r} um/px ({self.source})",
                "a scale is a positive number of micrometres per pixel",
                "give a number such as 0.65, or run `sporecount calibrate` on a micrometer photo",
            )
