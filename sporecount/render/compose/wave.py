"""Waves: objects delay light as well as absorb it, so defocus makes real fringes."""

from __future__ import annotations

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from sporecount.render.compose.place import (
    OPAQUE_DENSITY,
    Composed,
    Placed,
    blur,
    focus_levels,
    grey,
    paste,
    transmit,
)
from sporecount.render.compose.plan import ComposePlan

#: Wavelength of the light in the medium, um.
WAVELENGTH_UM = 0.55

#: Planes of objects, and directions of light that are averaged.
PLANES, DIRECTIONS = 2, 4

#: Share of the cone of light that is left when the condenser is nearly shut.
SHUT = 0.12


def compose_wave(
    placed: list[Placed], shape: tuple[int, int], um_per_px: float, plan: ComposePlan
) -> Composed:
    """Send light through a few planes of objects and let it travel to focus.

    The brightness is computed by the angular spectrum at one wavelength, averaged
    over directions of the light; colours follow the densities.

    Parameters
    ----------
    placed : list of Placed
        Objects; order makes no difference.
    shape : tuple of int
        (height, width) of the canvas.
    um_per_px : float
        Scale of the canvas.
    plan : ComposePlan
        Its ``cone``, ``closure``, ``phase_rad`` and ``density_gain``.
    """
    light = np.ones((*shape, 3), np.float32)
    bare = np.ones((*shape, 3), np.float32)
    thick = np.zeros(shape, np.float32)
    for defocus_um, group in focus_levels(placed, PLANES):
        litter = np.zeros((*shape, 3), np.float32)
        for one in group:
            if not one.is_spore:
                paste(litter, one)
        both = litter.copy()
        for one in group:
            if one.is_spore:
                paste(both, one)
        waves = _Waves(shape, um_per_px, defocus_um, plan)
        passed = waves.through(both)
        light *= passed
        bare *= waves.through(litter) if any(one.is_spore for one in group) else passed
        thick += grey(litter) * np.float32(plan.density_gain)
    cover = np.where(thick > OPAQUE_DENSITY, np.int32(len(placed)), np.int32(-1))
    return Composed(light=light, bare=bare, cover=cover)


class _Waves:
    """Carries light through one plane of objects, ``defocus_um`` away from focus."""

    def __init__(
        self, shape: tuple[int, int], um_per_px: float, defocus_um: float, plan: ComposePlan
    ) -> None:
        self.plan, self.um_per_px = plan, um_per_px
        self.pad = int(min(64, np.ceil(8 / um_per_px)))
        self.shape = shape
        self.big = tuple(scipy.fft.next_fast_len(n + 2 * self.pad) for n in shape)
        fy = scipy.fft.fftfreq(self.big[0], um_per_px).astype(np.float32)[:, None]
        fx = scipy.fft.fftfreq(self.big[1], um_per_px).astype(np.float32)[None, :]
        cone = min(plan.cone, 0.9)
        spread = cone * (SHUT + (1 - SHUT) * (1 - plan.closure)) * 0.8 / WAVELENGTH_UM
        self.transfers = []
        for step in range(DIRECTIONS):
            turn = 2 * np.pi * (step + 0.25) / DIRECTIONS
            self.transfers.append(
                _transfer(fx, fy, spread * np.cos(turn), spread * np.sin(turn), defocus_um, cone)
            )
        # Four directions stand for a full cone: this blur fills the gaps between them.
        self.sigma_px = 0.5 * abs(defocus_um) * spread * WAVELENGTH_UM / um_per_px

    def through(self, density: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the light in focus, shape (h, w, 3), behind a plane of densities."""
        density = density * np.float32(self.plan.density_gain)
        mean = grey(density)
        if not mean.any():
            return np.ones((*self.shape, 3), np.float32)
        thickness = blur(np.clip(mean, -0.5, 1.5), 0.8 / self.um_per_px)
        amplitude = transmit(np.float32(0.5) * mean)
        field = _polar(amplitude, np.float32(self.plan.phase_rad) * thickness)
        spectrum = scipy.fft.fft2(self._padded(field), overwrite_x=True)
        total = np.zeros(self.shape, np.float32)
        for transfer in self.transfers:
            wave = scipy.fft.ifft2(spectrum * transfer, overwrite_x=True)
            wave = wave[self.pad : self.pad + self.shape[0], self.pad : self.pad + self.shape[1]]
            total += wave.real**2 + wave.imag**2
        brightness = blur(total / np.float32(DIRECTIONS), self.sigma_px)
        tint = transmit(blur(density - mean[..., None], 0.3 / self.um_per_px + self.sigma_px))
        return np.clip(brightness, 0, 4)[..., None] * tint

    def _padded(self, field: NDArray[np.complex64]) -> NDArray[np.complex64]:
        after = [n - m - self.pad for n, m in zip(self.big, self.shape)]
        return np.pad(field, [(self.pad, after[0]), (self.pad, after[1])], mode="edge")


def _transfer(
    fx: NDArray[np.float32],
    fy: NDArray[np.float32],
    tilt_x: float,
    tilt_y: float,
    defocus_um: float,
    aperture: float,
) -> NDArray[np.complex64]:
    """Return what travelling and a round lens do to each frequency of tilted light."""
    square = (fx + np.float32(tilt_x)) ** 2 + (fy + np.float32(tilt_y)) ** 2
    along = np.sqrt(np.maximum(np.float32(1 / WAVELENGTH_UM**2) - square, 0))
    straight = np.float32(np.sqrt(max(1 / WAVELENGTH_UM**2 - tilt_x**2 - tilt_y**2, 0)))
    # The lens is given 1.6 of the cone: soft objects at low aperture would drown else.
    limit = (1.6 * aperture / WAVELENGTH_UM) ** 2
    steep = (square * np.float32(1 / limit)) ** 2
    soft = 1 / (1 + steep * steep)
    phase = np.float32(2 * np.pi * defocus_um) * (along - straight)
    clear = 1 / (1 + ((tilt_x**2 + tilt_y**2) / limit) ** 4)
    return _polar((soft / clear).astype(np.float32), phase)


def _polar(size: NDArray[np.float32], phase: NDArray[np.float32]) -> NDArray[np.complex64]:
    """Return complex numbers from their size and phase, faster than a complex exponential."""
    real, imaginary = cv2.polarToCart(size, phase)
    return np.asarray(cv2.merge([real, imaginary]), np.float32).view(np.complex64)[..., 0]
