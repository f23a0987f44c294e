"""Small pictures of optical density around places, from the photo's own pixels."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.density import DENSITY_BOUNDS, LEAST_COUNT
from sporecount.field.field import Field
from sporecount.field.resample import block_means
from sporecount.threads import on_threads

#: Places sampled at a time: what a batch takes stays in the processor's cache.
_BATCH = 24


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
    padded = padded_close_ups(field, xy_px, half_um, um_per_px)
    return np.ascontiguousarray(padded[..., :3])


def padded_close_ups(
    field: Field, xy_px: NDArray[np.float64], half_um: float, um_per_px: float
) -> NDArray[np.float32]:
    """Return what `close_ups` does and a fourth channel of no meaning, (k, n, n, 4).

    OpenCV samples four channels in half the time that it takes for three (measured).
    """
    xy_px = np.asarray(xy_px, np.float64).reshape(-1, 2)
    half = math.ceil(half_um / um_per_px)
    zoom = um_per_px / field.calibration.um_per_px
    steps_px = np.arange(-half, half + 1) * zoom
    factor = max(int(zoom + 1e-9), 1)
    side = len(steps_px)
    # As for the field's density, it is the light's logarithm that is taken as bilinear.
    light = np.asarray(cv2.cvtColor(field.light, cv2.COLOR_RGB2RGBA), np.float32)
    light_log = np.asarray(cv2.log(light), np.float32)
    to_light = 1.0 / (field.zoom * field.light_step)
    patches = np.empty((len(xy_px), side, side, 4), np.float32)

    def sample(part: slice) -> None:
        at = xy_px[part, :, None] + steps_px
        seen = _sampled(*_windows(field.pixels, at, factor))
        # Bounds on both sides: numpy takes four times as long for one alone (measured).
        np.clip(seen, LEAST_COUNT, 255.0, out=seen)
        out = patches[part].reshape(-1, side, 4)
        np.subtract(_sampled(light_log, (at + 0.5) * to_light - 0.5), cv2.log(seen), out=out)
        out *= np.float32(1.0 / math.log(10.0))
        np.clip(out, *DENSITY_BOUNDS, out=out)

    on_threads(sample, batches(len(xy_px)))
    return patches


def batches(number: int) -> list[slice]:
    """Return slices of so many places as are best sampled at a time."""
    return [slice(start, start + _BATCH) for start in range(0, number, _BATCH)]


def _windows(
    pixels: NDArray[np.uint8], at: NDArray[np.float64], factor: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Cut out the pixels around square grids: only what is needed becomes floats.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        The photo.
    at : ndarray, shape (k, 2, n)
        The columns and the rows of each grid, in photo pixels.
    factor : int
        Side of the blocks of pixels that are averaged.

    Returns
    -------
    windows : ndarray, shape (k * m, m, 4), float32
        Means of blocks, one window below the other.
    at : ndarray, shape (k, 2, n)
        The grids in pixels of ``windows``.
    """
    first = np.floor(at[:, :, 0] / factor).astype(np.int64) - 1
    side = int((at[0, 0, -1] - at[0, 0, 0]) / factor) + 4
    windows = np.empty((len(at), side * factor, side * factor, 3), np.uint8)
    for window, (left, top) in zip(windows, first * factor):
        _copy_window(pixels, int(left), int(top), window)
    stack = windows.reshape(-1, side * factor, 3)
    stack = block_means(stack, factor) if factor > 1 else stack
    within = (at + 0.5) / factor - 0.5 - first[:, :, None]
    within[:, 1] += side * np.arange(len(at))[:, None]
    return cv2.cvtColor(stack, cv2.COLOR_RGB2RGBA).astype(np.float32), within


def _sampled(picture: NDArray[np.float32], at: NDArray[np.float64]) -> NDArray[np.float32]:
    """Sample square grids, columns and rows ``at`` (k, 2, n), one below the other."""
    k, _, n = at.shape
    columns, rows = at.astype(np.float32).transpose(1, 0, 2)
    sampled = cv2.remap(
        picture,
        np.broadcast_to(columns[:, None, :], (k, n, n)).reshape(k * n, n),
        np.broadcast_to(rows[:, :, None], (k, n, n)).reshape(k * n, n),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(sampled, np.float32)


def _copy_window(pixels: NDArray[np.uint8], left: int, top: int, window: NDArray[np.uint8]) -> None:
    """Fill a window with a part of a photo; outside of it its nearest pixels are repeated."""
    height, width = pixels.shape[:2]
    rows, columns = window.shape[:2]
    if left >= 0 and top >= 0 and left + columns <= width and top + rows <= height:
        window[:] = pixels[top : top + rows, left : left + columns]
        return
    ys = np.clip(np.arange(top, top + rows), 0, height - 1)
    xs = np.clip(np.arange(left, left + columns), 0, width - 1)
    window[:] = pixels[ys[:, None], xs]
