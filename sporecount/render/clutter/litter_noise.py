"""Spore-sized litter, family A: lumps cut out of smooth noise and of merging balls."""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    SPORE_COLOURS,
    bump,
    log_uniform,
    noise,
    step_up,
    tint,
    two_tints,
)

FAMILY = "litter_noise"


def _paint_level(rng: np.random.Generator, canvas: Canvas, level: Image, size_um: float) -> Picture:
    """Tint a level surface: 0 is the outline, larger is deeper inside, slopes near 1 / um."""
    softness = log_uniform(rng, 0.3, 3.0)
    body = step_up(level, softness + canvas.step_um)
    depth = np.clip(level / np.float32(max(0.25 * size_um, 0.5)), 0.0, 1.5)
    thick = rng.uniform(0.0, 1.0)
    tone = body * (np.float32(1.0 - thick) + np.float32(thick) * depth)
    if rng.random() < 0.35:
        rim = bump(level, rng.uniform(0.3, 0.9) + canvas.step_um / 2)
        tone = tone * np.float32(rng.uniform(0.1, 0.9)) + rim * np.float32(rng.uniform(0.4, 1.2))
    if rng.random() < 0.6:
        mottle = noise(rng, canvas, log_uniform(rng, 0.8, 5.0), 2)
        tone = tone * np.clip(1.0 + np.float32(rng.uniform(0.1, 0.7)) * mottle, 0.0, 2.5)
    if rng.random() < 0.2:
        tone = tone - bump(level + np.float32(0.6), 0.5 + canvas.step_um / 2) * np.float32(0.3)
    strength = np.float32(log_uniform(rng, 0.08, 1.5) / max(float(np.percentile(tone, 98)), 0.3))
    first, second = tint(rng, SPORE_COLOURS), tint(rng, SPORE_COLOURS)
    share = np.clip(depth * np.float32(rng.uniform(0.0, 0.7)), 0.0, 1.0)
    return canvas.finish(two_tints(tone * strength, share, first, second))


def draw_noise_lump(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw smooth noise, cut where a round window ends: lobed, sometimes in bits."""
    size = log_uniform(rng, 5.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 4.0)
    slim = rng.uniform(1.0, 2.2)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(slim))
    grain = size * rng.uniform(0.2, 0.6)
    rough = noise(rng, canvas, grain, int(rng.integers(1, 4)), rng.uniform(0.3, 0.7))
    strength = rng.uniform(0.12, 0.45) * size * 0.5
    level = np.float32(0.42 * size) - rho + np.float32(strength) * rough
    level = np.minimum(level, (np.float32(0.72 * size) - rho) * np.float32(1.5))
    return _paint_level(rng, canvas, level, size)


def draw_metaballs(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a few balls that flow into each other."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 4.0)
    total = np.zeros(canvas.shape, np.float32)
    for _ in range(int(rng.integers(2, 7))):
        radius = size * rng.uniform(0.10, 0.28)
        away, angle = size * 0.32 * np.sqrt(rng.random()), rng.uniform(0, 2 * np.pi)
        du = canvas.u_um - np.float32(away * np.cos(angle))
        dv = canvas.v_um - np.float32(away * np.sin(angle))
        total += np.float32(radius**2) / (du * du + dv * dv + np.float32(0.15 * radius**2))
    threshold = rng.uniform(0.9, 1.6)
    level = np.float32(0.3 * size) * np.log(np.maximum(total, 1e-4) / np.float32(threshold))
    rho = np.hypot(canvas.u_um, canvas.v_um)
    level = np.minimum(level, (np.float32(0.72 * size) - rho) * np.float32(1.5))
    return _paint_level(rng, canvas, level, size)


def draw_warped_flake(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a plain round or square whose plane was crumpled by noise."""
    size = log_uniform(rng, 5.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 4.0)
    grain, amount = size * rng.uniform(0.25, 0.7), size * rng.uniform(0.08, 0.22)
    u = canvas.u_um + np.float32(amount) * noise(rng, canvas, grain, 2)
    v = canvas.v_um + np.float32(amount) * noise(rng, canvas, grain, 2)
    slim = np.float32(rng.uniform(1.0, 3.0))
    power = rng.choice([1.0, 2.0, 4.0])
    rho = (np.abs(u) ** power + np.abs(v * slim) ** power) ** np.float32(1.0 / power)
    level = np.float32(0.38 * size) - rho
    rim = (np.float32(0.72 * size) - np.hypot(canvas.u_um, canvas.v_um)) * np.float32(1.5)
    return _paint_level(rng, canvas, np.minimum(level, rim).astype(np.float32), size)


def draw_noise_ridge(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw the zero lines of noise within a window: wormy, netted, hollow."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.6 * size + 4.0)
    rough = noise(rng, canvas, size * rng.uniform(0.2, 0.6), int(rng.integers(1, 3)))
    width = rng.uniform(0.4, 1.4)
    slope = np.hypot(*np.gradient(rough, np.float32(canvas.step_um))).astype(np.float32)
    away = np.abs(rough) / np.maximum(slope, np.float32(0.5 / size))
    rho = np.hypot(canvas.u_um, canvas.v_um)
    level = np.minimum(np.float32(width) - away, np.float32(0.5 * size) - rho)
    return _paint_level(rng, canvas, level, 4.0 * width)


def draw_cracked_lump(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a lump split by dark or bright cracks, its noise drawn out one way."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 4.0)
    coarse = noise(rng, canvas, size * rng.uniform(0.3, 0.6), 2)
    cracks = noise(rng, canvas, size * rng.uniform(0.12, 0.35), 1)
    slope = np.hypot(*np.gradient(cracks, np.float32(canvas.step_um)))
    split = np.abs(cracks) / np.maximum(slope, np.float32(0.5 / size))
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(1.0, 2.0)))
    level = np.float32(0.42 * size) - rho + np.float32(rng.uniform(0.03, 0.12) * size) * coarse
    level = np.minimum(level, (np.float32(0.72 * size) - rho) * np.float32(1.5))
    level = np.minimum(level, split - np.float32(rng.uniform(0.2, 1.0)))
    return _paint_level(rng, canvas, level, size)


KINDS = (
    ClutterKind("noise lump", FAMILY, draw_noise_lump, (0.5, 120.0)),
    ClutterKind("metaballs", FAMILY, draw_metaballs, (0.5, 80.0)),
    ClutterKind("warped flake", FAMILY, draw_warped_flake, (0.5, 80.0)),
    ClutterKind("noise ridge", FAMILY, draw_noise_ridge, (0.2, 40.0)),
    ClutterKind("cracked lump", FAMILY, draw_cracked_lump, (0.2, 40.0)),
)
