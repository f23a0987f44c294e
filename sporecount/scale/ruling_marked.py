"""The photo of a ruling with what was measured drawn on it, to be checked by eye."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.scale.ruling import Ruling

#: Longest side of the marked picture, in pixels.
LONGEST_PX = 1600

#: Lines used, the measured distance, and the ground of the text (RGB).
LINE_COLOUR = (255, 90, 0)
SPAN_COLOUR = (0, 220, 255)
TEXT_COLOUR = (255, 255, 255)


def draw_ruling_marked(pixels: NDArray[np.uint8], ruling: Ruling) -> NDArray[np.uint8]:
    """Draw the lines used and the distance measured over the photo.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3) or (height, width), uint8
        The photo that `measure_ruling` was given.
    ruling : Ruling
        Its answer.

    Returns
    -------
    ndarray, shape (h, w, 3), uint8
        RGB; at most `LONGEST_PX` along its longer side, the text in a strip below.
    """
    picture = pixels if pixels.ndim == 3 else np.repeat(pixels[..., None], 3, axis=2)
    height, width = picture.shape[:2]
    zoom = min(LONGEST_PX / max(height, width), max(1.0, 900 / max(height, width)))
    size = (round(width * zoom), round(height * zoom))
    how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    resized = cv2.resize(np.ascontiguousarray(picture[..., :3]), size, interpolation=how)
    # Colour shows best on a paler copy.
    canvas: NDArray[np.uint8] = (0.75 * resized + 0.25 * 255 * 0.5).astype(np.uint8)
    centres = (ruling.positions_px + 0.5) * zoom - 0.5
    ends = (ruling.ends_px + 0.5) * zoom - 0.5
    gap = ruling.period_px * zoom
    thick = max(1, min(3, int(gap // 5)))
    for first, last in ends:
        _line(canvas, first, last, LINE_COLOUR, thick)
    _draw_span(canvas, centres, thick)
    return np.vstack([canvas, _caption(ruling, canvas.shape[1])])


def _line(
    canvas: NDArray[np.uint8],
    first: NDArray[np.float64],
    last: NDArray[np.float64],
    colour: tuple[int, int, int],
    thick: int,
) -> None:
    """Draw a line to a sixteenth of a pixel."""
    start, end = (tuple(int(v) for v in np.rint(p * 16)) for p in (first, last))
    cv2.line(canvas, start, end, colour, thick, cv2.LINE_AA, 4)


def _draw_span(canvas: NDArray[np.uint8], centres: NDArray[np.float64], thick: int) -> None:
    """Draw the measured distance from the first line to the last, with end bars and dots."""
    first, last = centres[0], centres[-1]
    along = (last - first) / max(float(np.hypot(*(last - first))), 1e-9)
    across = np.array([-along[1], along[0]]) * max(14.0, 0.02 * max(canvas.shape))
    for colour, width in (((0, 0, 0), thick + 4), (SPAN_COLOUR, thick + 1)):
        _line(canvas, first, last, colour, width)
        for end in (first, last):
            _line(canvas, end - across, end + across, colour, width)


def _caption(ruling: Ruling, width: int) -> NDArray[np.uint8]:
    """Return a dark strip with the scale in words."""
    divisions = int(ruling.index[-1] - ruling.index[0])
    distance_um = divisions * ruling.division_um
    rows = (
        f"{ruling.um_per_px:.4f} um/px  +/- {2 * ruling.standard_error:.4f}",
        f"{ruling.lines_used} lines (orange), {divisions} divisions of {ruling.division_um:g} um"
        f" = {distance_um:g} um = {distance_um / ruling.um_per_px:.1f} px (blue)",
    )
    strip_parts = []
    for row, wish in zip(rows, (1.1, 0.62), strict=True):
        (text_width, _), _ = cv2.getTextSize(row, cv2.FONT_HERSHEY_SIMPLEX, wish, 2)
        scale = wish * min(1.0, (width - 24) / text_width)
        strip = np.full((math.ceil(44 * wish) + 6, width, 3), 25, np.uint8)
        base = strip.shape[0] - math.ceil(14 * wish)
        weight = 2 if wish > 1 else 1
        cv2.putText(
            strip,
            row,
            (12, base),
            cv2.FONT_HERSHEY_SIMPLEX,
            scale,
            TEXT_COLOUR,
            weight,
            cv2.LINE_AA,
        )
        strip_parts.append(strip)
    return np.vstack(strip_parts)
