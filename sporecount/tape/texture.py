"""What lies on the tape, free of light and brightness, and the places that stand out."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Light and thickness that vary over more than this are no texture, um.
_SMOOTH_UM = 40.0

#: Densities beyond this count as this: one black scale must not outweigh a hundred spores.
_MOST_DENSITY = 0.25

#: Size over which a landmark is judged, um: about a spore.
_SPOT_UM = 6.0

#: Landmarks keep this distance from each other, um, and from the edge of what was examined.
_APART_UM, _INSIDE_UM = 16.0, 6.0

#: Most landmarks of a photo.
_MOST_LANDMARKS = 800

#: How far above the noise a landmark stands, and its least contrast (density per um, squared).
_NOISE_FACTOR, _LEAST_CONTRAST = 8.0, 1.5e-6


def texture(
    density: NDArray[np.float32], examined: NDArray[np.bool_], um_per_px: float
) -> tuple[NDArray[np.float32], float]:
    """Return the density less its surroundings, and its noise.

    Parameters
    ----------
    density : ndarray, shape (rows, columns), float32
        Mean optical density of the colours.
    examined : ndarray, shape (rows, columns), bool
        What was examined; the rest becomes 0 and does not reach into it.
    um_per_px : float
        Scale of both.

    Returns
    -------
    even : ndarray, shape (rows, columns), float32
        Within +-0.25.
    noise : float
        Its standard deviation where nothing lies.
    """
    weight = examined.astype(np.float32)
    held = np.clip(density, -_MOST_DENSITY, 2 * _MOST_DENSITY) * weight
    sigma = _SMOOTH_UM / um_per_px
    around, share = _wide_blur(held, sigma), _wide_blur(weight, sigma)
    flat = (held - around / np.maximum(share, 1e-3)) * weight
    soft = _blur(np.asarray(flat, np.float32), 0.9 / um_per_px)
    even = np.clip(soft, -_MOST_DENSITY, _MOST_DENSITY) * weight
    inside = even[::3, ::3][examined[::3, ::3]]
    noise = 1.4826 * float(np.median(np.abs(inside))) if inside.size else 0.0
    return even.astype(np.float32), noise


def landmarks(
    even: NDArray[np.float32], examined: NDArray[np.bool_], um_per_px: float, noise: float
) -> NDArray[np.float64]:
    """Return places whose surroundings differ from themselves in every direction.

    The middle of a scale's long edge looks the same a little further along, so it is
    none; spores, crumbs, tips and corners are.

    Parameters
    ----------
    even : ndarray, shape (rows, columns), float32
        From :func:`texture`.
    examined : ndarray, shape (rows, columns), bool
        What was examined.
    um_per_px : float
        Scale of both.
    noise : float
        Standard deviation of ``even`` where nothing lies.

    Returns
    -------
    ndarray, shape (n, 2), float64
        x, y in um from the corner, clearest first.
    """
    if not examined.any():
        return np.zeros((0, 2))
    soft = _blur(even, 1.5 / um_per_px)
    gx = np.asarray(cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=0.125), np.float32) / um_per_px
    gy = np.asarray(cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=0.125), np.float32) / um_per_px
    sigma = _SPOT_UM / um_per_px
    xx, yy, xy = (_blur(part, sigma) for part in (gx * gx, gy * gy, gx * gy))
    least = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    inset = max(1, round(_INSIDE_UM / um_per_px))
    kernel = np.ones((2 * inset + 1, 2 * inset + 1), np.uint8)
    inner = cv2.erode(examined.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT,
                      borderValue=0).astype(bool)  # fmt: skip
    if not inner.any():
        return np.zeros((0, 2))
    ground = (
        float(np.percentile(least[::4, ::4][inner[::4, ::4]], 25)) if inner[::4, ::4].any() else 0
    )
    reach = max(1, round(_APART_UM / 2 / um_per_px))
    widest = cv2.dilate(least, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    bound = max(_LEAST_CONTRAST, _NOISE_FACTOR * ground)
    rows, columns = np.nonzero((least >= widest) & inner & (least > bound))
    order = np.argsort(-least[rows, columns], kind="stable")[:_MOST_LANDMARKS]
    return np.asarray((np.column_stack([columns, rows])[order] + 0.5) * um_per_px, np.float64)


def _blur(picture: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    if sigma_px < 0.3:
        return picture
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px), np.float32)


def _wide_blur(picture: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Blur widely, on a coarser grid: the result is smooth, so nothing is lost."""
    factor = max(1, int(sigma_px / 5))
    if factor == 1:
        return _blur(picture, sigma_px)
    height, width = picture.shape
    size = (max(1, round(width / factor)), max(1, round(height / factor)))
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)
    soft = _blur(small.reshape(size[1], size[0]), sigma_px / factor)
    return np.asarray(cv2.resize(soft, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
