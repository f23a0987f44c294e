"""Spore-sized litter, family D: stains and soft spots, and ellipses of the wrong build.

None is a definite ellipse 8-18 um long and 0.5-0.8 as wide: that is a spore.
"""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    SPORE_COLOURS,
    colour,
    inside,
    log_uniform,
    noise,
    tint,
    two_tints,
)

FAMILY = "litter_texture"


def _window(canvas: Canvas, half_u: float, half_v: float, power: float) -> Image:
    """Return a window that falls from 1 to about 0.06 at the given half extents."""
    rho = np.square(canvas.u_um / np.float32(half_u)) + np.square(canvas.v_um / np.float32(half_v))
    return np.exp(np.float32(-2.8) * rho ** np.float32(power / 2.0))


def _tinted(rng: np.random.Generator, canvas: Canvas, tone: Image, share: Image) -> Picture:
    strength = np.float32(log_uniform(rng, 0.08, 1.5) / max(float(tone.max()), 0.2))
    first, second = tint(rng, SPORE_COLOURS), tint(rng, SPORE_COLOURS)
    return canvas.finish(two_tints(tone * strength, np.clip(share, 0.0, 1.0), first, second))


def draw_blotch(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw rough texture that fades out all round."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.9 * size + 1.0)
    window = _window(canvas, size / 2, size / 2 * rng.uniform(0.4, 1.0), rng.uniform(1.5, 3.0))
    rough = noise(rng, canvas, size * rng.uniform(0.08, 0.4), 3, rng.uniform(0.4, 0.8))
    tone = window * np.clip(rng.uniform(0.2, 1.0) + np.float32(rng.uniform(0.3, 1)) * rough, 0, 3)
    return _tinted(rng, canvas, tone.astype(np.float32), 0.5 + 0.3 * rough)


def draw_soft_spot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a stain or shadow without an edge."""
    size = log_uniform(rng, 10.0, 30.0)
    canvas = make_canvas(rng, um_per_px, size + 1.0)
    half_v = size / 2 * rng.uniform(0.45, 1.0)
    window = _window(canvas, size / 2, half_v, rng.uniform(1.0, 2.0))
    lean = np.clip(1.0 + canvas.u_um * np.float32(rng.uniform(-1.2, 1.2) / size), 0.2, 2.0)
    return _tinted(rng, canvas, window * lean, window)


def draw_spot_with_halo(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a dark core of up to 6 um in a wide pale or bright halo."""
    core = log_uniform(rng, 2.0, 6.0)
    size = core * rng.uniform(2.2, 4.0)
    canvas = make_canvas(rng, um_per_px, size + 1.0)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(0.9, 1.15)))
    dark = inside(rho - np.float32(core / 2), canvas.step_um, rng.uniform(0.1, 0.8))
    halo = np.exp(np.float32(-2.8) * np.square(rho / np.float32(size / 2)))
    away = rng.uniform(0.3, 0.7) * size / 2
    ring = np.exp(np.float32(-0.5) * np.square((rho - np.float32(away)) / np.float32(0.6)))
    tone = dark + np.float32(rng.uniform(-0.25, 0.5)) * halo
    tone = tone + np.float32(rng.choice([0.0, 0.0, 0.25, -0.2])) * ring
    return _tinted(rng, canvas, tone, halo)


def draw_double_spot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two or three spots side by side, soft or sharp, none as long as a spore."""
    size, count = log_uniform(rng, 6.0, 22.0), int(rng.integers(2, 4))
    canvas = make_canvas(rng, um_per_px, 0.85 * size + 1.0)
    soft = rng.uniform(0.0, 1.5)
    tone = np.zeros(canvas.shape, np.float32)
    for i in range(count):
        radius = min(size * rng.uniform(0.12, 0.25), 3.4)
        place = (i - (count - 1) / 2) * size / count
        du = canvas.u_um - np.float32(place)
        dv = canvas.v_um - np.float32(rng.normal(0.0, 0.06 * size))
        disc = inside(np.hypot(du, dv) - np.float32(radius), canvas.step_um, soft)
        tone += disc * np.float32(rng.uniform(0.5, 1.0))
    return _tinted(rng, canvas, tone, tone)


def draw_streak(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bundle of thin streaks that fade towards both ends."""
    size = log_uniform(rng, 8.0, 30.0)
    half_v = size / 2 * rng.uniform(0.08, 0.4)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 1.0, 1.9 * half_v + 1.0)
    window = _window(canvas, size / 2, half_v, rng.uniform(1.5, 3.0))
    pitch, phase = rng.uniform(0.8, 3.0), rng.uniform(0.0, 2 * np.pi)
    wander = noise(rng, canvas, size * 0.4)
    wave = np.sin((canvas.v_um + np.float32(0.4) * wander) * np.float32(2 * np.pi / pitch) + phase)
    tone = window * np.clip(np.float32(0.5) + np.float32(rng.uniform(0.2, 0.8)) * wave, 0.0, 2.0)
    return _tinted(rng, canvas, tone.astype(np.float32), 0.5 + 0.4 * wave)


def draw_dirty_film(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin film with an edge darker than its middle, as of a dried drop."""
    size = log_uniform(rng, 8.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.8 * size + 1.0)
    rough = noise(rng, canvas, size * 0.5, 2)
    slim = np.float32(rng.uniform(1.0, 2.5))
    rho = np.hypot(canvas.u_um, canvas.v_um * slim) + np.float32(0.07 * size) * rough
    away = rho - np.float32(0.4 * size)
    rim = np.exp(np.float32(-0.5) * np.square(away / np.float32(rng.uniform(0.4, 1.6))))
    film = inside(away, canvas.step_um, rng.uniform(0.2, 2.0))
    spots = np.clip(noise(rng, canvas, 1.6, 1) - np.float32(rng.uniform(0.4, 1.5)), 0.0, None)
    tone = rim * np.clip(0.6 + 0.6 * rough, 0.0, None) + film * (np.float32(0.15) + spots)
    return _tinted(rng, canvas, tone.astype(np.float32), film)


def draw_relief_speck(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a speck in slanting light: one side dark, the other bright, no outline."""
    size = log_uniform(rng, 4.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.9 * size + 1.0)
    half_v = size / 2 * rng.uniform(0.3, 1.0)
    height = _window(canvas, size / 2, half_v, rng.uniform(1.5, 3.0))
    height = height * (1.0 + np.float32(rng.uniform(0.0, 0.5)) * noise(rng, canvas, size * 0.25))
    down, right = np.gradient(height, np.float32(canvas.step_um / size))
    side = rng.uniform(0.0, 2.0 * np.pi)
    tone = np.float32(np.cos(side)) * right + np.float32(np.sin(side)) * down
    tone = tone * np.float32(0.3) + np.float32(rng.uniform(0.0, 0.8)) * height
    tone = np.maximum(tone, np.float32(-0.3) * np.float32(tone.max()))
    return _tinted(rng, canvas, tone.astype(np.float32), height)


def draw_blurred_rings(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw dust far out of focus: a faint disc of rings, dark and bright by turns."""
    size = log_uniform(rng, 8.0, 30.0)
    canvas = make_canvas(rng, um_per_px, size / 2 + 4.0)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(0.95, 1.3)))
    pitch = rng.uniform(1.6, 5.0)
    chirp = rho * (1.0 + np.float32(rng.uniform(0.0, 0.4)) * rho / np.float32(size))
    rings = np.cos(chirp * np.float32(2.0 * np.pi / pitch) + rng.uniform(0.0, 2.0 * np.pi))
    body = inside(rho - np.float32(size / 2), canvas.step_um, rng.uniform(0.3, 2.0))
    fade = np.exp(-rho / np.float32(size * rng.uniform(0.2, 1.5)))
    tone = body * (np.float32(rng.uniform(0.0, 0.5)) + np.float32(0.6) * rings * fade)
    tone = tone * np.float32(log_uniform(rng, 0.06, 0.6))
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, SPORE_COLOURS)))


def _wrong_ellipse(
    rng: np.random.Generator,
    um_per_px: float,
    length_um: float,
    slenderness: float,
    powers: tuple[float, float] = (1.5, 2.6),
) -> Picture:
    """Draw an ellipse or lemon as spores are drawn, of a size or slenderness they lack."""
    half_u, half_v = length_um / 2, length_um * slenderness / 2
    canvas = make_canvas(rng, um_per_px, half_u + 2.0, half_v + 2.0)
    power = np.float32(rng.uniform(*powers))
    reach_u = np.abs(canvas.u_um / np.float32(half_u)) ** power
    reach_v = np.abs(canvas.v_um / np.float32(half_v)) ** power
    share = (reach_u + reach_v) ** (np.float32(1.0) / power)
    # Near the outline the share runs from 1 by about 1 / (half width) for each um.
    away = (share - np.float32(1.0)) * np.float32(half_v)
    fill = inside(away, canvas.step_um, rng.uniform(0.0, 0.5))
    rim = fill * np.clip(share, 0.0, 1.0) ** np.float32(rng.uniform(3.0, 9.0))
    tone = np.float32(rng.uniform(0.2, 1.0)) * fill + np.float32(rng.uniform(0.0, 0.8)) * rim
    tone = tone * np.clip(1.0 + np.float32(rng.uniform(0, 0.3)) * noise(rng, canvas, 1.5), 0, 2)
    if rng.random() < 0.4:
        core = np.exp(np.float32(-4.0) * share * share)
        tone = tone - np.float32(rng.uniform(0.1, 0.6)) * core * fill
    return _tinted(rng, canvas, tone.astype(np.float32), np.clip(share, 0.0, 1.0))


def draw_dwarf_ellipse(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a spore's shape, 3 to 7 um long."""
    return _wrong_ellipse(rng, um_per_px, log_uniform(rng, 3.0, 7.0), rng.uniform(0.45, 1.0))


def draw_giant_ellipse(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a spore's shape, 22 to 40 um long."""
    return _wrong_ellipse(rng, um_per_px, log_uniform(rng, 22.0, 40.0), rng.uniform(0.4, 1.0))


def draw_slim_rod(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a pointed or round rod, four to nine times as long as wide."""
    return _wrong_ellipse(rng, um_per_px, log_uniform(rng, 7.0, 25.0), 1 / rng.uniform(4.0, 9.0))


def draw_plain_disc(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a disc 10 to 14 um across."""
    return _wrong_ellipse(
        rng, um_per_px, rng.uniform(10.0, 14.0), rng.uniform(0.93, 1.0), (1.8, 2.3)
    )


KINDS = (
    ClutterKind("blotch", FAMILY, draw_blotch, (0.5, 60.0)),
    ClutterKind("soft spot", FAMILY, draw_soft_spot, (0.5, 40.0)),
    ClutterKind("spot with halo", FAMILY, draw_spot_with_halo, (0.3, 40.0)),
    ClutterKind("double spot", FAMILY, draw_double_spot, (0.3, 40.0)),
    ClutterKind("streak", FAMILY, draw_streak, (0.2, 40.0)),
    ClutterKind("dried film", FAMILY, draw_dirty_film, (0.2, 30.0)),
    ClutterKind("relief speck", FAMILY, draw_relief_speck, (0.5, 60.0)),
    ClutterKind("blurred rings", FAMILY, draw_blurred_rings, (0.2, 30.0)),
    ClutterKind("dwarf ellipse", FAMILY, draw_dwarf_ellipse, (0.5, 120.0)),
    ClutterKind("giant ellipse", FAMILY, draw_giant_ellipse, (0.2, 20.0)),
    ClutterKind("slim rod", FAMILY, draw_slim_rod, (0.3, 60.0)),
    ClutterKind("plain disc", FAMILY, draw_plain_disc, (0.3, 40.0)),
)
