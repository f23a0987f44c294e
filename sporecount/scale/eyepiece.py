"""A scale from the eyepiece: its field's diameter in micrometres over that in pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.errors import ScaleError
from sporecount.scale.calibration import Calibration
from sporecount.scale.circle import Circle, find_eyepiece_circle

__all__ = [
    "Circle",
    "Eyepiece",
    "calibration_from_eyepiece",
    "eyepiece_calibration",
    "find_eyepiece_circle",
]

#: Field numbers that eyepieces have, mm (common practice, no source).
FIELD_NUMBERS_MM = (5.0, 30.0)
#: Magnifications that objectives have (common practice, no source).
OBJECTIVES = (0.5, 150.0)


@dataclass(frozen=True)
class Eyepiece:
    """What is engraved on the microscope.

    Attributes
    ----------
    field_number_mm : float
        Field number of the eyepiece, mm: the 18 of ``10x/18``.
    objective : float
        Magnification of the objective: the 10 of ``10x/0.25``.

    Raises
    ------
    ScaleError
        If no eyepiece or objective has such a number.
    """

    field_number_mm: float
    objective: float

    def __post_init__(self) -> None:
        low, high = FIELD_NUMBERS_MM
        if not low <= self.field_number_mm <= high:
            raise ScaleError(
                f"field number {self.field_number_mm:g}",
                f"eyepieces have field numbers from {low:g} to {high:g} mm",
                "read the number after the slash on the eyepiece, such as 18 in 10x/18",
            )
        low, high = OBJECTIVES
        if not low <= self.objective <= high:
            raise ScaleError(
                f"objective {self.objective:g}x",
                f"objectives magnify {low:g} to {high:g} times",
                "read the number on the objective, such as 10 in 10x/0.25",
            )

    @property
    def field_mm(self) -> float:
        """Diameter of the field in the sample, mm: field number over magnification."""
        return self.field_number_mm / self.objective


def calibration_from_eyepiece(
    field_diameter_px: float,
    field_number_mm: float,
    objective: float,
    *,
    standard_error_px: float = math.nan,
) -> Calibration:
    """Return the scale of a photo on which the field of the eyepiece is so wide.

    Parameters
    ----------
    field_diameter_px : float
        Diameter of the round field in the photo, px.
    field_number_mm : float
        Field number of the eyepiece, mm.
    objective : float
        Magnification of the objective.
    standard_error_px : float
        Standard error of ``field_diameter_px``.

    Returns
    -------
    Calibration
        Its standard error holds that of the circle alone. Engraved numbers are
        rounded, which adds a few percent that nobody can see in one photo.

    Raises
    ------
    ScaleError
        If a number is impossible.

    Examples
    --------
    A field number of 18 at 10x is 1.8 mm across:

    >>> calibration_from_eyepiece(3000, 18, 10).um_per_px
    0.6
    """
    eyepiece = Eyepiece(field_number_mm, objective)
    if not (math.isfinite(field_diameter_px) and field_diameter_px > 0):
        raise ScaleError(
            f"field diameter {field_diameter_px!r} px",
            "a diameter is a positive number of pixels",
            "measure the round field in the photo",
        )
    um_per_px = eyepiece.field_mm * 1000 / field_diameter_px
    return Calibration(
        um_per_px=um_per_px,
        source=f"eyepiece field: field number {field_number_mm:g}, objective {objective:g}x",
        standard_error=um_per_px * standard_error_px / field_diameter_px,
    )


def eyepiece_calibration(pixels: NDArray[np.uint8], eyepiece: Eyepiece) -> Calibration:
    """Find the field of the eyepiece in a photo and return the photo's scale.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        RGB.
    eyepiece : Eyepiece
        What is engraved on the microscope.

    Raises
    ------
    ScaleError
        If the round field is not seen.
    """
    circle = find_eyepiece_circle(pixels)
    return calibration_from_eyepiece(
        circle.diameter_px,
        eyepiece.field_number_mm,
        eyepiece.objective,
        standard_error_px=2 * circle.standard_error_px,
    )
