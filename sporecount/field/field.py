"""The field: the part of a photo that is sample, evenly lit, at the working scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.scale.calibration import Calibration


@dataclass(frozen=True)
class Fitness:
    """Whether a person could count on this photo.

    Attributes
    ----------
    usable : bool
        False where the photo is refused.
    reason, remedy : str
        Why it is refused and what to do about it; empty where usable.
    measures : dict of str to float
        The figures behind the judgement, for the log.
    """

    usable: bool
    reason: str
    remedy: str
    measures: dict[str, float]


@dataclass(frozen=True, eq=False)
class Field:
    """The sample as it is searched.

    Attributes
    ----------
    calibration : Calibration
        Scale of the photo the field was made from.
    pixels : ndarray, shape (height, width, 3), uint8
        The photo's own pixels (a reference, not a copy).
    density : ndarray, shape (rows, columns, 3), float32
        Optical density of red, green and blue at the working scale, the clear
        background at 0: ``-log10(light / background light)``.
    light : ndarray, shape (ceil(rows / light_step), ceil(columns / light_step), 3), float32
        Background light, in units of ``pixels``; it is smooth, so it is kept coarse.
        Between its pixels it is bilinear, beyond the outermost it stays the same.
    examined : ndarray, shape (rows, columns), bool
        True where the picture is sample and clear of burned-in text.
    work_um_per_px : float
        Scale of ``density`` and ``examined``, in um per pixel.
    examined_mm2 : float
        Area of ``examined``.
    fitness : Fitness
        Whether the photo can be judged at all.
    notes : tuple of str
        What a person should know about how the field was found.
    light_step : int
        Working pixels per pixel of ``light``.
    """

    calibration: Calibration
    pixels: NDArray[np.uint8]
    density: NDArray[np.float32]
    light: NDArray[np.float32]
    examined: NDArray[np.bool_]
    work_um_per_px: float
    examined_mm2: float
    fitness: Fitness
    notes: tuple[str, ...] = ()
    light_step: int = 1

    @property
    def zoom(self) -> float:
        """Photo pixels per pixel of the working scale."""
        return self.work_um_per_px / self.calibration.um_per_px

    def to_photo_px(self, xy_work: NDArray[np.float64]) -> NDArray[np.float64]:
        """Convert (x, y) at the working scale to photo pixels, pixel centres at integers."""
        return (xy_work + 0.5) * self.zoom - 0.5

    def to_work_px(self, xy_photo: NDArray[np.float64]) -> NDArray[np.float64]:
        """Convert (x, y) in photo pixels to the working scale."""
        return (xy_photo + 0.5) / self.zoom - 0.5
