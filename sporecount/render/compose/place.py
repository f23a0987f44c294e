"""What every composer takes and gives: objects with places, and a map of light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.drawn import Drawn, DrawnSpore

#: Optical density (mean of the channels) from which litter hides what it covers.
OPAQUE_DENSITY = 0.7


@dataclass(frozen=True, eq=False)
class Placed:
    """A drawn object at its place on the canvas.

    Attributes
    ----------
    drawn : Drawn
        The object on its own patch.
    left_px, top_px : int
        Canvas pixel of the patch's first pixel; may lie outside the canvas.
    defocus_um : float
        Distance from the plane in focus; the sign says on which side.
    """

    drawn: Drawn
    left_px: int
    top_px: int
    defocus_um: float

    @property
    def is_spore(self) -> bool:
        """Whether the object is a spore or a piece of one."""
        return isinstance(self.drawn, DrawnSpore)

    @property
    def x_px(self) -> float:
        """Centre on the canvas, x."""
        return self.left_px + self.drawn.centre_px[0]

    @property
    def y_px(self) -> float:
        """Centre on the canvas, y."""
        return self.top_px + self.drawn.centre_px[1]


@dataclass(frozen=True, eq=False)
class Composed:
    """What a composer gives back.

    Attributes
    ----------
    light : ndarray, shape (h, w, 3), float32
        Linear light; 1 is clear background.
    bare : ndarray, shape (h, w, 3), float32
        The same without spores and their pieces.
    cover : ndarray, shape (h, w), int32
        Number, in the list of placed objects, of the last opaque piece of
        litter at each pixel: it hides what has a smaller number. -1 where none.
    """

    light: NDArray[np.float32]
    bare: NDArray[np.float32]
    cover: NDArray[np.int32]


@dataclass(frozen=True)
class Window:
    """The part of a patch that lies on the canvas: canvas and patch slices."""

    canvas: tuple[slice, slice]
    patch: tuple[slice, slice]


def window(
    left: int, top: int, patch_shape: tuple[int, ...], shape: tuple[int, int]
) -> Window | None:
    """Return where a patch meets the canvas, or None where it does not.

    Examples
    --------
    >>> window(-2, 0, (4, 4, 3), (10, 10)).patch[1]
    slice(2, 4, None)
    """
    x0, y0 = max(left, 0), max(top, 0)
    x1, y1 = min(left + patch_shape[1], shape[1]), min(top + patch_shape[0], shape[0])
    if x0 >= x1 or y0 >= y1:
        return None
    return Window(
        (slice(y0, y1), slice(x0, x1)), (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
    )


def paste(canvas: NDArray[np.float32], placed: Placed) -> None:
    """Add the object's density to a canvas that belongs to the caller."""
    density = placed.drawn.density
    part = window(placed.left_px, placed.top_px, density.shape, canvas.shape[:2])
    if part is not None:
        canvas[part.canvas] += density[part.patch]


def focus_levels(placed: list[Placed], most: int) -> list[tuple[float, list[Placed]]]:
    """Group objects by defocus into a few levels, each with its mean defocus in um."""
    if not placed:
        return []
    ordered = sorted(placed, key=lambda one: one.defocus_um)
    depths = np.array([one.defocus_um for one in ordered])
    step = max((depths[-1] - depths[0]) / most, 1e-6)
    number = np.minimum(((depths - depths[0]) / step).astype(int), most - 1)
    groups: list[tuple[float, list[Placed]]] = []
    for level in np.unique(number):
        chosen = np.flatnonzero(number == level)
        groups.append((float(depths[chosen].mean()), [ordered[i] for i in chosen]))
    return groups


def transmit(density: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the share of light that a density lets through."""
    return np.asarray(cv2.exp(density * np.float32(-np.log(10.0))), np.float32)


def grey(image: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean of the channels of an image of shape (h, w, 3)."""
    third = np.full((1, 3), 1 / 3, np.float32)
    flat = cv2.transform(np.ascontiguousarray(image), third)
    return np.asarray(flat, np.float32).reshape(image.shape[:2])


def blur(image: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Blur by a Gaussian; far less than a pixel is no blur.

    Wide blurs are done on a reduced image, whose coarseness they hide.
    """
    if sigma_px < 0.2:
        return image
    height, width = image.shape[:2]
    fold = int(sigma_px / 1.6)
    if fold > 1 and min(height, width) >= 4 * fold:
        # Whole folds only: averaging them is quick, and nothing is shifted.
        down, right = -height % fold, -width % fold
        roomy = cv2.copyMakeBorder(image, 0, down, 0, right, cv2.BORDER_REFLECT_101)
        reduced = (roomy.shape[1] // fold, roomy.shape[0] // fold)
        small = cv2.resize(roomy, reduced, interpolation=cv2.INTER_AREA)
        # Averaging and interpolating blur as well: boxes and triangles of one coarse pixel.
        left = np.sqrt(max((sigma_px / fold) ** 2 - 0.25, 0.25))
        soft = blur(np.asarray(small, np.float32), float(left))
        whole = (roomy.shape[1], roomy.shape[0])
        wide = np.asarray(cv2.resize(soft, whole, interpolation=cv2.INTER_LINEAR), np.float32)
        return wide[:height, :width]
    side = 2 * int(np.ceil(3 * sigma_px)) + 1
    return np.asarray(
        cv2.GaussianBlur(image, (side, side), sigma_px, borderType=cv2.BORDER_REFLECT_101),
        np.float32,
    )
