"""Litter without substance: air bubbles under the tape, and droplets."""

from __future__ import annotations

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import log_uniform, pick, smooth_step
from other_hands.layered.shading import shade
from other_hands.layered.shapes import blob, round_height


def lay_bubbles(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay an air bubble, some with smaller ones beside: dark rim, bright middle."""
    rng = canvas.rng
    fine = canvas.um_per_px < 0.3
    radius_um = log_uniform(rng, 4, 45) if fine else log_uniform(rng, 6, 70)
    for _ in range(int(pick(rng, [1, 2, 4], [0.75, 0.17, 0.08]))):
        window = canvas.window(x_um, y_um, radius_um * 1.35 + 6)
        if window is None:
            return
        u_um, v_um = window.turned(rng.uniform(0, 6))
        v_um = v_um * (1 if rng.random() < 0.7 else rng.uniform(1, 1.4))
        roughness = 0.015 if rng.random() < 0.6 else 0.06
        inside_um = blob(rng, u_um, v_um, radius_um, roughness, 4)
        grey = _bubble_density(canvas, inside_um, u_um, radius_um)
        density = grey[..., None] * np.array([1, 1.02, 1.05])
        focus_um = rng.normal(0, canvas.look.optics.focus_sd_um)
        canvas.lay_litter(window.box, density, np.zeros_like(inside_um), focus_um)
        x_um += rng.normal(0, radius_um * 1.6)
        y_um += rng.normal(0, radius_um * 1.6)
        radius_um *= rng.uniform(0.25, 0.8)


def _bubble_density(
    canvas: Canvas, inside_um: np.ndarray, u_um: np.ndarray, radius_um: float
) -> np.ndarray:
    """Draw the grey density (h, w) of a bubble: rim, glint on one side, core and halo."""
    rng = canvas.rng
    out = np.clip(1 - inside_um / radius_um, 0, 1)
    thickness = rng.uniform(0.10, 0.32)
    rise = np.clip((out - (1 - thickness)) / thickness, 0, 1)
    strength = log_uniform(rng, 0.7, 3.0)
    rim = strength * rise ** rng.uniform(0.5, 1.3) * (1 - 0.5 * smooth_step((out - 0.96) / 0.04))
    glint = np.exp(-(((out - (1 - thickness * 0.5)) / (thickness * 0.16)) ** 2))
    rim = rim - 0.25 * glint * np.clip(u_um / radius_um, 0, 1)
    core = -0.18 * np.exp(-((out / 0.5) ** 2)) - 0.10
    halo = -0.10 * np.exp(-((np.minimum(inside_um, 0) / 1.5) ** 2)) * (inside_um < 0)
    return canvas.coverage(inside_um) * (rim + core) + halo


def lay_droplets(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Strew droplets of oil or water about a point, some yellowish."""
    rng = canvas.rng
    number, spread_um = int(log_uniform(rng, 1, 14)), log_uniform(rng, 8, 60)
    for _ in range(number):
        radius_um = log_uniform(rng, 1.2, 12)
        x, y = x_um + rng.normal(0, spread_um), y_um + rng.normal(0, spread_um)
        window = canvas.window(x, y, radius_um * 1.3 + 5)
        if window is None:
            continue
        inside_um = blob(rng, window.x_um, window.y_um, radius_um, 0.02, 3)
        height = round_height(inside_um, radius_um) / radius_um
        yellow = rng.random() < 0.3
        tint, body = ((0.1, 0.3, 0.9), 0.25) if yellow else ((0.5, 0.5, 0.5), 0.03)
        wall_um, rim = max(0.12 * radius_um, 0.5), 0.18 + canvas.look.spores.rim
        density = shade(canvas, inside_um, height, 1, tint, body, 0.18, wall_um, rim=rim, core=0.10)
        canvas.lay_litter(window.box, density, height * radius_um * 0.03)
