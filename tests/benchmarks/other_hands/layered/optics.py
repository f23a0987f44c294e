"""Carries the light behind an object through the lens to the plane in focus."""

from __future__ import annotations

import cv2
import numpy as np
from scipy import fft

from other_hands.layered.look import Optics

#: Wavelengths of red, green and blue.
WAVELENGTHS_UM = (0.61, 0.54, 0.46)

#: Canvas pixels from which on waves are not followed: it would take too long.
LARGE_PX = 110_000

#: Light that always comes through, and the most that a fringe can gather.
LEAST, MOST = 2e-3, 4


def through_lens(
    optics: Optics, density: np.ndarray, path_um: np.ndarray, focus_um: float
) -> np.ndarray:
    """Turn an object's density into the density that the lens shows.

    Parameters
    ----------
    optics
        Objective, condenser and width of a canvas pixel.
    density
        (h, w, 3) float32, natural logarithm of the light taken away.
    path_um
        (h, w) float32, by how much light is held back, in micrometres of path.
    focus_um
        Distance from the plane in focus.
    """
    if path_um.size > LARGE_PX:
        return _by_rays(optics, density, path_um, focus_um)
    return _by_waves(optics, density, path_um, focus_um)


def _by_rays(
    optics: Optics, density: np.ndarray, path_um: np.ndarray, focus_um: float
) -> np.ndarray:
    """Blur by the cone of light, and brighten or darken where the path is curved."""
    pitch_um = optics.pitch_um
    spread_px = (
        0.5 * abs(focus_um) * max(optics.condenser_aperture, 0.03) / pitch_um
        + 0.22 / optics.aperture / pitch_um * 0.5
    )
    light = cv2.GaussianBlur(np.exp(-density), (0, 0), max(spread_px, 0.3))
    smooth_um = cv2.GaussianBlur(path_um, (0, 0), max(spread_px, 1.0, 0.5 / pitch_um))
    curvature = cv2.Laplacian(smooth_um, cv2.CV_32F) / pitch_um**2
    reach_um = np.sign(focus_um) * min(abs(focus_um), 8) if focus_um else 0.5
    gain = np.clip(-reach_um * curvature, -0.6, 0.6)
    return -np.log(np.clip(light * (1 + gain[..., None]), LEAST, MOST))


def _by_waves(
    optics: Optics, density: np.ndarray, path_um: np.ndarray, focus_um: float
) -> np.ndarray:
    """Carry the wave behind the object by its angular spectrum, each colour by itself."""
    height, width = path_um.shape
    padded = fft.next_fast_len(height), fft.next_fast_len(width)
    per_um_x = fft.fftfreq(padded[1], optics.pitch_um).astype(np.float32)[None, :]
    per_um_y = fft.fftfreq(padded[0], optics.pitch_um).astype(np.float32)[:, None]
    squared = per_um_x * per_um_x + per_um_y * per_um_y
    light = np.empty_like(density)
    for colour, wavelength_um in enumerate(WAVELENGTHS_UM):
        phase = np.exp(1j * (2 * np.pi / wavelength_um) * path_um)
        field = np.exp(-0.5 * density[..., colour]) * phase
        # What the object changes is carried, not the light itself: outside there is none of it.
        spectrum = fft.fft2((field - 1).astype(np.complex64), padded)
        cutoff = (optics.aperture + 0.6 * optics.condenser_aperture) / wavelength_um
        away_um = focus_um + optics.colour_focus_um * (colour - 1)
        transfer = np.exp(-((squared / cutoff**2) ** 1.5)) * np.exp(
            -1j * np.pi * wavelength_um * away_um * squared
        )
        carried = fft.ifft2(spectrum * transfer.astype(np.complex64))[:height, :width] + 1
        light[..., colour] = carried.real**2 + carried.imag**2
    spread_px = 0.5 * abs(focus_um) * optics.condenser_aperture / optics.pitch_um
    if spread_px > 0.25:
        light = cv2.GaussianBlur(light, (0, 0), spread_px)
    return -np.log(np.clip(light, LEAST, MOST))
