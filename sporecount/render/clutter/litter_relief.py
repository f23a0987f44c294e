"""Spore-sized litter, family I: things with a surface, shaded as light falls on or through it."""

from __future__ import annotations

import cv2
import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    SPORE_COLOURS,
    inside,
    log_uniform,
    noise,
    tint,
    two_tints,
)

FAMILY = "litter_relief"


def _shaded(rng: np.random.Generator, canvas: Canvas, height: Image, body: Image) -> Picture:
    """Shade a height field: through it, across it, along its slopes."""
    step = np.float32(canvas.step_um)
    across_x = cv2.Sobel(height, cv2.CV_32F, 1, 0, scale=0.125) / step
    across_y = cv2.Sobel(height, cv2.CV_32F, 0, 1, scale=0.125) / step
    turn = rng.uniform(0.0, 2 * np.pi)
    slant = across_x * np.float32(np.cos(turn)) + across_y * np.float32(np.sin(turn))
    slope = np.hypot(across_x, across_y)
    through, side, steep = rng.dirichlet([1.5, 1.0, 1.0]).astype(np.float32)
    tone = body * np.float32(rng.uniform(0.0, 0.5)) + through * height
    tone = tone + np.float32(2.5) * side * slant + np.float32(2.0) * steep * slope
    strength = np.float32(log_uniform(rng, 0.08, 1.3) / max(float(np.abs(tone).max()), 0.2))
    first, second = tint(rng, SPORE_COLOURS), tint(rng, SPORE_COLOURS)
    return canvas.finish(
        np.clip(two_tints(tone * strength, np.clip(height, 0, 1), first, second), -0.25, 2.0)
    )


def _blob(rng: np.random.Generator, canvas: Canvas, size_um: float) -> Image:
    """Return how far inside a wavy outline of about the given size each pixel lies, um."""
    angle = np.arctan2(canvas.v_um, canvas.u_um)
    reach = np.ones(canvas.shape, np.float32)
    for fold in range(2, int(rng.integers(3, 9))):
        height = rng.normal(0.0, rng.uniform(0.05, 0.3) / fold)
        reach += np.float32(height) * np.cos(fold * angle + np.float32(rng.uniform(0, 2 * np.pi)))
    slim = np.float32(rng.uniform(0.5, 1.0))
    radius = np.hypot(canvas.u_um, canvas.v_um / slim)
    return np.float32(size_um / 2) * np.clip(reach, 0.25, 1.7) - radius


def draw_lump(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a lump of a few humps."""
    size = log_uniform(rng, 6.0, 24.0)
    canvas = make_canvas(rng, um_per_px, 0.95 * size + 1.0)
    body = inside(-_blob(rng, canvas, size), canvas.step_um, rng.uniform(0.1, 0.8))
    height = np.zeros(canvas.shape, np.float32)
    for _ in range(int(rng.integers(2, 7))):
        u, v = rng.normal(0.0, 0.22 * size, 2)
        wide = rng.uniform(0.1, 0.3) * size
        far = np.square(canvas.u_um - np.float32(u)) + np.square(canvas.v_um - np.float32(v))
        height = np.maximum(
            height, np.float32(rng.uniform(0.4, 1)) * np.exp(-far / np.float32(wide * wide))
        )
    return _shaded(rng, canvas, height * body, body)


def draw_half_shell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bowl or crescent: a disc from which another one is taken away."""
    size = log_uniform(rng, 6.0, 24.0)
    canvas = make_canvas(rng, um_per_px, 0.7 * size + 1.0)
    radius = size / 2
    slim = np.float32(rng.uniform(0.7, 1.0))
    rho = np.hypot(canvas.u_um, canvas.v_um / slim)
    off, other = rng.uniform(0.25, 0.9) * radius, rng.uniform(0.65, 1.1) * radius
    away = np.hypot(canvas.u_um - np.float32(off), canvas.v_um / slim)
    within = np.minimum(np.float32(radius) - rho, away - np.float32(other))
    body = inside(-within, canvas.step_um, rng.uniform(0.1, 0.6))
    height = np.sqrt(np.clip(within / np.float32(0.5 * radius), 0.0, 1.0))
    return _shaded(rng, canvas, height * body, body)


def draw_ridged_plate(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a small plate with even ridges, as a bit of a scale or of a wing."""
    size = log_uniform(rng, 7.0, 28.0)
    canvas = make_canvas(rng, um_per_px, 0.95 * size + 1.0)
    within = _blob(rng, canvas, size)
    if rng.random() < 0.6:
        torn = noise(rng, canvas, size * rng.uniform(0.08, 0.3), 2)
        within = within + np.float32(rng.uniform(0.03, 0.15) * size) * torn
    for _ in range(int(rng.integers(0, 4))):
        turn, off = rng.uniform(0, 2 * np.pi), rng.uniform(0.15, 0.45) * size
        line = canvas.u_um * np.float32(np.cos(turn)) + canvas.v_um * np.float32(np.sin(turn))
        within = np.minimum(within, np.float32(off) - line)
    body = inside(-within, canvas.step_um, rng.uniform(0.05, 0.5))
    pitch, phase = rng.uniform(1.0, 3.5), rng.uniform(0, 2 * np.pi)
    bend = np.float32(rng.normal(0.0, 0.02)) * np.square(canvas.u_um)
    wave = np.cos((canvas.v_um + bend) * np.float32(2 * np.pi / pitch) + np.float32(phase))
    sharp = np.float32(rng.uniform(0.4, 2.0))
    ridges = np.sign(wave) * np.abs(wave) ** sharp
    height = np.float32(0.5) + np.float32(rng.uniform(0.1, 0.5)) * ridges
    return _shaded(rng, canvas, height * body, body)


def draw_folded_sheet(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin sheet that is folded over, twice as dense there, with dark folds."""
    size = log_uniform(rng, 7.0, 26.0)
    canvas = make_canvas(rng, um_per_px, 0.95 * size + 1.0)
    within = _blob(rng, canvas, size)
    layers = inside(-within, canvas.step_um, rng.uniform(0.05, 0.6))
    height = np.float32(0.4) * layers
    for _ in range(int(rng.integers(1, 4))):
        turn, off = rng.uniform(0, 2 * np.pi), rng.uniform(0.0, 0.35) * size
        line = canvas.u_um * np.float32(np.cos(turn)) + canvas.v_um * np.float32(np.sin(turn))
        over = inside(
            np.abs(line - np.float32(off)) - np.float32(rng.uniform(0.05, 0.2) * size),
            canvas.step_um,
            0.2,
        )
        fold = np.exp(np.float32(-2.0) * np.square(line - np.float32(off)))
        height = height + layers * np.float32(0.3) * (over + fold)
    return _shaded(rng, canvas, height, layers)


KINDS = (
    ClutterKind("relief lump", FAMILY, draw_lump, (0.3, 60.0)),
    ClutterKind("half shell", FAMILY, draw_half_shell, (0.2, 40.0)),
    ClutterKind("ridged plate", FAMILY, draw_ridged_plate, (0.3, 60.0)),
    ClutterKind("folded sheet", FAMILY, draw_folded_sheet, (0.2, 40.0)),
)
