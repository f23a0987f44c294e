"""Flakes of cuticle, and things of the size and colour of spores that are none."""

from __future__ import annotations

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field, log_uniform, pick, smooth_step
from other_hands.layered.shading import shade
from other_hands.layered.shapes import blob, polygon

FLAKE_TINTS = ((0.25, 0.6, 1.2), (0.5, 0.7, 0.9), (0.8, 0.9, 1), (0.2, 0.3, 0.5))


def lay_flake(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a flake of cuticle: angular, thin, many with a pattern of six-sided cells."""
    rng, pitch_um = canvas.rng, canvas.pitch_um
    radius_um = log_uniform(rng, 10, 75)
    window = canvas.window(x_um, y_um, radius_um * 1.7 + 5)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    v_um = v_um * rng.uniform(1, 1.9)
    shape = u_um.shape
    inside_um = polygon(rng, u_um, v_um, radius_um, int(rng.integers(5, 10)))
    inside_um = inside_um + 1.2 * fractal_field(rng, shape, max(7 / pitch_um, 2), 3)
    tint = np.array(pick(rng, FLAKE_TINTS))
    relief = fractal_field(rng, shape, radius_um * 0.3 / pitch_um, 3)
    # The cells are drawn on warped ground, or they would look ruled.
    warped_u_um = u_um + 2.2 * fractal_field(rng, shape, max(16 / pitch_um, 2), 2)
    warped_v_um = v_um + 2.2 * fractal_field(rng, shape, max(16 / pitch_um, 2), 2)
    cells = _cells(rng, warped_u_um, warped_v_um) if rng.random() < 0.4 else 0
    height = np.clip(1 + 0.22 * relief + cells, 0.1, 2) * smooth_step(inside_um / 2)
    body, rim = log_uniform(rng, 0.15, 1.6), 0.1 + 0.6 * canvas.look.spores.rim
    density = shade(canvas, inside_um, height, 2, tint, body, 0.12, 1.0, rim=rim)
    canvas.lay_litter(window.box, density, height * log_uniform(rng, 0.01, 0.12))


def _cells(rng: np.random.Generator, u_um: np.ndarray, v_um: np.ndarray) -> np.ndarray:
    """Draw a six-sided pattern as the sum of three waves."""
    period_um = rng.uniform(5, 11)
    strength = rng.uniform(0.06, 0.25)
    straight = np.cos(2 * np.pi * u_um / period_um)
    falling = np.cos(np.pi * (u_um + 1.73 * v_um) / period_um)
    rising = np.cos(np.pi * (u_um - 1.73 * v_um) / period_um)
    return strength * (straight + falling + rising)


def lay_lookalike(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a thing of the size and colour of a spore: angular, lobed, soft, a rod, round, a clot."""
    rng, look = canvas.rng, canvas.look.spores
    radius_um = rng.uniform(3.0, 8.0)
    kind = pick(rng, ["angular", "lobed", "soft", "rod", "round", "clot"])
    window = canvas.window(x_um, y_um, radius_um * 2.3 + 6)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    inside_um = _lookalike_outline(rng, kind, u_um, v_um, radius_um)
    height = np.clip(inside_um, 0, radius_um * 0.5) / (radius_um * 0.5)
    relief = fractal_field(rng, inside_um.shape, max(2.0 / canvas.pitch_um, 1.2), 3)
    soft = kind == "soft"
    if soft:
        height = height**0.8
    tint = look.tint * np.exp(rng.normal(0, 0.15, 3))
    body = look.body * log_uniform(rng, 0.5, 1.5)
    wall = 0 if soft else look.wall * rng.uniform(0, 0.6)
    rim = look.rim * (0.2 if soft else 1)
    height_rough = height * (1 + 0.35 * relief)
    density = shade(canvas, inside_um, height_rough, 1, tint, body, wall, 0.7, rim=rim)
    canvas.lay_litter(window.box, density, height * radius_um * 0.5 * look.index_step)


def _lookalike_outline(
    rng: np.random.Generator, kind: str, u_um: np.ndarray, v_um: np.ndarray, radius_um: float
) -> np.ndarray:
    """Draw distances to the outline of a thing that looks like a spore, positive inside."""
    wide_um = v_um * rng.uniform(1, 1.7)
    if kind == "angular":
        return polygon(rng, u_um, wide_um, radius_um * 0.9, int(rng.integers(3, 7)))
    if kind == "lobed":
        return blob(rng, u_um, wide_um, radius_um * 0.85, 0.30, 4)
    if kind == "soft":
        return blob(rng, u_um, wide_um, radius_um, 0.14, 4) * 0.6
    if kind == "rod":
        half_um = radius_um * 0.3 - np.abs(v_um + 0.05 * u_um * u_um / radius_um)
        return np.minimum(radius_um * 1.2 - np.abs(u_um), half_um).astype(np.float32)
    if kind == "round":
        return blob(rng, u_um, v_um, radius_um * 0.7, 0.03, 3)
    inside_um = np.full(u_um.shape, -9, np.float32)
    for _ in range(int(rng.integers(3, 8))):
        size_um = radius_um * rng.uniform(0.2, 0.5)
        off_u_um = u_um - rng.normal(0, radius_um * 0.45)
        off_v_um = v_um - rng.normal(0, radius_um * 0.45)
        inside_um = np.maximum(inside_um, size_um - np.hypot(off_u_um, off_v_um))
    return inside_um
