"""Layers: a thing is drawn on a fine patch of its own and then laid on the picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.scene import Scene
from other_hands.illustrated.texture import blur, smooth_step


class Stroke(NamedTuple):
    """A line drawn on a thing."""

    points_um: np.ndarray  # (n, 2) about the thing's middle
    width_um: float
    density: float


@dataclass(frozen=True)
class Patch:
    """A piece of the picture, `fineness` times as fine; may reach beyond the picture's edge."""

    left: int
    top: int
    width: int
    height: int
    fineness: int
    um_per_px: float

    @property
    def cell_um(self) -> float:
        """Size of one cell of the fine grid."""
        return self.um_per_px / self.fineness

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the fine grid."""
        return self.height * self.fineness, self.width * self.fineness

    @property
    def window(self) -> tuple[int, int, int, int] | None:
        """Left, top, right, bottom of its part within the picture; None where there is none."""
        left, top = max(self.left, 0), max(self.top, 0)
        right = min(self.left + self.width, WIDTH_PX)
        bottom = min(self.top + self.height, HEIGHT_PX)
        return (left, top, right, bottom) if right > left and bottom > top else None

    def cells(self, points_px: np.ndarray) -> np.ndarray:
        """Points of the picture as places on the fine grid (cell centres are whole numbers)."""
        return (points_px - [self.left, self.top] + 0.5) * self.fineness - 0.5

    def _fixed(self, points_px: np.ndarray) -> np.ndarray:
        return np.round(self.cells(points_px) * 16).astype(np.int32)  # four bits below a cell

    def filled(self, outlines_px: list[np.ndarray]) -> np.ndarray:
        """Fine mask of polygons, 1 inside; uint8."""
        mask = np.zeros(self.shape, np.uint8)
        for outline in outlines_px:
            cv2.fillPoly(mask, [self._fixed(outline)], 1, cv2.LINE_8, 4)
        return mask

    def stroked(self, points_px: np.ndarray, width_px: float) -> np.ndarray:
        """Fine picture of a line, 0 to 1; float32."""
        line = np.zeros(self.shape, np.uint8)
        thickness = max(1, round(width_px * self.fineness))
        cv2.polylines(line, [self._fixed(points_px)], False, 255, thickness, cv2.LINE_AA, 4)
        return line.astype(np.float32) / 255

    def distance_um(self, mask: np.ndarray) -> np.ndarray:
        """Distance of each fine cell to the mask's edge, above 0 inside; float32."""
        inside = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
        distance = inside - cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
        distance -= 0.5 * np.sign(distance)  # from the edge, not from the next cell's centre
        return np.clip(distance * self.cell_um, -1e3, 1e3)

    def cover(self, distance_um: np.ndarray) -> np.ndarray:
        """Share of each fine cell inside an outline, anti-aliased."""
        return smooth_step(distance_um / (2 * self.cell_um) + 0.5)

    def coarse(self, image: np.ndarray) -> np.ndarray:
        """A fine image at the picture's own pixels."""
        if self.fineness == 1:
            return image
        return cv2.resize(image, (self.width, self.height), interpolation=cv2.INTER_AREA)


def patch_around(
    outlines_px: list[np.ndarray], margin_px: float, fineness: int, um_per_px: float
) -> Patch | None:
    """Patch that holds outlines with a margin; None where they lie far outside the picture."""
    points = np.concatenate(outlines_px)
    beyond = int(min(60, margin_px + 8))
    left, top = np.floor(points.min(0) - margin_px).astype(int)
    right, bottom = np.ceil(points.max(0) + margin_px).astype(int) + 1
    left, top = max(left, -beyond), max(top, -beyond)
    right, bottom = min(right, WIDTH_PX + beyond), min(bottom, HEIGHT_PX + beyond)
    if right - left < 3 or bottom - top < 3:
        return None
    return Patch(left, top, right - left, bottom - top, fineness, um_per_px)


class Coat(NamedTuple):
    """Paint that hides what lies below, for things lit from above."""

    colour: np.ndarray  # (height, width, 3), fine
    alpha: np.ndarray  # (height, width), fine


class Laid(NamedTuple):
    """A layer as it came to lie on the picture, at the picture's pixels."""

    box: tuple[int, int, int, int]
    transmission: np.ndarray
    cover: np.ndarray  # nought where the layer was laid without one


def lay(
    scene: Scene,
    patch: Patch,
    transmission: np.ndarray,
    blur_px: float,
    cover: np.ndarray | None = None,
    opacity: float = 0.0,
    coat: Coat | None = None,
) -> Laid | None:
    """Lay a fine layer on the picture.

    Parameters
    ----------
    transmission
        (height, width) or (height, width, 3), fine: share of light that passes.
    blur_px
        Blur of the layer by defocus, in pixels of the picture.
    cover
        (height, width), fine: where the thing is. Casts its shadow on a card.
    opacity
        How far the thing hides spores below it.

    Returns
    -------
    Laid or None
        None where nothing of it lies in the picture.
    """
    if transmission.ndim == 2:
        transmission = np.repeat(transmission[..., None], 3, 2)
    through = _at_pixels(patch, transmission, blur_px)
    where = None if cover is None else _at_pixels(patch, cover, blur_px)
    if scene.on_card and where is not None:
        through = _with_shadow(scene, through, where)
    if patch.window is None:
        return None
    left, top, right, bottom = patch.window
    part = np.s_[top - patch.top : bottom - patch.top, left - patch.left : right - patch.left]
    below = scene.picture[top:bottom, left:right]
    below *= through[part]
    covered = np.zeros(through[part].shape[:2], np.float32) if where is None else where[part]
    hidden = covered * opacity
    if coat is not None:
        alpha = _at_pixels(patch, coat.alpha, blur_px)[part][..., None]
        below *= 1 - alpha
        below += alpha * patch.coarse(coat.colour)[part]
        hidden = alpha[..., 0]
    if opacity > 0 or coat is not None:
        _hide(scene, patch.window, hidden)
    return Laid(patch.window, through[part], covered)


def _at_pixels(patch: Patch, image: np.ndarray, blur_px: float) -> np.ndarray:
    return patch.coarse(blur(image.astype(np.float32), blur_px * patch.fineness))


def _with_shadow(scene: Scene, through: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Add the soft shadow that a thing above a card casts, and the light that washes it out."""
    lamp = scene.lamp
    length_px = lamp.shadow_um / scene.um_per_px
    dx, dy = math.cos(lamp.direction_rad) * length_px, math.sin(lamp.direction_rad) * length_px
    shift = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    shadow = cv2.warpAffine(where, shift, where.shape[::-1])
    soft = cv2.GaussianBlur(shadow, (0, 0), max(0.6, length_px * 0.5))
    through = through * (1 - lamp.shadow * 0.6 * soft * (1 - where * 0.8))[..., None]
    return 1 - (1 - through) * lamp.contrast


def _hide(scene: Scene, box: tuple[int, int, int, int], share: np.ndarray) -> None:
    """Note on all spores so far how much of them lies under a new layer."""
    left, top, right, bottom = box
    for spore in scene.spores:
        spore_left, spore_top, spore_right, spore_bottom = spore.box
        x0, y0 = max(spore_left, left), max(spore_top, top)
        x1, y1 = min(spore_right, right), min(spore_bottom, bottom)
        if x1 > x0 and y1 > y0:
            new = share[y0 - top : y1 - top, x0 - left : x1 - left]
            own = np.s_[y0 - spore_top : y1 - spore_top, x0 - spore_left : x1 - spore_left]
            spore.uncovered[own] *= 1 - np.clip(new, 0, 1)
