"""Decides which spores an expert could see on the photograph."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX, Box, Canvas, DrawnSpore

#: Weights of red, green and blue in brightness.
BRIGHTNESS = np.array([0.3, 0.55, 0.15], np.float32)

#: Exponent by which eyes and screens turn light into brightness.
GAMMA = 1 / 2.2

#: Density from which on litter may hide a spore.
DENSE = 1.0

#: Share of a spore that has to be visible, and of its contrast that has to be left.
LEAST_VISIBLE, LEAST_CONTRAST_LEFT = 0.5, 0.38

#: Contrast of a spore by that of the litter beneath it.
LEAST_BY_CLUTTER = 0.85

#: Length on the picture.
LEAST_LENGTH_PX = 3.0


@dataclass(frozen=True)
class Site:
    """The part of the canvas where one spore lies, (h, w) each."""

    box: Box
    mask: np.ndarray  # of the spore
    litter: np.ndarray  # (h, w, 3)
    change: np.ndarray  # of brightness by the spore, among all else
    change_alone: np.ndarray  # of brightness by the spore, on the empty field
    clean: np.ndarray  # brightness without any spores


def judge_seen(canvas: Canvas, light: np.ndarray, covered: np.ndarray) -> list[bool]:
    """Tell for each drawn spore whether it can be seen.

    Parameters
    ----------
    canvas
        With all that lies on it.
    light
        (HEIGHT_PX, WIDTH_PX, 3), the empty field.
    covered
        (HEIGHT_PX, WIDTH_PX) bool, where an overlay hides the picture.
    """
    boxes = np.array([spore.box for spore in canvas.drawn])
    return [_seen(canvas, light, covered, boxes, number) for number in range(len(canvas.drawn))]


def _seen(
    canvas: Canvas, light: np.ndarray, covered: np.ndarray, boxes: np.ndarray, number: int
) -> bool:
    """Tell whether one spore can be seen: uncovered, with contrast, sharp and large enough."""
    look, spore = canvas.look, canvas.drawn[number]
    site = _look_at(canvas, light, spore)
    nearby = cv2.dilate(site.mask.astype(np.uint8), np.ones((3, 3))) > 0
    if not nearby.any():
        return False
    noise = look.camera.noise
    left = site.change[nearby].sum() / (site.change_alone[nearby].sum() + 1e-6)
    contrast = np.percentile(site.change[nearby], 85)
    clutter = site.clean[nearby].std()
    hidden = (site.litter.mean(-1) > DENSE) & (site.change < max(0.035, noise))
    hidden |= _under_overlay(canvas, covered, site.box)
    hidden |= _under_spores(canvas, boxes, number, site)
    visible = (site.mask & ~hidden).sum() / max(spore.mask.sum(), 1)
    piece = spore.state == "fragment"
    least_contrast = max(0.03, 1.3 * noise + 0.012) * (1.3 if piece else 1)
    if piece:
        most_blur_um = 0.6 * np.sqrt(spore.width_um * spore.length_um)
    else:
        most_blur_um = 0.5 * spore.width_um + 0.3
    return bool(
        visible >= LEAST_VISIBLE
        and left > LEAST_CONTRAST_LEFT
        and contrast > least_contrast
        and contrast > LEAST_BY_CLUTTER * clutter
        and _blur_um(canvas, spore) < most_blur_um
        and spore.length_um / canvas.um_per_px >= LEAST_LENGTH_PX
    )


def _look_at(canvas: Canvas, light: np.ndarray, spore: DrawnSpore) -> Site:
    """Compare brightness with and without a spore where it lies."""
    look = canvas.look
    box = left, top, right, bottom = canvas.clipped(spore.box)
    rows = slice(top - spore.box[1], bottom - spore.box[1])
    columns = slice(left - spore.box[0], right - spore.box[0])
    density = spore.density[rows, columns].astype(np.float32)
    litter = canvas.litter[top:bottom, left:right]
    spores = canvas.spores[top:bottom, left:right]
    x_px = min(max(int(spore.x_um / canvas.um_per_px), 0), WIDTH_PX - 1)
    y_px = min(max(int(spore.y_um / canvas.um_per_px), 0), HEIGHT_PX - 1)
    field = light[y_px, x_px]
    blur_px = max(look.camera.blur_px * look.optics.supersampling, 0.4)

    def brightness(density: np.ndarray) -> np.ndarray:
        """Give the blurred brightness (h, w) of what has a density, in the field's light there."""
        linear = ((np.exp(-density) * field) @ BRIGHTNESS) * (1 - look.veil)
        linear = linear + look.veil * 0.6 * field.mean()
        linear = cv2.GaussianBlur(np.clip(linear, 0, 1.2).astype(np.float32), (0, 0), blur_px)
        return np.clip(linear, 0, 1) ** GAMMA

    return Site(
        box=box,
        mask=spore.mask[rows, columns],
        litter=litter,
        change=np.abs(brightness(litter + spores) - brightness(litter + spores - density)),
        change_alone=np.abs(brightness(density) - brightness(density * 0)),
        clean=brightness(litter),
    )


def _under_overlay(canvas: Canvas, covered: np.ndarray, box: Box) -> np.ndarray:
    """Give where in a box of the canvas an overlay hides the picture."""
    left, top, right, bottom = box
    supersampling = canvas.look.optics.supersampling
    rows = np.minimum((np.arange(top, bottom) / supersampling).astype(int), HEIGHT_PX - 1)
    columns = np.minimum((np.arange(left, right) / supersampling).astype(int), WIDTH_PX - 1)
    return covered[np.ix_(rows, columns)]


def _under_spores(canvas: Canvas, boxes: np.ndarray, number: int, site: Site) -> np.ndarray:
    """Give where later spores lie over one; boxes (n, 4) are those of all spores."""
    left, top, right, bottom = site.box
    whole_left, whole_top, whole_right, whole_bottom = canvas.drawn[number].box
    later = boxes[number + 1 :]
    meeting = (
        (later[:, 0] < whole_right)
        & (later[:, 2] > whole_left)
        & (later[:, 1] < whole_bottom)
        & (later[:, 3] > whole_top)
    )
    under = np.zeros_like(site.mask)
    for other in np.nonzero(meeting)[0] + number + 1:
        over = canvas.drawn[other]
        x0, y0 = max(left, over.box[0]), max(top, over.box[1])
        x1, y1 = min(right, over.box[2]), min(bottom, over.box[3])
        if x1 > x0 and y1 > y0:
            piece = over.mask[
                y0 - over.box[1] : y1 - over.box[1], x0 - over.box[0] : x1 - over.box[0]
            ]
            under[y0 - top : y1 - top, x0 - left : x1 - left] |= piece
    return under


def _blur_um(canvas: Canvas, spore: DrawnSpore) -> float:
    """Give the blur of a spore, by its focus and by the camera."""
    optics = canvas.look.optics
    cone = optics.aperture + optics.condenser_aperture
    return abs(spore.focus_um) * cone * 0.5 + canvas.look.camera.blur_px * canvas.um_per_px * 0.8
