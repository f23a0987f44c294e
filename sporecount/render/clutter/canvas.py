"""The patch that one object is drawn on: coordinates in um, turned and anti-aliased.

Objects are drawn on a finer grid than the picture's and averaged down, so that
details below a pixel fade as they do in a camera instead of breaking up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

#: Any float picture; what is handed out is float32.
Image = NDArray[Any]
#: Density (rows, columns, 3) and the object's centre (x, y) in it.
Picture = tuple[Image, tuple[float, float]]

#: Grid that small objects are drawn on, um: fine enough for details of 0.7 um.
FINE_UM = 0.62
#: Least optical density: bent light makes a rim up to about 1.8 times as bright as the ground.
BRIGHTEST_DENSITY = -0.25


@dataclass(frozen=True, eq=False)
class Canvas:
    """Coordinates of a patch in the object's own frame.

    Attributes
    ----------
    u_um, v_um : ndarray, shape (rows * fold, columns * fold), float32
        Position of each fine pixel along and across the object.
    step_um : float
        Side of a fine pixel.
    fold : int
        Fine pixels in one pixel of the picture, along each side.
    centre_px : tuple of float
        (x, y) of the object's centre in pixels of the picture.
    """

    u_um: Image
    v_um: Image
    step_um: float
    fold: int
    centre_px: tuple[float, float]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the fine grid."""
        return self.u_um.shape[0], self.u_um.shape[1]

    def finish(self, density: Image) -> Picture:
        """Average a density drawn on the fine grid down to the picture's pixels."""
        rows, columns = self.shape
        small = density
        if self.fold > 1:
            size = (columns // self.fold, rows // self.fold)
            small = cv2.resize(density, size, interpolation=cv2.INTER_AREA)
        return clear_border(small), self.centre_px


def clear_border(density: Image) -> Image:
    """Return a float32 copy whose outermost pixels are 0, no brighter than light can be bent."""
    out = np.maximum(density, np.float32(BRIGHTEST_DENSITY), dtype=np.float32)
    out[[0, -1]] = 0.0
    out[:, [0, -1]] = 0.0
    return out


def make_canvas(
    rng: np.random.Generator,
    um_per_px: float,
    half_u_um: float,
    half_v_um: float | None = None,
    fine_um: float = FINE_UM,
    angle: float | None = None,
) -> Canvas:
    """Lay out a patch for an object of the given half extents, turned at random.

    Parameters
    ----------
    rng : Generator
        Source of the turn and of the centre's place within its pixel.
    um_per_px : float
        Scale of the picture.
    half_u_um, half_v_um : float
        Half extents along and across the object, soft edges included.
    fine_um : float
        Coarsest grid to draw on.
    angle : float, optional
        Turn in radians from +x towards +y; random when left out.
    """
    half_v_um = half_u_um if half_v_um is None else half_v_um
    fold = max(1, int(np.ceil(um_per_px / fine_um - 1e-9)))
    angle = float(rng.uniform(0.0, 2.0 * np.pi)) if angle is None else angle
    cos, sin = np.cos(angle), np.sin(angle)
    half_x = int(np.ceil((abs(cos) * half_u_um + abs(sin) * half_v_um) / um_per_px)) + 2
    half_y = int(np.ceil((abs(sin) * half_u_um + abs(cos) * half_v_um) / um_per_px)) + 2
    centre = (half_x + float(rng.uniform(-0.5, 0.5)), half_y + float(rng.uniform(-0.5, 0.5)))
    x_um = _fine_steps(2 * half_x + 1, fold, centre[0]) * np.float32(um_per_px)
    y_um = _fine_steps(2 * half_y + 1, fold, centre[1]) * np.float32(um_per_px)
    u_um = (np.float32(cos) * x_um)[None, :] + (np.float32(sin) * y_um)[:, None]
    v_um = (np.float32(-sin) * x_um)[None, :] + (np.float32(cos) * y_um)[:, None]
    return Canvas(u_um, v_um, um_per_px / fold, fold, centre)


def _fine_steps(count: int, fold: int, centre_px: float) -> Image:
    fine = (np.arange(count * fold, dtype=np.float32) + 0.5) / fold - 0.5
    return (fine - centre_px).astype(np.float32)


def turned(rng: np.random.Generator, um_per_px: float, flat: Canvas, density: Image) -> Picture:
    """Turn a density drawn on an upright canvas by a random angle, averaged down first.

    Long objects are cheaper to draw upright: their turned patch is mostly empty.
    """
    upright, origin = flat.finish(density)
    half_u, half_v = upright.shape[1] * um_per_px / 2, upright.shape[0] * um_per_px / 2
    angle = float(rng.uniform(0.0, 2.0 * np.pi))
    cos, sin = np.cos(angle), np.sin(angle)
    half_x = int(np.ceil((abs(cos) * half_u + abs(sin) * half_v) / um_per_px)) + 2
    half_y = int(np.ceil((abs(sin) * half_u + abs(cos) * half_v) / um_per_px)) + 2
    centre = (half_x + float(rng.uniform(-0.5, 0.5)), half_y + float(rng.uniform(-0.5, 0.5)))
    turn = np.array([[cos, -sin], [sin, cos]])
    matrix = np.hstack([turn, (np.array(centre) - turn @ np.array(origin))[:, None]])
    size = (2 * half_x + 1, 2 * half_y + 1)
    return clear_border(cv2.warpAffine(upright, matrix, size, flags=cv2.INTER_LINEAR)), centre
