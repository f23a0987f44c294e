"""Noise, soft steps and optical blur: the brushes that everything is painted with."""

from __future__ import annotations

import math

import cv2
import numpy as np


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int = 1
) -> np.ndarray:
    """Soft noise of about unit spread, with grains of `cell_px` and finer ones in each octave.

    Returns
    -------
    numpy.ndarray
        (height, width) float32.
    """
    height, width = shape
    total = np.zeros(shape, np.float32)
    amplitude, power = 1.0, 0.0
    for _ in range(octaves):
        rows, columns = max(2, int(height / cell_px) + 3), max(2, int(width / cell_px) + 3)
        coarse = rng.standard_normal((rows, columns)).astype(np.float32)
        size = (max(width, int(columns * cell_px) + 1), max(height, int(rows * cell_px) + 1))
        fine = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
        # A window at random, so that the grid of cells never lines up with the picture's edge.
        top = rng.integers(0, fine.shape[0] - height + 1)
        left = rng.integers(0, fine.shape[1] - width + 1)
        total += amplitude * fine[top : top + height, left : left + width]
        power += amplitude * amplitude
        amplitude *= 0.55
        cell_px = max(1.5, cell_px / 2)
    return total / math.sqrt(power)


def smooth_step(x: np.ndarray) -> np.ndarray:
    """Rise from 0 at x <= 0 to 1 at x >= 1 without corners."""
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def gaussian(image: np.ndarray, sigma_px: float) -> np.ndarray:
    """Gaussian blur that repeats the edge, so that a patch doesn't darken towards its border."""
    return cv2.GaussianBlur(image, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE)


def blur(image: np.ndarray, sigma_px: float) -> np.ndarray:
    """Optical blur: Gaussian when small, a soft disc when large."""
    if sigma_px < 0.15:
        return image
    if sigma_px < 2.0:
        return gaussian(image, sigma_px)
    radius = sigma_px * 1.7
    if radius > 14:  # two Gaussians look the same there, and a large disc is slow
        return gaussian(gaussian(image, sigma_px * 0.75), sigma_px * 0.66)
    reach = int(radius + 1.5)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    disc /= disc.sum()
    softened = gaussian(image, max(0.5, sigma_px * 0.3))
    return cv2.filter2D(softened, -1, disc, borderType=cv2.BORDER_REPLICATE)
