"""Brushes shared by all families: soft steps, smooth noise, distance from a mask, tints."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image

#: Least and greatest share of red, green and blue in a tint's optical density.
TINTS: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "amber": ((0.12, 0.40), (0.42, 0.75), (0.95, 1.0)),
    "brown": ((0.40, 0.72), (0.62, 0.90), (0.95, 1.0)),
    "dark brown": ((0.72, 0.95), (0.85, 0.98), (0.95, 1.0)),
    "grey": ((0.86, 1.0), (0.86, 1.0), (0.86, 1.0)),
    "black": ((0.97, 1.0), (0.97, 1.0), (0.97, 1.0)),
    "reddish": ((0.10, 0.45), (0.85, 1.0), (0.70, 1.0)),
    "orange": ((0.04, 0.20), (0.38, 0.62), (0.95, 1.0)),
    "russet": ((0.20, 0.48), (0.62, 0.86), (0.95, 1.0)),
    "greenish": ((0.60, 1.0), (0.25, 0.60), (0.75, 1.0)),
    "yellow": ((0.02, 0.18), (0.12, 0.40), (0.95, 1.0)),
    "bluish": ((0.90, 1.0), (0.60, 0.90), (0.25, 0.60)),
    "olive": ((0.58, 0.74), (0.58, 0.76), (0.95, 1.0)),
    "slate": ((0.95, 1.0), (0.84, 0.95), (0.62, 0.86)),
}

#: How often litter takes each tint: mostly the colours of spores.
SPORE_COLOURS: dict[str, float] = {
    "amber": 0.30,
    "brown": 0.30,
    "dark brown": 0.10,
    "grey": 0.09,
    "yellow": 0.08,
    "reddish": 0.05,
    "greenish": 0.04,
    "black": 0.03,
    "bluish": 0.01,
}


def tint(rng: np.random.Generator, weights: dict[str, float] | str = "grey") -> Image:
    """Return the shares of red, green and blue, shape (3,), of a tint drawn at random."""
    if isinstance(weights, str):
        name = weights
    else:
        chance = np.cumsum(list(weights.values()))
        at = int(np.searchsorted(chance, rng.uniform(0.0, chance[-1]), side="right"))
        name = list(weights)[min(at, len(weights) - 1)]
    low, high = np.array(TINTS[name]).T
    return rng.uniform(low, high).astype(np.float32)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Return a number whose logarithm is uniform between those of the bounds."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def step_up(values: Image, width: float) -> Image:
    """Return a soft step from 0 to 1 that spans ``width`` about 0."""
    t = np.clip(values * np.float32(1.0 / max(width, 1e-6)) + np.float32(0.5), 0.0, 1.0)
    return t * t * (np.float32(3.0) - np.float32(2.0) * t)


def inside(distance_um: Image, step_um: float, soft_um: float = 0.0) -> Image:
    """Return the part of each pixel inside an outline, given distances negative inside."""
    return step_up(-distance_um, step_um + 2.0 * soft_um)


def bump(values: Image, sigma: float) -> Image:
    """Return a bell of height 1 about 0."""
    square = np.asarray(np.square(values) * np.float32(-0.5 / sigma**2))
    return cv2.exp(square).reshape(square.shape)


def noise(
    rng: np.random.Generator, canvas: Canvas, grain_um: float, octaves: int = 1, fade: float = 0.5
) -> Image:
    """Return smooth noise of about unit spread, shape of the canvas.

    Parameters
    ----------
    rng : Generator
        Source of the noise.
    canvas : Canvas
        Where it is laid.
    grain_um : float
        Distance over which the coarsest layer changes.
    octaves : int
        Layers, each half as coarse as the last.
    fade : float
        Strength of each layer relative to the last.
    """
    rows, columns = canvas.shape
    total = np.zeros((rows, columns), np.float32)
    power = 0.0
    for layer in range(octaves):
        cell = max(grain_um / 2**layer / canvas.step_um, 1.0)
        small = (int(np.ceil(rows / cell)) + 3, int(np.ceil(columns / cell)) + 3)
        grid = rng.standard_normal(small).astype(np.float32)
        shift = rng.uniform(0.5, 1.5, 2)
        matrix = np.array([[1 / cell, 0.0, shift[0]], [0.0, 1 / cell, shift[1]]])
        flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
        total += np.float32(fade**layer) * cv2.warpAffine(
            grid, matrix, (columns, rows), flags=flags, borderMode=cv2.BORDER_REFLECT
        )
        power += fade ** (2 * layer)
    return total * np.float32(1.4 / np.sqrt(power))


def distance_from_mask(mask: NDArray[np.uint8], step_um: float) -> Image:
    """Return the distance to a mask's edge in um, negative inside."""
    outer = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    # Whole pixels make stairs; a blur of one pixel takes them off.
    return cv2.GaussianBlur(outer - inner, (0, 0), 0.8) * np.float32(step_um)


def polygon_mask(canvas: Canvas, points_um: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return 1 inside a polygon given in the object's frame, shape (points, 2), else 0."""
    mask = np.zeros(canvas.shape, np.uint8)
    points = np.round(frame_to_px(canvas, points_um) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 1, cv2.LINE_8, 4)
    return mask


def frame_to_px(canvas: Canvas, points_um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return fine pixel positions (x, y) of points given in the object's frame."""
    u, v = canvas.u_um, canvas.v_um
    cos = float(u[0, 1] - u[0, 0]) / canvas.step_um
    sin = float(u[1, 0] - u[0, 0]) / canvas.step_um
    shifted = points_um - np.array([float(u[0, 0]), float(v[0, 0])])
    x = (cos * shifted[:, 0] - sin * shifted[:, 1]) / canvas.step_um
    y = (sin * shifted[:, 0] + cos * shifted[:, 1]) / canvas.step_um
    return np.stack([x, y], axis=1)


def colour(tone: Image, tint_rgb: Image) -> Image:
    """Return density (rows, columns, 3) of a tone, shape (rows, columns), in one tint."""
    tone = np.ascontiguousarray(tone, np.float32)
    return cv2.transform(tone, np.asarray(tint_rgb, np.float32).reshape(3, 1))


def two_tints(tone: Image, share: Image, first: Image, second: Image) -> Image:
    """Return a density that goes from the first tint to the second as share goes 0 to 1."""
    both = cv2.merge([tone.astype(np.float32, copy=False), (tone * share).astype(np.float32)])
    return cv2.transform(both, np.stack([first, second - first], axis=1).astype(np.float32))
