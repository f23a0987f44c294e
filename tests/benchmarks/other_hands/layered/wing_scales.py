"""Wing scales: ridged plates with a stalk at one end and teeth at the other, whole or torn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from other_hands.layered.canvas import Canvas, Window
from other_hands.layered.chance import fractal_field, log_uniform, pick, smooth_step, wave

#: Densities in red, green and blue, and bounds of their strength.
COLOURS = {
    "grey": ((0.75, 0.8, 0.85), (0.2, 1.0)),
    "brown": ((0.5, 0.75, 1.1), (0.3, 1.5)),
    "orange": ((0.12, 0.6, 1.35), (0.3, 1.1)),
    "black": ((1.3, 1.35, 1.4), (0.6, 2.0)),
    "clear": ((0.5, 0.55, 0.65), (0.03, 0.12)),
    "yellow": ((0.1, 0.25, 0.9), (0.2, 0.6)),
}

#: Most wing scales lie somewhat below the plane of the spores' focus, and hide little of it.
STRENGTH = 0.85


@dataclass(frozen=True)
class Plate:
    """Positions over one scale, (h, w) each."""

    u_um: np.ndarray  # along it, from its middle
    v_um: np.ndarray  # across it, from its bent axis
    along: np.ndarray  # 0 at the stalk, 1 at the teeth
    across: np.ndarray  # -1 and 1 at its widest
    inside_um: np.ndarray  # distance to the outline, positive inside
    stalk: float  # share of the length


def lay_wing_scale(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a wing scale with its middle at a point."""
    rng, look = canvas.rng, canvas.look
    length_um = log_uniform(rng, 55, 260) if rng.random() < 0.8 else log_uniform(rng, 50, 300)
    width_um = float(np.clip(length_um * rng.uniform(0.25, 0.6), 28, 80))
    if rng.random() < 0.35:
        angle_rad = rng.uniform(0, 2 * np.pi)
    else:
        angle_rad = look.tape.scale_angle_rad + rng.normal(0, 0.5)
    c, s = abs(np.cos(angle_rad)), abs(np.sin(angle_rad))
    reach_x_um = length_um * 0.53 * c + width_um * 0.58 * s + 9
    reach_y_um = length_um * 0.53 * s + width_um * 0.58 * c + 9
    window = canvas.window(x_um, y_um, reach_x_um, reach_y_um)
    if window is None:
        return
    colour = pick(rng, list(COLOURS), look.tape.scale_colours)
    tint = np.array(COLOURS[colour][0]) * np.exp(rng.normal(0, 0.12, 3))
    # Strengths are drawn for all colours: what follows does not depend on the colour then.
    strengths = {name: log_uniform(rng, *bounds) for name, (_, bounds) in COLOURS.items()}
    plate = _draw_plate(canvas, window, angle_rad, length_um, width_um)
    mask = canvas.coverage(plate.inside_um)
    if mask.max() <= 0:
        return
    density, relief_um = _tissue(canvas, plate, strengths[colour])
    edge_um = max(0.8, canvas.pitch_um)
    edge = np.exp(-((np.maximum(plate.inside_um, 0) / edge_um) ** 2))
    edge = (0.06 + 0.5 * look.spores.rim) * edge
    shown = (np.clip(density, 0, 4)[..., None] * tint + edge[..., None]) * mask[..., None]
    path_um = mask * (relief_um + 0.12)
    focus_um = look.optics.focus_um * 0.6 + rng.normal(0, look.optics.focus_sd_um * 1.1)
    canvas.lay_litter(window.box, shown, path_um, focus_um, STRENGTH)


def _draw_plate(
    canvas: Canvas, window: Window, angle_rad: float, length_um: float, width_um: float
) -> Plate:
    """Draw the outline of a scale: its sides, its bend, its teeth and where it is torn."""
    rng = canvas.rng
    u_um, v_um = window.turned(angle_rad)
    along = (u_um + length_um / 2) / length_um
    stalk = rng.uniform(0.04, 0.09)
    half_um = _half_width(rng, along, stalk, width_um)
    v_um = v_um - rng.normal(0, 0.06) * length_um * (along - 0.5) ** 2
    across = v_um / (width_um / 2)
    end, end_slope = _draw_end(rng, across)
    inside_um = np.minimum(half_um - np.abs(v_um), (end - along) * length_um * end_slope)
    inside_um = np.minimum(inside_um, along * length_um)
    if rng.random() < canvas.look.tape.torn_share:
        inside_um = _torn(rng, inside_um, u_um, v_um, length_um)
    roughness_um = rng.uniform(0.1, 0.5)
    rough = fractal_field(rng, inside_um.shape, max(4 / canvas.pitch_um, 1.5), 2)
    inside_um = (inside_um + roughness_um * rough).astype(np.float32)
    return Plate(u_um, v_um, along, across, inside_um, stalk)


def _half_width(
    rng: np.random.Generator, along: np.ndarray, stalk: float, width_um: float
) -> np.ndarray:
    """Draw half the width along a scale: a thin stalk, then shoulders, round or slanting."""
    stalk_um = rng.uniform(1.0, 2.4)
    end_share = rng.uniform(0.65, 1.0)
    narrowing = 1 - (1 - end_share) * along
    shoulder = rng.uniform(0.10, 0.45)
    rise = 1 - np.clip((along - stalk) / shoulder, 0, 1)
    rounded = np.sqrt(np.clip(1 - rise ** rng.uniform(1.7, 2.6), 0, 1))
    bulge = rng.uniform(0, 0.22)
    if rng.random() < 0.75:
        belly = 1 - bulge + bulge * np.sin(np.pi * np.clip(along, 0, 1))
        half_um = width_um / 2 * rounded * belly * narrowing
    else:
        slant = smooth_step((along - stalk) / rng.uniform(0.10, 0.34))
        half_um = width_um / 2 * slant ** rng.uniform(0.38, 0.75) * narrowing
    half_um = np.maximum(half_um, stalk_um * (along < stalk + 0.1))
    return half_um * (1 + wave(rng, along * 4, 3, 0.02))


def _draw_end(rng: np.random.Generator, across: np.ndarray) -> tuple[np.ndarray, float]:
    """Draw where along a scale it ends, by the place across, and how steep that edge is."""
    teeth = int(pick(rng, [0, 1, 2, 3, 4, 5, 6], [1, 0.6, 1.2, 2, 2, 1.5, 1]))
    depth = rng.uniform(0.03, 0.16) * (teeth > 0)
    shift = rng.normal(0, 0.25)
    tooth = np.abs((across * teeth / 2 + shift) % 1 - 0.5) * 2
    sharpness = rng.uniform(0.7, 1.4)
    rounding = rng.uniform(0.05, 0.2) * np.abs(across) ** 2.5
    return 1 - depth * tooth**sharpness - rounding, 0.55 if teeth else 1


def _torn(
    rng: np.random.Generator,
    inside_um: np.ndarray,
    u_um: np.ndarray,
    v_um: np.ndarray,
    length_um: float,
) -> np.ndarray:
    """Tear off one or two ends of an outline along jagged lines."""
    for _ in range(int(rng.integers(1, 3))):
        angle_rad = rng.normal(0, 0.7) + (np.pi if rng.random() < 0.4 else 0)
        off_um = rng.uniform(-0.15, 0.4) * length_um
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        jagged_um = wave(rng, (v_um * c - u_um * s) * 0.22, 6, 1.6, 1)
        inside_um = np.minimum(inside_um, off_um - (u_um * c + v_um * s) + jagged_um)
    return inside_um


def _tissue(canvas: Canvas, plate: Plate, strength: float) -> tuple[np.ndarray, np.ndarray]:
    """Draw density (h, w) of ridges, ribs, blots and curled edges; and the path of the ridges."""
    rng, along = canvas.rng, plate.along
    pitch_um, um_per_px, shape = canvas.pitch_um, canvas.um_per_px, plate.inside_um.shape
    period_um = rng.uniform(1.5, 2.8)
    fan = 1 + 0.10 * (along - 0.5)
    phase = 2 * np.pi * (plate.v_um / fan) / period_um + wave(rng, along * 3, 3, 0.25)
    # Ridges and ribs die out where the lens cannot split them.
    split = np.clip(1 - 1.25 * um_per_px / period_um, 0.0, 1)
    ridges = np.cos(phase).astype(np.float32)
    ribs = np.cos(2 * np.pi * plate.u_um / rng.uniform(0.9, 1.6) + 2.5 * np.sin(phase))
    ribs = ribs.astype(np.float32) * np.clip(1 - 2.2 * um_per_px, 0, 1)
    blots = fractal_field(rng, shape, 18 / pitch_um, 3)
    slope = 0.22 * (rng.random() - 0.5) * (along - 0.5) * 2
    blots = np.clip(1 + canvas.look.tape.stain * blots + slope, 0.3, 2)
    speckle = fractal_field(rng, shape, 2.2 / pitch_um, 1)
    density = strength * blots * (1 + 0.30 * split * ridges + 0.10 * ribs + 0.12 * speckle * split)
    edge = 1 + 0.5 * np.exp(-((np.maximum(plate.inside_um, 0) / 1.6) ** 2))
    density = density * edge * np.where(along < plate.stalk + 0.03, 1.3, 1)
    if rng.random() < 0.35:  # a curled edge is a darker strip
        side = rng.choice([-1, 1])
        curl = np.exp(-(((plate.across - side * 0.75) / 0.16) ** 2))
        density = density * (1 + 0.8 * curl)
    return density, 0.10 * ridges * split
