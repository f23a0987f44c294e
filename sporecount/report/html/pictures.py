"""Pictures inside the page: the layout reduced, and a gallery of detections at one scale."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image

from sporecount.detect.table import STATES
from sporecount.report.strokes import STROKES, draw_stroke, grow

#: Longest side of the layout in the page, px.
_MOST_PX = 1800

#: A crop: its side in um and in px. Every crop is drawn at this one scale.
CROP_UM, CROP_PX = 40.0, 160

#: Gap between the two halves of a crop, px.
GAP_PX = 4

#: Length of the bar in each crop, um.
BAR_UM = 10.0

#: Crops of the surest detections of each state, and of the least sure.
_OF_EACH = 6

SUREST, LEAST_SURE = "surest", "least sure"


@dataclass(frozen=True, eq=False)
class Crop:
    """One detection, cut out of its photo.

    Attributes
    ----------
    photo : str
        The photo's name.
    x_px, y_px : float
        Where it is on the photo.
    state : str
        One of ``sporecount.detect.table.STATES``.
    which : str
        ``"surest"`` or ``"least sure"`` of its state.
    confidence : float
        Confidence of the detection, 0 to 1.
    length_um, width_um : float
        Its size.
    picture : ndarray, shape (rows, columns, 3), uint8
        As photographed, and beside it the same place outlined.
    """

    photo: str
    x_px: float
    y_px: float
    state: str
    which: str
    confidence: float
    length_um: float
    width_um: float
    picture: NDArray[np.uint8]


def choose(detections: pd.DataFrame, of_each: int = _OF_EACH) -> Iterator[tuple[str, pd.Series]]:
    """Yield the surest and the least sure detections of each state, surest first.

    Parameters
    ----------
    detections : DataFrame
        With ``state`` and ``confidence``; where there is ``counted``, only what is counted.
    of_each : int
        How many of either kind.

    Yields
    ------
    tuple of str and Series
        ``"surest"`` or ``"least sure"``, and the row.
    """
    if "counted" in detections:
        detections = detections[detections["counted"].astype(bool)]
    for state in STATES:
        own = detections[detections["state"] == state]
        own = own.sort_values("confidence", ascending=False, kind="stable")
        first = min(of_each, (len(own) + 1) // 2)
        last = min(of_each, len(own) - first)
        for place in (*range(first), *range(len(own) - last, len(own))):
            yield (SUREST if place < first else LEAST_SURE), own.iloc[place]


def gallery(
    detections: pd.DataFrame,
    um_per_px: Mapping[str, float],
    pixels_of: Callable[[str], NDArray[np.uint8] | None],
    of_each: int = _OF_EACH,
) -> tuple[Crop, ...]:
    """Cut the surest and the least sure detections out of their photos.

    Each photo is asked for once and let go before the next.

    Parameters
    ----------
    detections : DataFrame
        Those of a tape (`sporecount.tape.tape.Tape`), or of one photo with its name in
        ``photo``: ``photo``, ``x_px``, ``y_px``, ``state``, ``confidence``,
        ``length_um``, ``width_um``, ``outline_px``.
    um_per_px : mapping
        Photo name to its scale.
    pixels_of : callable
        Returns a photo's pixels, shape (height, width, 3), by its name; None where
        they cannot be had: then its detections are left out.
    of_each : int
        How many of the surest, and as many of the least sure, for each state.

    Returns
    -------
    tuple of Crop
        By state, the surest first.
    """
    chosen = list(choose(detections, of_each))
    crops: dict[int, Crop] = {}
    for photo in dict.fromkeys(str(row["photo"]) for _, row in chosen):
        pixels = pixels_of(photo) if photo in um_per_px else None
        if pixels is None:
            continue
        for place, (which, row) in enumerate(chosen):
            if row["photo"] == photo:
                crops[place] = _crop(pixels, row, um_per_px[photo], which)
    return tuple(crops[place] for place in sorted(crops))


def data_uri(picture: NDArray[np.uint8], quality: int = 85) -> str:
    """Return a picture as JPEG in a ``data:`` address."""
    content = io.BytesIO()
    Image.fromarray(picture).save(content, "JPEG", quality=quality, subsampling=0, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(content.getvalue()).decode()


def reduced(picture: NDArray[np.uint8], most_px: int = _MOST_PX) -> NDArray[np.uint8]:
    """Return a picture whose longer side is at most so many pixels.

    Examples
    --------
    >>> reduced(np.zeros((100, 400, 3), np.uint8), 200).shape
    (50, 200, 3)
    """
    factor = most_px / max(picture.shape[:2])
    if factor >= 1:
        return picture
    size = (max(1, round(picture.shape[1] * factor)), max(1, round(picture.shape[0] * factor)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def cut_out(
    pixels: NDArray[np.uint8], x_px: float, y_px: float, um_per_px: float
) -> NDArray[np.uint8]:
    """Return a place of a photo at the scale of all crops.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        The photo.
    x_px, y_px : float
        The middle.
    um_per_px : float
        The photo's scale.

    Returns
    -------
    ndarray, shape (CROP_PX, CROP_PX, 3), uint8
        Grey beyond the photo.
    """
    zoom = um_per_px / (CROP_UM / CROP_PX)
    half = (CROP_PX - 1) / 2
    matrix = np.array([[zoom, 0, half - zoom * x_px], [0, zoom, half - zoom * y_px]])
    source = pixels
    if zoom < 0.6:
        # Only the neighbourhood is smoothed: photos may have 50 megapixels.
        reach = int(np.ceil(CROP_PX / zoom))
        top, left = max(0, int(y_px) - reach), max(0, int(x_px) - reach)
        source = np.ascontiguousarray(pixels[top : int(y_px) + reach, left : int(x_px) + reach])
        source = np.asarray(cv2.GaussianBlur(source, (0, 0), 0.4 / zoom), np.uint8)
        matrix[:, 2] += zoom * np.array([left, top])
    return np.asarray(
        cv2.warpAffine(
            source, matrix, (CROP_PX, CROP_PX), flags=cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_CONSTANT, borderValue=(120.0, 128.0, 136.0),
        ),
        np.uint8,
    )  # fmt: skip


def side_by_side(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return two crops beside each other, with the scale bar in the first."""
    marked = first.copy()
    _bar(marked)
    gap = np.full((CROP_PX, GAP_PX, 3), 255, np.uint8)
    return np.hstack([marked, gap, second])


def _crop(pixels: NDArray[np.uint8], row: Any, um_per_px: float, which: str) -> Crop:
    zoom = um_per_px / (CROP_UM / CROP_PX)
    x, y = float(row["x_px"]), float(row["y_px"])
    half = (CROP_PX - 1) / 2
    plain = cut_out(pixels, x, y, um_per_px)
    marked = plain.copy()
    if row["outline_px"] is not None and len(row["outline_px"]) >= 3:
        outline = np.asarray(row["outline_px"], float).reshape(-1, 2)
        ring = (outline - (x, y)) * zoom + half
        draw_stroke(marked, grow(ring, 5.0), STROKES[str(row["state"])], 2.0)
    return Crop(
        photo=str(row["photo"]), x_px=x, y_px=y, state=str(row["state"]), which=which,
        confidence=float(row["confidence"]), length_um=float(row["length_um"]),
        width_um=float(row["width_um"]), picture=side_by_side(plain, marked),
    )  # fmt: skip


def _bar(picture: NDArray[np.uint8]) -> None:
    """Draw the scale bar into the lower right corner, in place."""
    long = round(BAR_UM / CROP_UM * CROP_PX)
    bottom, right = CROP_PX - 7, CROP_PX - 8
    picture[bottom - 6 : bottom + 2, right - long - 2 : right + 2] = (12, 24, 48)
    picture[bottom - 4 : bottom, right - long : right] = 255
