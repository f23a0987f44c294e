"""Litter without a form of its own: grit, dust, lumps of dirt and crystals."""

from __future__ import annotations

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field, log_uniform, pick
from other_hands.layered.shading import shade
from other_hands.layered.shapes import blob, polygon

GRIT_TINTS = ((1, 1, 1), (0.8, 1, 1.2), (0.6, 0.7, 0.8), (1.1, 1, 0.8), (0.35, 0.5, 0.8))
DIRT_TINTS = ((0.9, 1, 1.1), (0.6, 0.9, 1.2), (0.5, 0.8, 1.3), (0.8, 0.85, 0.9))


def lay_grit(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a mineral grain, angular or worn, opaque or like glass."""
    rng = canvas.rng
    radius_um = log_uniform(rng, 0.9, 14)
    window = canvas.window(x_um, y_um, radius_um * 2.3 + 4)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    v_um = v_um * rng.uniform(1, 1.8)
    if rng.random() < 0.7:
        inside_um = polygon(rng, u_um, v_um, radius_um, int(rng.integers(4, 9)))
    else:
        inside_um = blob(rng, u_um, v_um, radius_um, 0.14, 8)
    pitch_um, shape = canvas.pitch_um, inside_um.shape
    rough = fractal_field(rng, shape, max(radius_um * 0.4 / pitch_um, 1.2), 2)
    inside_um = inside_um + 0.12 * radius_um * 0.3 * rough
    tint = np.array(pick(rng, GRIT_TINTS))
    glassy = rng.random() < 0.35
    relief = 1 + 0.3 * fractal_field(rng, shape, radius_um * 0.5 / pitch_um, 2)
    height_um = np.clip(inside_um, 0, radius_um * 0.6) * relief
    body = log_uniform(rng, 0.04, 0.15) if glassy else log_uniform(rng, 0.5, 2.4)
    rim = canvas.look.spores.rim * 1.5 + (0.5 if glassy else 0.2)
    density = shade(canvas, inside_um, height_um, radius_um * 0.6, tint, body, 0.1, 0.6, rim=rim)
    canvas.lay_litter(window.box, density, np.clip(height_um, 0, None) * 0.06)


def lay_dust(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Strew a few to many specks about a point."""
    rng = canvas.rng
    number, spread_um = int(log_uniform(rng, 3, 22)), log_uniform(rng, 4, 30)
    for _ in range(number):
        radius_um = log_uniform(rng, 0.4, 1.6)
        x, y = x_um + rng.normal(0, spread_um), y_um + rng.normal(0, spread_um)
        window = canvas.window(x, y, radius_um * 2 + 3)
        if window is None:
            continue
        u_um, v_um = window.turned(rng.uniform(0, 6.3))
        inside_um = blob(rng, u_um, v_um * rng.uniform(1, 1.7), radius_um, 0.18, 4)
        height_um = np.clip(inside_um, 0, radius_um)
        body = log_uniform(rng, 0.15, 1.1)
        density = shade(canvas, inside_um, height_um, radius_um, (0.9, 1, 1.1), body, 0.1, 0.4)
        canvas.lay_litter(window.box, density, np.zeros_like(inside_um))


def lay_dirt(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay an opaque lump of dirt: several rough masses with crumbs round them."""
    rng, pitch_um = canvas.rng, canvas.pitch_um
    radius_um = log_uniform(rng, 6, 40)
    window = canvas.window(x_um, y_um, radius_um * 2.6 + 5)
    if window is None:
        return
    u_um, v_um = window.turned(rng.uniform(0, 6.3))
    shape = u_um.shape
    mass = np.zeros(shape, np.float32)
    for _ in range(int(rng.integers(2, 8))):
        size_um = radius_um * rng.uniform(0.25, 0.7)
        off_u_um = u_um - rng.normal(0, radius_um * 0.5)
        off_v_um = v_um - rng.normal(0, radius_um * 0.35)
        mass += np.exp(-(off_u_um**2 + off_v_um**2) / size_um**2)
    crumbs = 0.22 * fractal_field(rng, shape, max(radius_um * 0.35 / pitch_um, 2), 4)
    mass = mass + crumbs * np.exp(-(u_um * u_um + v_um * v_um) / (1.6 * radius_um) ** 2)
    inside_um = (mass - 0.45) * radius_um * 0.5
    near = np.hypot(u_um, v_um) < radius_um * 2.4
    inside_um = np.where(near, inside_um, -5).astype(np.float32)
    tint = np.array(pick(rng, DIRT_TINTS))
    relief = 1 + 0.35 * fractal_field(rng, shape, max(2.5 / pitch_um, 1.5), 3)
    height = np.clip(inside_um, 0, radius_um * 0.4) / (radius_um * 0.4) * relief
    body = log_uniform(rng, 0.5, 3)
    density = shade(canvas, inside_um, height, 1.2, tint, body, 0.15, 0.8)
    canvas.lay_litter(window.box, density, height * 0.1)


def lay_crystals(canvas: Canvas, x_um: float, y_um: float) -> None:
    """Lay a few plates, or a bundle of needles, with facets and bright cores."""
    rng = canvas.rng
    needles = rng.random() < 0.4
    number = int(log_uniform(rng, 2, 12)) if needles else int(pick(rng, [1, 2, 4]))
    for _ in range(number):
        size_um = log_uniform(rng, 3, 22)
        slimness = rng.uniform(5, 16) if needles else rng.uniform(1, 2)
        x, y = x_um + rng.normal(0, 6), y_um + rng.normal(0, 6)
        window = canvas.window(x, y, size_um * 1.6 + 5)
        if window is None:
            continue
        u_um, v_um = window.turned(rng.uniform(0, 6.3))
        v_um = v_um + (0 if needles else rng.normal(0, 0.35)) * u_um
        end_um = size_um * 0.95 - np.abs(u_um) - 0.2 * np.abs(v_um) * needles
        half_um = size_um / slimness
        inside_um = np.minimum(end_um, half_um - np.abs(v_um)).astype(np.float32)
        facet = (np.abs(u_um * 0.3 + v_um) < half_um * 0.4).astype(np.float32)
        density = shade(
            canvas,
            inside_um,
            facet,
            1,
            (0.4, 0.42, 0.45),
            0.08,
            0.3,
            0.6,
            rim=0.35 + canvas.look.spores.rim,
            core=0.12,
        )
        canvas.lay_litter(window.box, density, np.clip(inside_um, 0, 3) * 0.05)
