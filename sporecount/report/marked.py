"""Marked copies: the photo with every detection outlined, to check at a glance."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image

from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.report.strips import footer, header
from sporecount.report.strokes import EDGE, STROKES, draw_stroke, grow

#: Long side of a marked copy, px: a larger photo is reduced, a small one enlarged.
_MOST_PX = 2400
_LEAST_PX = 1200
_MOST_ENLARGED = 4

#: Scale at which a spore is large enough to be seen within its outline, um per pixel.
_CLEAR_UM_PER_PX = 0.45

#: Quality of the JPEG.
_QUALITY = 90


def draw_marked(
    pixels: NDArray[np.uint8],
    detections: pd.DataFrame,
    summary: Mapping[str, Any],
    *,
    examined: NDArray[np.bool_] | None = None,
    lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
) -> NDArray[np.uint8]:
    """Draw a photo with its detections, its result, a legend and a scale bar.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        The photo.
    detections : DataFrame
        Its detections.
    summary : mapping
        Its row of ``photos.csv``.
    examined : ndarray, shape (rows, columns), bool, optional
        What was examined, at any scale: its edge is drawn where part was left out.
    lower_bounds : sequence of int
        Smallest number of spores of each load class.

    Returns
    -------
    ndarray, shape (rows, columns, 3), uint8
        RGB; at most 2400 px on the photo's long side, strips not included.
    """
    um_per_px = summary["um_per_px"]
    canvas, zoom = _resized(pixels, um_per_px)
    size = int(np.clip(canvas.shape[1] / 58, 15, 34))
    partly = examined is not None and not examined.all() and bool(examined.any())
    if partly and examined is not None:
        for edge in _edges(examined, canvas.shape):
            draw_stroke(canvas, edge, EDGE, max(1.0, size / 12))
    _draw_detections(canvas, detections, zoom, size)
    return np.vstack(
        (
            header(summary, canvas.shape[1], size, lower_bounds),
            canvas,
            footer(
                summary, canvas.shape[1], size, zoom / um_per_px if um_per_px else None, edge=partly
            ),
        )
    )


def jpeg_bytes(picture: NDArray[np.uint8]) -> bytes:
    """Encode a picture as JPEG, colours at full resolution so that thin lines stay clear."""
    content = io.BytesIO()
    Image.fromarray(picture).save(content, "JPEG", quality=_QUALITY, subsampling=0)
    return content.getvalue()


def _resized(pixels: NDArray[np.uint8], um_per_px: float | None) -> tuple[NDArray[np.uint8], float]:
    """Return a copy of the photo at the size of the marked copy, and the factor."""
    long_side = max(pixels.shape[:2])
    wanted = max(_LEAST_PX / long_side, (um_per_px or 0.0) / _CLEAR_UM_PER_PX, 1.0)
    zoom = min(wanted, _MOST_PX / long_side, _MOST_ENLARGED)
    if zoom == 1.0:
        return pixels.copy(), 1.0
    method = cv2.INTER_AREA if zoom < 1.0 else cv2.INTER_CUBIC
    size = (max(1, round(pixels.shape[1] * zoom)), max(1, round(pixels.shape[0] * zoom)))
    return np.asarray(cv2.resize(pixels, size, interpolation=method), np.uint8), zoom


def _draw_detections(
    canvas: NDArray[np.uint8], detections: pd.DataFrame, zoom: float, size: int
) -> None:
    if detections.empty:
        return
    outlines = [
        (np.asarray(outline, dtype=float).reshape(-1, 2) + 0.5) * zoom - 0.5
        for outline in detections["outline_px"]
    ]
    spans = [float(np.ptp(outline, axis=0).max()) for outline in outlines if len(outline)]
    # Thin lines round small spores, so that the lines do not hide what they show.
    line = float(np.clip(np.median(spans or [12.0]) / 12.0, 1.0, max(1.5, size / 9)))
    for outline, state in zip(outlines, detections["state"], strict=True):
        if len(outline):
            draw_stroke(canvas, grow(outline, 1.2 * line + 1.5), STROKES[state], line)


def _edges(examined: NDArray[np.bool_], shape: tuple[int, ...]) -> list[NDArray[np.float64]]:
    """Return the edges of the examined area, in pixels of the marked copy."""
    found, _ = cv2.findContours(examined.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    scale = np.array([shape[1] / examined.shape[1], shape[0] / examined.shape[0]])
    rings = [ring.reshape(-1, 2).astype(float) for ring in found]
    return [(ring + 0.5) * scale - 0.5 for ring in rings if len(ring) > 2]
