"""A photo reduced to what the layout needs, so that many of one tape fit into memory."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.counting import PhotoCount
from sporecount.field.resample import block_means
from sporecount.photo.photo import Photo
from sporecount.tape.texture import landmarks, texture

#: Most pixels of the reduced picture: enough for a shift to a fraction of a spore.
_MOST_PX = 1_200_000


@dataclass(frozen=True, eq=False)
class View:
    """One counted photo of a tape, reduced.

    Positions are in um from the photo's top-left corner.

    Attributes
    ----------
    photo : str
        Its name.
    sha256 : str
        Hash of its file.
    um_per_px : float
        Scale of ``texture``, ``examined`` and ``picture``.
    photo_um_per_px : float
        Scale of the photo itself, and of its detections.
    size_um : tuple of float
        (width, height) of the photo.
    texture : ndarray, shape (rows, columns), float32
        What lies on the tape, free of uneven light: mean optical density less its
        surroundings; 0 where not examined.
    examined : ndarray, shape (rows, columns), bool
        What was examined.
    picture : ndarray, shape (rows, columns, 3), uint8
        The photo's own colours, for drawing.
    landmarks_um : ndarray, shape (n, 2), float64
        Places that can be told apart from their surroundings, clearest first.
    noise : float
        Standard deviation of ``texture`` where nothing lies.
    examined_mm2 : float
        Area examined, from the field.
    detections : DataFrame
        The photo's detections, with ``x_um`` and ``y_um`` added.
    usable : bool
        False where the photo was refused: nobody could count on it.
    reason : str
        Why it was refused.
    """

    photo: str
    sha256: str
    um_per_px: float
    photo_um_per_px: float
    size_um: tuple[float, float]
    texture: NDArray[np.float32]
    examined: NDArray[np.bool_]
    picture: NDArray[np.uint8]
    landmarks_um: NDArray[np.float64]
    noise: float
    examined_mm2: float
    detections: pd.DataFrame
    usable: bool = True
    reason: str = ""


def make_view(photo: Photo, counted: PhotoCount) -> View:
    """Reduce a counted photo to what the layout needs.

    The photo and its field can be let go afterwards: a view of any photo takes less than
    10 MB.

    Parameters
    ----------
    photo : Photo
        The photo.
    counted : PhotoCount
        What `sporecount.counting.count_photo` made of it.
    """
    field = counted.field
    step = max(1, int(np.ceil(np.sqrt(field.examined.size / _MOST_PX))))
    grey = cv2.transform(field.density, np.full((1, 3), 1 / 3, np.float32))
    grey = np.asarray(grey, np.float32).reshape(field.examined.shape)
    rows, columns = field.examined.shape[0] // step, field.examined.shape[1] // step
    mask = np.array(field.examined[: rows * step, : columns * step])
    mask = np.asarray(mask.reshape(rows, step, columns, step).min(axis=(1, 3)), bool)
    small = cv2.resize(
        grey[: rows * step, : columns * step], (columns, rows), interpolation=cv2.INTER_AREA
    )
    um_per_px = field.work_um_per_px * step
    even, noise = texture(np.asarray(small, np.float32), mask, um_per_px)
    height, width = photo.pixels.shape[:2]
    scale = field.calibration.um_per_px
    detections = counted.detections.copy()
    detections["x_um"] = (detections["x_px"] + 0.5) * scale
    detections["y_um"] = (detections["y_px"] + 0.5) * scale
    return View(
        photo=photo.name,
        sha256=photo.sha256,
        um_per_px=um_per_px,
        photo_um_per_px=scale,
        size_um=(width * scale, height * scale),
        texture=even,
        examined=mask,
        picture=_picture(photo.pixels, um_per_px / scale, (rows, columns)),
        landmarks_um=landmarks(even, mask, um_per_px, noise),
        noise=noise,
        examined_mm2=field.examined_mm2,
        detections=detections,
        usable=field.fitness.usable,
        reason=field.fitness.reason,
    )


def _picture(pixels: NDArray[np.uint8], zoom: float, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Return the photo with ``zoom`` of its pixels to each new one, cropped to a shape."""
    whole = max(1, int(zoom))
    if whole > 1:
        pixels = block_means(pixels, whole)
    factor = whole / zoom
    matrix = np.array([[factor, 0, 0.5 * factor - 0.5], [0, factor, 0.5 * factor - 0.5]])
    return np.asarray(
        cv2.warpAffine(
            pixels, matrix, shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ),
        np.uint8,
    )
