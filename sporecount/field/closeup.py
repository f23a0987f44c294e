"""Small pictures of optical density around places, from the photo's own pixels."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.density import DENSITY_BOUNDS, log_counts
from sporecount.field.field import Field
from sporecount.field.resample import block_means


def close_up(
    field: Field, x_px: float, y_px: float, half_um: float, um_per_px: float
) -> NDArray[np.float32]:
    """Return the optical density around one place of the photo.

    Parameters
    ----------
    field : Field
        The field; its photo's pixels are sampled, averaged first where they are finer
        than ``um_per_px``.
    x_px, y_px : float
        The place, in photo pixels; it lies on the centre of the middle pixel.
    half_um : float
        Half the side of the picture, in um.
    um_per_px : float
        Scale of the result.

    Returns
    -------
    ndarray, shape (n, n, 3), float32
        ``n`` is odd: ``2 * ceil(half_um / um_per_px) + 1``. Outside the photo, its
        nearest pixels are repeated.
    """
    return close_ups(field, np.array([[x_px, y_px]]), half_um, um_per_px)[0]


def close_ups(
    field: Field, xy_px: NDArray[np.float64], half_um: float, um_per_px: float
) -> NDArray[np.float32]:
    """Return the optical density around many places of the photo.

    Parameters
    ----------
    field : Field
        The field.
    xy_px : ndarray, shape (k, 2)
        Places (x, y) in photo pixels.
    half_um, um_per_px : float
        As for `close_up`.

    Returns
    -------
    ndarray, shape (k, n, n, 3), float32
    """
    xy_px = np.asarray(xy_px, np.float64).reshape(-1, 2)
    half = math.ceil(half_um / um_per_px)
    steps = np.arange(-half, half + 1, dtype=np.float64)
    zoom = um_per_px / field.calibration.um_per_px
    factor = max(int(zoom + 1e-9), 1)
    patches = np.empty((len(xy_px), len(steps), len(steps), 3), np.float32)
    # Averaging the whole photo once pays off as soon as the windows overlap much.
    window_px = (2 * half + 3) * zoom
    whole = factor > 1 and len(xy_px) * window_px**2 > 0.5 * field.pixels[..., 0].size
    shared = block_means(field.pixels, factor) if whole else field.pixels
    to_light = 1.0 / (field.zoom * field.light_step)
    for patch, (x, y) in zip(patches, xy_px):
        xs, ys = x + steps * zoom, y + steps * zoom
        if whole:
            seen = _sample(shared, (xs + 0.5) / factor - 0.5, (ys + 0.5) / factor - 0.5)
        elif factor > 1:
            seen = _sample_averaged(field.pixels, xs, ys, factor)
        else:
            seen = _sample(field.pixels, xs, ys)
        light = _sample(field.light, (xs + 0.5) * to_light - 0.5, (ys + 0.5) * to_light - 0.5)
        np.subtract(log_counts(light), log_counts(seen), out=patch)
    return np.clip(patches, *DENSITY_BOUNDS, out=patches)


def _sample_averaged(
    pixels: NDArray[np.uint8], xs: NDArray[np.float64], ys: NDArray[np.float64], factor: int
) -> NDArray[np.float32]:
    """Average blocks of the window around a place only, then sample it."""
    height, width = pixels.shape[:2]
    left, top = (max((int(v[0]) // factor - 2) * factor, 0) for v in (xs, ys))
    right = min((int(xs[-1]) // factor + 3) * factor, width)
    bottom = min((int(ys[-1]) // factor + 3) * factor, height)
    # A place beside the photo still gets the photo's nearest pixels.
    left, top = min(left, (width - 1) // factor * factor), min(top, (height - 1) // factor * factor)
    window = pixels[top : max(bottom, top + 1), left : max(right, left + 1)]
    small = block_means(window, factor)
    return _sample(small, (xs - left + 0.5) / factor - 0.5, (ys - top + 0.5) / factor - 0.5)


def _sample(
    picture: NDArray[np.uint8] | NDArray[np.float32],
    xs: NDArray[np.float64],
    ys: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Sample a grid bilinearly; only the part needed is converted to float."""
    height, width = picture.shape[:2]
    left, top = (
        int(min(max(math.floor(v[0]) - 1, 0), side - 1)) for v, side in ((xs, width), (ys, height))
    )
    right, bottom = (
        int(min(max(math.ceil(v[-1]) + 2, 1), side)) for v, side in ((xs, width), (ys, height))
    )
    part = picture[top : max(bottom, top + 1), left : max(right, left + 1)].astype(np.float32)
    step = (xs[-1] - xs[0]) / (len(xs) - 1) if len(xs) > 1 else 1.0
    matrix = np.array([[step, 0.0, xs[0] - left], [0.0, step, ys[0] - top]])
    sampled = cv2.warpAffine(
        part,
        matrix,
        (len(xs), len(ys)),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(sampled, np.float32)
