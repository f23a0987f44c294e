"""Outlines drawn on a picture, so that a state is told by the line and not by colour alone.

Each line is light within a dark casing: the casing shows on clear ground, the
light core on dark ground. The three colours differ for colour-blind eyes too.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT

#: Casing of every line, RGB.
_CASING = (12, 24, 48)

#: Lines this close to the picture's frame run along it, px.
_FRAME_PX = 5.0

#: Fractional bits of the drawing calls: lines land between pixels.
_SHIFT = 4


@dataclass(frozen=True)
class Stroke:
    """How the outline of one state is drawn.

    Attributes
    ----------
    colour : tuple of int
        RGB of the core.
    dash, gap : float
        Length of dashes and of the gaps between, in line widths; a gap of 0 is
        an unbroken line.
    triangle : bool
        Whether a small triangle points at the object from above.
    on_frame : bool
        Whether dashes that run along the picture's own frame are drawn too.
    """

    colour: tuple[int, int, int]
    dash: float
    gap: float
    triangle: bool = False
    on_frame: bool = True


STROKES: dict[str, Stroke] = {
    INTACT: Stroke((110, 215, 255), 1.0, 0.0),
    DAMAGED: Stroke((255, 225, 60), 4.5, 4.0),
    FRAGMENT: Stroke((255, 255, 255), 0.5, 3.5, triangle=True),
}

#: The edge of the examined area.
EDGE = Stroke((235, 235, 235), 12.0, 8.0, on_frame=False)


def grow(outline: NDArray[np.float64], by_px: float) -> NDArray[np.float64]:
    """Push an outline outwards from its centre, so that its object stays in sight.

    Examples
    --------
    >>> square = np.array([[-1.0, 0.0], [0.0, -1.0], [1.0, 0.0], [0.0, 1.0]])
    >>> grow(square, 2.0)[0].tolist()
    [-3.0, 0.0]
    """
    arms = outline - outline.mean(axis=0)
    lengths = np.linalg.norm(arms, axis=1, keepdims=True)
    return outline + arms / np.maximum(lengths, 1e-9) * by_px


def draw_stroke(
    canvas: NDArray[np.uint8], outline: NDArray[np.float64], stroke: Stroke, width_px: float
) -> None:
    """Draw a closed outline onto a picture, in place.

    Parameters
    ----------
    canvas : ndarray, shape (height, width, 3), uint8
        The picture being made.
    outline : ndarray, shape (n, 2), float
        x, y in pixels of the canvas.
    stroke : Stroke
        How to draw it.
    width_px : float
        Width of the core.
    """
    if len(outline) < 3:
        return
    core = max(1, round(width_px))
    dashes = _dashes(outline, stroke.dash * core, stroke.gap * core)
    if not stroke.on_frame:
        dashes = [dash for dash in dashes if not _along_frame(dash, canvas.shape)]
    pieces = [_fixed(dash) for dash in dashes]
    closed = stroke.gap == 0.0
    for colour, thickness in ((_CASING, core + max(2, core)), (stroke.colour, core)):
        cv2.polylines(canvas, pieces, closed, colour, thickness, cv2.LINE_AA, _SHIFT)
    if stroke.triangle:
        _triangle(canvas, outline, stroke.colour, core)


def _dashes(outline: NDArray[np.float64], dash: float, gap: float) -> list[NDArray[np.float64]]:
    """Cut a closed outline into evenly spaced dashes."""
    if gap == 0.0:
        return [outline]
    ring = np.vstack((outline, outline[:1]))
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))))
    around = along[-1]
    count = max(3, round(around / (dash + gap)))
    part = dash / (dash + gap)
    pieces = []
    for start in np.arange(count) * around / count:
        stop = start + part * around / count
        inner = along[(along > start) & (along < stop)]
        places = np.concatenate(([start], inner, [stop]))
        pieces.append(np.column_stack([np.interp(places, along, ring[:, axis]) for axis in (0, 1)]))
    return pieces


def _along_frame(dash: NDArray[np.float64], shape: tuple[int, ...]) -> bool:
    """Say whether all of a dash lies on one side of the picture's frame."""
    far = np.array([shape[1], shape[0]]) - 1.0
    return bool((dash < _FRAME_PX).all(axis=0).any() or (far - dash < _FRAME_PX).all(axis=0).any())


def _triangle(
    canvas: NDArray[np.uint8],
    outline: NDArray[np.float64],
    colour: tuple[int, int, int],
    core: int,
) -> None:
    top = outline[np.argmin(outline[:, 1])]
    side = 4.0 * core + 5.0
    tip = top - (0.0, 2.0 * core + 1.0)
    corners = _fixed(np.array([tip, tip + (-side * 0.6, -side), tip + (side * 0.6, -side)]))
    cv2.fillPoly(canvas, [corners], colour, cv2.LINE_AA, _SHIFT)
    cv2.polylines(canvas, [corners], True, _CASING, 1, cv2.LINE_AA, _SHIFT)


def _fixed(points: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.rint(points * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)
