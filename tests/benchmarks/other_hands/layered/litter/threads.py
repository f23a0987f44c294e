"""Litter that is long and thin: fibres, hairs, threads of mould and scratches in the tape."""

from __future__ import annotations

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field, log_uniform, pick, smooth_field
from other_hands.layered.curves import curve, line_field, strand
from other_hands.layered.shading import shade
from other_hands.layered.shapes import round_height

FIBRE_TINTS = (
    (0.35, 0.3, 0.3),
    (1.3, 0.7, 0.25),
    (0.3, 1.1, 0.9),
    (0.9, 0.9, 0.9),
    (0.5, 0.6, 0.8),
    (0.25, 0.3, 0.4),
)
HAIR_TINTS = ((0.6, 0.9, 1.2), (1, 1, 1), (0.4, 0.7, 1.2))


def lay_fibre(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a textile fibre: long, dyed or clear, of a width that sways."""
    rng, look = canvas.rng, canvas.look
    length_um, width_um = log_uniform(rng, 350, 2200), log_uniform(rng, 6, 17)
    path_um = curve(rng, x_um, y_um, length_um, rng.uniform(0.1, 0.9))
    thread = strand(canvas, path_um, width_um, width_um * rng.uniform(0.8, 1.2))
    if thread is None:
        return
    along_um, half_um = thread.along * length_um, thread.half_width_um
    slow = 0.12 * np.sin(along_um / rng.uniform(20, 70))
    inside_um = half_um * (1 + slow + 0.06 * np.sin(along_um / 9)) - thread.distance_um
    tint = np.array(pick(rng, FIBRE_TINTS))
    height = round_height(inside_um, half_um) / half_um
    body = log_uniform(rng, 0.08, 0.9)
    rim = log_uniform(rng, 0.12, 0.8) + 0.5 * look.spores.rim
    density = shade(canvas, inside_um, height, 1, tint, body, 0.3, 1.1, rim=rim, core=0.05)
    density *= (1 + 0.18 * fractal_field(rng, inside_um.shape, 5 / canvas.pitch_um, 2))[..., None]
    focus_um = look.optics.focus_um + rng.normal(0, look.optics.focus_sd_um * 3)
    canvas.lay_litter(thread.box, density, height * 0.15, focus_um)


def lay_hair(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay an insect's hair: short, stiff, ending in a point."""
    rng = canvas.rng
    length_um = log_uniform(rng, 80, 420)
    path_um = curve(rng, x_um, y_um, length_um, rng.uniform(0.05, 0.4))
    thread = strand(canvas, path_um, log_uniform(rng, 3, 7), rng.uniform(0.3, 1.0))
    if thread is None:
        return
    half_um = thread.half_width_um
    inside_um = half_um - thread.distance_um
    tint = np.array(pick(rng, HAIR_TINTS))
    height = round_height(inside_um, half_um) / np.maximum(half_um, 0.3)
    body, rim = log_uniform(rng, 0.25, 1.4), 0.2 + 0.6 * canvas.look.spores.rim
    density = shade(canvas, inside_um, height, 1, tint, body, 0.25, 0.7, rim=rim)
    canvas.lay_litter(thread.box, density, height * 0.1)


def lay_hypha(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a thread of mould with cross walls and up to three branches, dark or clear."""
    rng = canvas.rng
    width_um = log_uniform(rng, 1.8, 4)
    dark = rng.random() < 0.6
    tint = (0.6, 0.85, 1.1) if dark else (0.4, 0.4, 0.42)
    body = log_uniform(rng, 0.2, 0.7) if dark else 0.04
    angle_rad, length_um = rng.uniform(0, 6.3), log_uniform(rng, 60, 320)
    for path_um in _branching(rng, x_um, y_um, length_um, angle_rad):
        thread = strand(canvas, path_um, width_um, width_um * 0.85)
        if thread is None:
            continue
        half_um = thread.half_width_um
        inside_um = half_um * (1 + 0.1 * np.sin(thread.along * 40)) - thread.distance_um
        height = round_height(inside_um, half_um) / half_um
        cells = length_um / log_uniform(rng, 9, 22)
        walls = np.exp(-(((((thread.along * cells) % 1) - 0.5) / 0.05) ** 2))
        wall, rim = 0.22 if dark else 0.12, canvas.look.spores.rim * 0.8 + 0.1
        walled = height * (1 + 0.8 * walls)
        density = shade(canvas, inside_um, walled, 1.5, tint, body, wall, 0.6, rim=rim)
        canvas.lay_litter(thread.box, density, height * 0.08)


def _branching(
    rng: np.random.Generator, x_um: float, y_um: float, length_um: float, angle_rad: float
) -> list[np.ndarray]:
    """Draw a curved line and up to three shorter ones that start on it."""
    main = curve(rng, x_um, y_um, length_um, 0.5, 60, angle_rad)
    paths_um = [main]
    for _ in range(int(rng.integers(0, 4))):
        start_um = main[int(rng.integers(8, 55))]
        branch_um = length_um * rng.uniform(0.15, 0.5)
        turned_rad = angle_rad + rng.choice([-1, 1]) * rng.uniform(0.5, 1.2)
        branch = curve(rng, 0, 0, branch_um, 0.4, 30, turned_rad)
        paths_um.append(branch - branch[0] + start_um)
    return paths_um


def lay_scratch(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Scratch the tape: a faint dark line between two bright ones."""
    rng, pitch_um = canvas.rng, canvas.pitch_um
    length_um, bend = log_uniform(rng, 150, 1500), rng.uniform(0, 0.12)
    angle_rad = canvas.look.tape.angle_rad + rng.normal(0, 0.4)
    line = line_field(canvas, curve(rng, x_um, y_um, length_um, bend, 40, angle_rad), 3)
    if line is None:
        return
    width_um = max(log_uniform(rng, 0.4, 1.3), pitch_um)
    strength = log_uniform(rng, 0.05, 0.3)
    away_um = line.distance_um
    dark = strength * np.exp(-((away_um / width_um) ** 2))
    bright = strength * 0.6 * np.exp(-(((away_um - 1.8 * width_um) / width_um) ** 2))
    patches = np.clip(0.6 + 0.6 * smooth_field(rng, away_um.shape, 40 / pitch_um), 0, 1.5)
    density = (dark - bright) * patches
    # A scratch lies in no layer of its own: the lens shows it as it is.
    canvas.add(canvas.litter, line.box, np.repeat(density[..., None], 3, 2).astype(np.float32))
