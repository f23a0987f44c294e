"""Everything that is settled once for a photograph: lens, spores, tape, light and camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Optics:
    """Objective and condenser, and how far things lie out of focus."""

    um_per_px: float
    supersampling: float  # canvas pixels per pixel of the photograph
    aperture: float  # numerical, of the objective
    condenser_aperture: float
    focus_um: float  # mean distance of things from the plane in focus
    focus_sd_um: float
    lost_share: float  # spores that lie far out of focus
    colour_focus_um: float  # between the planes of neighbouring colours

    @property
    def pitch_um(self) -> float:
        """Width of a canvas pixel."""
        return self.um_per_px / self.supersampling


@dataclass(frozen=True)
class SporeLook:
    """Densities and sizes of the spores, and how edges bend light out of the lens."""

    tint: np.ndarray  # (3,) densities of red, green, blue relative to each other
    body: float  # density through the middle
    wall: float  # density that the wall adds
    wall_um: float
    rim: float  # density that an edge gains because light is bent out of the lens
    rim_um: float
    core: float  # light that a body gathers in its middle
    flatness: float  # exponent of the height in the density
    grain: float  # relative spread of density within a spore
    index_step: float  # refractive index over that of the adhesive
    density_sd: float  # of the logarithm, from spore to spore
    length_um: float
    length_sd_um: float
    slenderness: float  # width by length
    tip: float  # exponent of the outline: 0.5 is blunt, 1 is pointed


@dataclass(frozen=True)
class TapeLook:
    """The adhesive, and the wing scales that stick to it."""

    stain: float  # relative spread of density over a wing scale
    adhesive: float  # density of the texture of the adhesive
    angle_rad: float  # of streaks and scratches
    scale_angle_rad: float  # in which most wing scales lie
    torn_share: float  # wing scales that are broken
    scale_colours: np.ndarray  # (6,) weights


@dataclass(frozen=True)
class Camera:
    """Lens and sensor of the camera, and what its software does."""

    noise: float
    blur_px: float
    motion_px: float
    vignette: float
    gamma: float
    contrast: float
    sharpening: float
    sharpening_px: float
    saturation: float
    colour_magnification: float  # between neighbouring colours
    distortion: float
    jpeg_quality: int
    smoothing: bool


@dataclass(frozen=True)
class Eyepiece:
    """The round bright field that a phone at the eyepiece sees."""

    radius_px: float
    x_px: float
    y_px: float
    softness_px: float


@dataclass(frozen=True)
class Look:
    """All of it."""

    optics: Optics
    spores: SporeLook
    tape: TapeLook
    camera: Camera
    background: np.ndarray  # (3,) red, green, blue of the empty field, linear, 0 to 1
    veil: float  # share of stray light
    eyepiece: Eyepiece | None
    on_card: bool
