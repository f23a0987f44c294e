"""Litter that lived: pollen, spores of moulds and yeasts."""

from __future__ import annotations

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field, log_uniform, pick
from other_hands.layered.shading import shade
from other_hands.layered.shapes import blob, round_height

POLLEN_TINTS = ((0.12, 0.3, 0.95), (0.2, 0.45, 1.1), (0.3, 0.4, 0.6), (0.35, 0.8, 1.1))
MOULD_TINTS = ((0.9, 1, 1.1), (0.6, 0.8, 0.9), (0.7, 0.75, 0.7), (0.4, 0.4, 0.4))


def lay_pollen(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a pollen grain: spiny, smooth, three-sided with pores, or with a net on it."""
    rng = canvas.rng
    radius_um = rng.uniform(7.5, 20)
    kind = pick(rng, ["spiny", "smooth", "three-sided", "net"])
    window = canvas.window(x_um, y_um, radius_um * 1.5 + 6)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    v_round_um = v_um * rng.uniform(1, 1.22)
    away_um = np.hypot(u_um, v_round_um)
    outline_um = _pollen_outline(rng, kind, np.arctan2(v_round_um, u_um), radius_um)
    inside_um = (outline_um - away_um).astype(np.float32)
    height = np.sqrt(np.clip(1 - (away_um / radius_um) ** 2, 0, 1))
    tint = np.array(pick(rng, POLLEN_TINTS))
    relief = fractal_field(rng, inside_um.shape, radius_um * 0.12 / canvas.pitch_um, 2)
    if kind == "net":
        relief = np.abs(relief) * -2 + 1
    elif kind == "spiny":
        relief = np.cos(u_um / radius_um * 17) * np.cos(v_um / radius_um * 17) * 1.2
    body, wall = log_uniform(rng, 0.4, 1.3), log_uniform(rng, 0.3, 0.8)
    wall_um, rim = radius_um * 0.12, 0.15 + canvas.look.spores.rim
    density = shade(
        canvas, inside_um, height * (1 + 0.16 * relief), 1.2, tint, body, wall, wall_um, rim=rim
    )
    if kind == "three-sided":
        mask = canvas.coverage(inside_um)
        for angle in (0, 2.094, 2 * 2.094):
            off_u_um = u_um - 0.85 * radius_um * np.cos(angle)
            off_v_um = v_um - 0.85 * radius_um * np.sin(angle)
            pore = 0.5 * np.exp(-(off_u_um**2 + off_v_um**2) / (radius_um * 0.16) ** 2) * mask
            density -= pore[..., None] * tint * 0.5
    canvas.lay_litter(window.box, np.clip(density, -0.5, 4), height * radius_um * 0.02)


def _pollen_outline(
    rng: np.random.Generator, kind: str, angle: np.ndarray, radius_um: float
) -> np.ndarray:
    """Draw the radius of a pollen grain by the angle."""
    if kind == "spiny":
        spines = int(rng.integers(13, 26))
        spine = np.clip(np.abs(((angle * spines / 6.283) % 1) - 0.5) * 2, 0, 1) ** 2.2
        return radius_um * (0.86 + 0.2 * spine)
    if kind == "three-sided":
        return radius_um * (0.93 + 0.09 * np.cos(3 * angle))
    return radius_um * (1 + 0.01 * np.sin(3 * angle))


def lay_mould(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay spores of a mould: a chain or a cloud of small ones, or a large one with cross walls."""
    rng = canvas.rng
    kind = pick(rng, ["chain", "cloud", "walled"], [0.35, 0.4, 0.25])
    tint, body = np.array(pick(rng, MOULD_TINTS)), log_uniform(rng, 0.2, 1.1)
    if kind == "walled":
        _lay_walled(canvas, x_um, y_um, body)
        return
    radius_um = log_uniform(rng, 1.4, 2.9)
    number, spread_um = int(log_uniform(rng, 4, 40)), log_uniform(rng, 6, 30)
    angle = rng.uniform(0, 6.3)
    for _ in range(number):
        if kind == "chain":
            angle += rng.normal(0, 0.25)
            x_um += np.cos(angle) * radius_um * 1.9
            y_um += np.sin(angle) * radius_um * 1.9
            x, y = x_um, y_um
        else:
            x, y = x_um + rng.normal(0, spread_um), y_um + rng.normal(0, spread_um)
        window = canvas.window(x, y, radius_um * 1.6 + 3)
        if window is None:
            continue
        v_um = window.y_um * rng.uniform(1, 1.2)
        inside_um = blob(rng, window.x_um, v_um, radius_um * rng.uniform(0.85, 1.1), 0.03, 3)
        height = np.sqrt(np.clip(inside_um / radius_um, 0, 1))
        density = shade(canvas, inside_um, height, 1, tint, body, 0.2, 0.5)
        canvas.lay_litter(window.box, density, height * radius_um * 0.05)


def _lay_walled(canvas: Canvas, x_um: float, y_um: float, body: float) -> None:
    """Lay a long brown mould spore that cross walls part into cells."""
    rng = canvas.rng
    length_um = log_uniform(rng, 18, 42)
    width_um = length_um * rng.uniform(0.22, 0.4)
    window = canvas.window(x_um, y_um, length_um * 0.7 + 5)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    t = u_um / (length_um / 2)
    half_um = width_um / 2 * np.sqrt(np.clip(1 - np.abs(t) ** 2.2, 0, 1)) * (1 - 0.35 * t)
    cells = int(rng.integers(3, 7))
    half_um = half_um * (1 - 0.10 * np.abs(np.sin(t * cells * 1.57)))
    inside_um = (half_um - np.abs(v_um)).astype(np.float32)
    height = np.sqrt(np.clip(1 - (v_um / (half_um + 0.01)) ** 2, 0, 1))
    walls = np.exp(-(((((t * cells / 2) % 1) - 0.5) / 0.05) ** 2))
    walled, tint = height * (1 + 0.6 * walls), (0.6, 0.85, 1.1)
    density = shade(canvas, inside_um, walled, 1.4, tint, body * 1.4, 0.35, 0.8)
    canvas.lay_litter(window.box, density, height * 0.2)


def lay_yeast(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Strew clear yeast cells about a point, some with a bud."""
    rng = canvas.rng
    number, spread_um = int(log_uniform(rng, 1, 18)), log_uniform(rng, 6, 22)
    for _ in range(number):
        radius_um, angle = rng.uniform(1.8, 3.6), rng.uniform(0, 6.3)
        x, y = x_um + rng.normal(0, spread_um), y_um + rng.normal(0, spread_um)
        bud = rng.uniform(0.4, 0.75)
        _lay_yeast_cell(canvas, x, y, angle, radius_um, 1)
        if rng.random() < 0.6:
            continue
        x, y = x + np.cos(angle) * radius_um * 1.5, y + np.sin(angle) * radius_um * 1.5
        _lay_yeast_cell(canvas, x, y, angle, radius_um, bud)


def _lay_yeast_cell(
    canvas: Canvas, x_um: float, y_um: float, angle_rad: float, radius_um: float, size: float
) -> None:
    """Lay one cell, or a bud of less than the cell's size of 1."""
    window = canvas.window(x_um, y_um, radius_um * 1.7 + 4)
    if window is None:
        return
    u_um, v_um = window.turned(angle_rad)
    inside_um = blob(canvas.rng, u_um / 1.2, v_um, radius_um * size, 0.02, 3)
    height = round_height(inside_um, radius_um * size) / radius_um
    tint = (0.45, 0.5, 0.55)
    density = shade(canvas, inside_um, height, 1, tint, 0.10, 0.35, 0.7, core=0.12)
    canvas.lay_litter(window.box, density, height * radius_um * 0.06)
