"""Which way a ruling may run: bright rays in the picture's spectrum."""

from __future__ import annotations

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.signal import find_peaks

#: Side of the pieces whose spectrum is taken, in pixels.
TILE_PX = 1024

#: Steps of the half circle of directions: a quarter of a degree each.
ANGLE_STEPS = 720


def candidate_angles(gray: NDArray[np.float32], most: int = 2) -> list[float]:
    """Return directions in which the picture repeats, the strongest first.

    Parallel lines of any pitch put all their energy on one ray of the
    spectrum, so the direction is found before the pitch is known.

    Parameters
    ----------
    gray : ndarray, shape (height, width), float32
        Brightness.
    most : int
        Directions returned at most for each view (the whole picture made
        small, and pieces of it at full size).

    Returns
    -------
    list of float
        Angles of the ruling's axis from +x towards +y, in degrees, [0, 180).
    """
    angles: list[float] = []
    for tiles in _views(gray):
        strength = np.mean([_ray_strength(tile) for tile in tiles], axis=0)
        for angle in _peaks(strength, most):
            if all(abs((angle - other + 90) % 180 - 90) > 1.0 for other in angles):
                angles.append(angle)
    return angles


def _views(gray: NDArray[np.float32]) -> list[list[NDArray[np.float32]]]:
    """Return the whole picture made small, and its liveliest pieces at full size."""
    height, width = gray.shape
    longest = max(height, width)
    if longest <= TILE_PX:
        return [[gray]]
    if longest <= 1.5 * TILE_PX:
        top, left = max(0, height - TILE_PX) // 2, max(0, width - TILE_PX) // 2
        return [[gray[top : top + TILE_PX, left : left + TILE_PX]]]
    shrink = TILE_PX / longest
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    small = np.asarray(cv2.resize(gray, size, interpolation=cv2.INTER_AREA), np.float32)
    rows = np.unique(np.linspace(0, max(0, height - TILE_PX), 3).astype(int))
    columns = np.unique(np.linspace(0, max(0, width - TILE_PX), 3).astype(int))
    tiles = [gray[r : r + TILE_PX, c : c + TILE_PX] for r in rows for c in columns]
    tiles.sort(key=lambda tile: -float(np.abs(np.diff(tile[::4, ::1], axis=1)).mean()))
    return [[small], tiles[:3]]


def _ray_strength(tile: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return how much each direction stands out at equal spatial frequency."""
    side = 256
    while side < min(TILE_PX, max(tile.shape)):
        side *= 2
    # A box costs the same at any size; its square corners don't matter this far out.
    reach = max(15, max(tile.shape) // 6)
    flat = tile - np.asarray(cv2.blur(cv2.blur(tile, (reach, reach)), (reach, reach)), np.float32)
    spread = float(flat.std()) or 1.0
    flat = np.clip(flat, -2.5 * spread, 2.5 * spread)
    window = np.outer(np.hanning(tile.shape[0]), np.hanning(tile.shape[1])).astype(np.float32)
    spectrum = np.abs(scipy.fft.rfft2(flat * window, s=(side, side))).astype(np.float32)
    spectrum = np.fft.fftshift(spectrum, axes=0)
    spectrum = np.asarray(cv2.GaussianBlur(spectrum, (0, 0), 0.8), np.float32)
    radius = np.arange(4, side // 2 - 1, 1, dtype=np.float32)
    turn = np.deg2rad(np.arange(ANGLE_STEPS, dtype=np.float32) * 180 / ANGLE_STEPS)
    across = radius[None, :] * np.cos(turn)[:, None]
    down = radius[None, :] * np.sin(turn)[:, None]
    # The half spectrum holds x >= 0 only; the other half mirrors it.
    mirrored = np.sign(across) + (across == 0)
    polar = cv2.remap(
        spectrum,
        (across * mirrored).astype(np.float32),
        (down * mirrored + side // 2).astype(np.float32),
        cv2.INTER_LINEAR,
    )
    typical = np.median(polar, axis=0, keepdims=True) + 1e-6
    return np.clip(polar / typical - 1, 0, 25).mean(axis=1).astype(np.float64)


def _peaks(strength: NDArray[np.float64], most: int) -> list[float]:
    """Return the angles of the highest peaks of a circular curve, refined."""
    smooth = strength + 0.5 * (np.roll(strength, 1) + np.roll(strength, -1))
    ring = np.concatenate([smooth, smooth, smooth])
    places, _ = find_peaks(ring, distance=10)
    places = places[(places >= ANGLE_STEPS) & (places < 2 * ANGLE_STEPS)]
    places = places[np.argsort(-ring[places])][:most]
    angles = []
    for place in places:
        near = np.clip(ring[place - 4 : place + 5] - np.median(ring), 0, None)
        shift = float((near * np.arange(-4, 5)).sum() / max(near.sum(), 1e-9))
        angles.append(float((place + shift) % ANGLE_STEPS) * 180 / ANGLE_STEPS)
    return angles
