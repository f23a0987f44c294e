"""Draws the look of a photograph for a condition."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX
from other_hands.layered.chance import log_uniform, pick
from other_hands.layered.look import Camera, Eyepiece, Look, Optics, SporeLook, TapeLook

#: Micrometres per pixel, of the picture as the camera takes it.
UM_PER_PX = {
    "4x": (1.0, 1.4),
    "10x": (0.4, 0.7),
    "40x": (0.15, 0.25),
    "phone": (0.4, 1.0),
    "card": (0.45, 1.1),
    "thick": (0.4, 1.15),
    "clumps": (0.35, 0.8),
    "condenser": (0.2, 0.8),
    "chat": (0.35, 0.8),
    "overlay": (0.2, 1.1),
    "trial": (0.25, 0.75),
    "blank": (0.2, 1.3),
}

CONDITIONS = tuple(UM_PER_PX)

#: Densities of spores in red, green and blue.
SPORE_TINTS = {
    "amber": (0.38, 1, 1.95),
    "brown": (0.62, 1, 1.42),
    "red": (0.45, 1.15, 1.3),
    "dark": (0.85, 1, 1.12),
    "honey": (0.22, 0.8, 2.1),
    "chestnut": (0.5, 1.0, 1.25),
}
SPORE_TINT_WEIGHTS = (3, 3, 2, 1.5, 1.2, 2)

#: Colours of the empty field: lamps, filters and white balances.
BACKGROUNDS = (
    (0.78, 0.76, 0.72),
    (0.8, 0.76, 0.62),
    (0.68, 0.72, 0.76),
    (0.8, 0.8, 0.8),
    (0.62, 0.60, 0.50),
    (0.74, 0.62, 0.40),
    (0.60, 0.68, 0.72),
    (0.86, 0.85, 0.80),
    (0.70, 0.66, 0.70),
    (0.80, 0.62, 0.34),
    (0.74, 0.66, 0.46),
    (0.80, 0.72, 0.50),
    (0.62, 0.68, 0.56),
    (0.85, 0.80, 0.70),
    (0.60, 0.60, 0.60),
)
CARDS = ((0.82, 0.80, 0.76), (0.75, 0.75, 0.75), (0.80, 0.74, 0.62), (0.70, 0.74, 0.80))

#: Pixels wider than this come from a low objective, finer than the other from a high one.
LOW_POWER_UM_PER_PX = 0.85
HIGH_POWER_UM_PER_PX = 0.3
#: From here on a spore is so few pixels long that blur and a poor focus would hide it.
COARSE_UM_PER_PX = 0.8


def draw_look(rng: np.random.Generator, condition: str) -> Look:
    """Draw the look of one photograph."""
    optics = _draw_optics(rng, log_uniform(rng, *UM_PER_PX[condition]))
    spores = _draw_spores(rng)
    tape = _draw_tape(rng)
    background = (
        np.array(pick(rng, BACKGROUNDS))
        * np.exp(rng.normal(0, 0.05, 3))
        * (rng.uniform(0.72, 1.08) if rng.random() < 0.7 else rng.uniform(0.38, 0.72))
    )
    veil = rng.uniform(0, 0.10)
    camera = _draw_camera(rng, optics.um_per_px)
    look = Look(optics, spores, tape, camera, background, veil, eyepiece=None, on_card=False)
    if condition == "condenser":
        look = _close_condenser(rng, look)
    at_eyepiece = condition == "phone" or (
        condition in ("blank", "trial", "chat") and rng.random() < 0.22
    )
    on_card = condition == "card" or (
        condition in ("blank", "chat") and not at_eyepiece and rng.random() < 0.2
    )
    if at_eyepiece:
        look = _hold_phone(rng, look)
    if on_card:
        look = _put_on_card(rng, look)
    return look


def _draw_optics(rng: np.random.Generator, um_per_px: float) -> Optics:
    """Draw objective, condenser and focus that go with a pixel width."""
    if um_per_px > LOW_POWER_UM_PER_PX:
        supersampling, apertures, focus_sds_um = 2.0, (0.12, 0.17), (3.0, 9.0)
    elif um_per_px > HIGH_POWER_UM_PER_PX:
        supersampling, apertures, focus_sds_um = 1.5, (0.2, 0.3), (1.2, 3.2)
    else:
        supersampling, apertures, focus_sds_um = 1.0, (0.45, 0.65), (0.4, 1.1)
    aperture = rng.uniform(*apertures)
    condenser_aperture = aperture * rng.uniform(0.4, 0.85)
    focus_sd_um = rng.uniform(*focus_sds_um)
    focus_um = float(
        np.clip(rng.normal(0, focus_sd_um * 0.8), -1.5 * focus_sd_um, 1.5 * focus_sd_um)
    )
    lost_share = rng.uniform(0, 0.14)
    colour_focus_um = rng.uniform(0, 1.2) * (focus_sd_um * 0.35)
    coarse = um_per_px > COARSE_UM_PER_PX
    return Optics(
        um_per_px=um_per_px,
        supersampling=supersampling,
        aperture=aperture,
        condenser_aperture=condenser_aperture,
        focus_um=focus_um * 0.7 if coarse else focus_um,
        focus_sd_um=focus_sd_um * 0.8 if coarse else focus_sd_um,
        lost_share=lost_share,
        colour_focus_um=colour_focus_um,
    )


def _draw_spores(rng: np.random.Generator) -> SporeLook:
    """Draw how spores look on this photograph."""
    tint = pick(rng, list(SPORE_TINTS.values()), SPORE_TINT_WEIGHTS)
    return SporeLook(
        tint=np.array(tint) * np.exp(rng.normal(0, 0.08, 3)),
        body=log_uniform(rng, 0.32, 1.9),
        wall=log_uniform(rng, 0.22, 0.9),
        wall_um=rng.uniform(0.5, 1.0),
        rim=log_uniform(rng, 0.05, 0.3),
        rim_um=rng.uniform(0.4, 0.8),
        core=rng.uniform(0, 0.1),
        flatness=rng.uniform(0.4, 1.1),
        grain=log_uniform(rng, 0.02, 0.13),
        index_step=rng.normal(0.022, 0.012),
        density_sd=rng.uniform(0.08, 0.38),
        length_um=rng.uniform(11.3, 13.8),
        length_sd_um=rng.uniform(0.6, 1.4),
        slenderness=rng.uniform(0.58, 0.70),
        tip=rng.uniform(0.58, 0.92),
    )


def _draw_tape(rng: np.random.Generator) -> TapeLook:
    """Draw adhesive and wing scales of this tape."""
    return TapeLook(
        stain=log_uniform(rng, 0.02, 0.14),
        adhesive=log_uniform(rng, 0.006, 0.035),
        angle_rad=rng.uniform(0, np.pi),
        scale_angle_rad=rng.uniform(0, 6.3),
        torn_share=rng.uniform(0.15, 0.8),
        scale_colours=np.array([2, 2, 2, 2, 1.5, 0.7]) * np.exp(rng.normal(0, 0.8, 6)),
    )


def _draw_camera(rng: np.random.Generator, um_per_px: float) -> Camera:
    """Draw a camera; coarse pixels come with less blur, or no spore could be read."""
    noise = log_uniform(rng, 0.004, 0.03)
    blur_px = log_uniform(rng, 0.35, 1.0) * (1.5 if um_per_px < HIGH_POWER_UM_PER_PX else 1)
    motion_px = log_uniform(rng, 1.5, 3.5) if rng.random() < 0.12 else 0.0
    coarse = um_per_px > COARSE_UM_PER_PX
    return Camera(
        noise=noise,
        blur_px=min(blur_px, 0.7) if coarse else blur_px,
        motion_px=min(motion_px, 2.0) if coarse else motion_px,
        vignette=rng.uniform(0, 0.42),
        gamma=rng.uniform(1.9, 2.4),
        contrast=rng.uniform(0, 0.9),
        sharpening=log_uniform(rng, 0.1, 1.4) if rng.random() < 0.75 else 0.0,
        sharpening_px=rng.uniform(0.8, 1.8),
        saturation=rng.uniform(0.8, 1.45),
        colour_magnification=rng.normal(0, 0.0006),
        distortion=0.0,
        jpeg_quality=int(rng.integers(60, 96)),
        smoothing=rng.random() < 0.3,
    )


def _close_condenser(rng: np.random.Generator, look: Look) -> Look:
    """Close the condenser: dark rims, bright cores, adhesive that shows, less in focus."""
    optics = look.optics
    fine = 1 if optics.um_per_px > HIGH_POWER_UM_PER_PX else 1.6
    condenser_aperture = rng.uniform(0.03, 0.07) * fine
    rim, rim_um = log_uniform(rng, 0.5, 1.2), rng.uniform(0.6, 1.0)
    core, index_step = rng.uniform(0.15, 0.38), rng.normal(0.05, 0.01)
    adhesive = log_uniform(rng, 0.03, 0.08)
    body = log_uniform(rng, 0.25, 0.8)
    shift_um = rng.choice([-1, 1]) * optics.focus_sd_um * rng.uniform(0.3, 1)
    return replace(
        look,
        optics=replace(
            optics, condenser_aperture=condenser_aperture, focus_um=optics.focus_um + shift_um
        ),
        spores=replace(
            look.spores, rim=rim, rim_um=rim_um, core=core, index_step=index_step, body=body
        ),
        tape=replace(look.tape, adhesive=adhesive),
    )


def _hold_phone(rng: np.random.Generator, look: Look) -> Look:
    """Hold a phone to the eyepiece: a round field, a lens that distorts, busy software."""
    radius_px = rng.uniform(0.44, 0.66) * HEIGHT_PX
    x_px, y_px = WIDTH_PX / 2 + rng.normal(0, 60), HEIGHT_PX / 2 + rng.normal(0, 35)
    distortion = rng.uniform(-0.012, 0.012)
    softness_px = rng.uniform(3, 22)
    camera = replace(
        look.camera,
        distortion=distortion,
        colour_magnification=rng.normal(0, 0.0012),
        smoothing=rng.random() < 0.6,
        sharpening=rng.uniform(0.3, 1.6),
    )
    return replace(look, camera=camera, eyepiece=Eyepiece(radius_px, x_px, y_px, softness_px))


def _put_on_card(rng: np.random.Generator, look: Look) -> Look:
    """Put the tape on a white card: stray light, weak rims, the card's own colour."""
    veil = rng.uniform(0.12, 0.34)
    rim = log_uniform(rng, 0.03, 0.15)
    body = look.spores.body * rng.uniform(0.7, 1.0)
    background = np.array(pick(rng, CARDS)) * rng.uniform(0.8, 1.05)
    return replace(
        look,
        optics=replace(look.optics, condenser_aperture=look.optics.aperture * 0.9),
        spores=replace(look.spores, rim=rim, core=0.0, body=body),
        background=background,
        veil=veil,
        on_card=True,
    )
