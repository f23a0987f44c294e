"""Bringing a photo to the working scale, pixel centres exact."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: From this many photo pixels per working pixel, one bilinear sample would leave more noise
#: than an average over the pixel's area; four samples to the pixel make up for it.
_FOUR_FROM_ZOOM = 1.25


def to_working_scale(pixels: NDArray[np.uint8], zoom: float) -> NDArray[np.uint8]:
    """Resample a photo so that one new pixel spans exactly ``zoom`` old ones.

    The result is cropped to whole pixels on the right and at the bottom, never
    stretched to fit: positions convert by ``(x + 0.5) * zoom - 0.5`` up to the far
    corner.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        The photo.
    zoom : float
        Photo pixels per pixel of the result.

    Returns
    -------
    ndarray, shape (rows, columns, 3), uint8
        May be a view, of the photo itself where ``zoom`` is 1: not to be written to.

    Examples
    --------
    >>> to_working_scale(np.zeros((60, 100, 3), np.uint8), 2.5).shape
    (24, 40, 3)
    """
    height, width = pixels.shape[:2]
    rows, columns = (max(int(side / zoom + 1e-6), 1) for side in (height, width))
    whole = max(int(zoom + 1e-9), 1)
    if whole > 1:
        pixels = block_means(pixels, whole)
    rest = zoom / whole
    if abs(rest - 1.0) < 1e-9:
        return pixels[:rows, :columns]
    method = cv2.INTER_CUBIC if rest < 1.0 else cv2.INTER_LINEAR
    samples = 2 if rest >= _FOUR_FROM_ZOOM else 1
    # Giving factors, not a size: OpenCV then steps by exactly 1 / factor.
    factor = samples / rest
    sampled = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=method)
    sampled = np.asarray(sampled, np.uint8)[: samples * rows, : samples * columns]
    # Twice as fine, then halved: as good as exact areas, in half their time (measured).
    return sampled if samples == 1 else block_means(sampled, samples)


def block_means(pixels: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Average blocks of ``factor`` by ``factor`` pixels; a partial block at the end is padded."""
    height, width = (side // factor for side in pixels.shape[:2])
    rows, columns = (-(-side // factor) for side in pixels.shape[:2])
    means = np.empty((rows, columns, *pixels.shape[2:]), np.uint8)
    bottom, right = height * factor, width * factor
    # Only the partial blocks are padded: a padded copy of the photo would cost more.
    if height and width:
        _shrink(pixels[:bottom, :right], means[:height, :width])
    if rows > height:
        _shrink(_padded(pixels[bottom:], factor), means[height:])
    if columns > width:
        _shrink(_padded(pixels[:, right:], factor), means[:, width:])
    return means


def _shrink(pixels: NDArray[np.uint8], means: NDArray[np.uint8]) -> None:
    """Average blocks into a part of a picture, which they fill."""
    cv2.resize(pixels, means.shape[1::-1], dst=means, interpolation=cv2.INTER_AREA)


def _padded(pixels: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    below, right = -pixels.shape[0] % factor, -pixels.shape[1] % factor
    padded = cv2.copyMakeBorder(pixels, 0, below, 0, right, cv2.BORDER_REPLICATE)
    return np.asarray(padded, np.uint8)
