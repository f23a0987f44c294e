"""What a drawing function hands to a composer: an object on a small patch of its own.

Every object is drawn alone, in micrometres, in focus, without light or camera:
those are separate steps (compose, optics, light, camera).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Drawn:
    """One object drawn on a patch.

    Attributes
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density of red, green and blue; 0 outside the object. Small
        negative values stand for light bent into a bright core or rim.
    centre_px : tuple of float
        (x, y) of the object's centre within the patch, pixel centres at integers.
    kind : str
        What it is, such as ``"spore"``, ``"wing scale"``, ``"bubble"``.
    """

    density: NDArray[np.float32]
    centre_px: tuple[float, float]
    kind: str


@dataclass(frozen=True, eq=False)
class DrawnSpore(Drawn):
    """A spore, or a piece of one, with its truth.

    Attributes
    ----------
    length_um, width_um : float
        Longest extent and the extent square to it, of what is drawn.
    angle_deg : float
        Long axis, from +x towards +y, in [0, 180).
    state : str
        ``"intact"``, ``"damaged"`` or ``"fragment"``.
    area_um2 : float
        Area inside the outline.
    style : str
        Name of the drawing style.
    """

    length_um: float
    width_um: float
    angle_deg: float
    state: str
    area_um2: float
    style: str
