"""Spore-sized litter, family H: pale ghosts, smudges and faint rings of debris.

All are sums of soft strokes and bells; none has a closed lemon's outline.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import log_uniform, noise, tint

FAMILY = "litter_ghost"

COLOURS: dict[str, float] = {
    "grey": 0.30,
    "brown": 0.22,
    "amber": 0.18,
    "yellow": 0.12,
    "russet": 0.10,
    "orange": 0.06,
    "greenish": 0.02,
}


def _finished(
    rng: np.random.Generator, canvas: Canvas, tone: Image, low: float, high: float
) -> Picture:
    """Scale a tone to a strength between two bounds and tint it."""
    strength = log_uniform(rng, low, high) / max(float(np.abs(tone).max()), 0.1)
    return canvas.finish(tone[:, :, None] * (np.float32(strength) * tint(rng, COLOURS)))


def _bell(
    canvas: Canvas, place: NDArray[np.float64], size: tuple[float, float], turn: float
) -> Image:
    du, dv = canvas.u_um - np.float32(place[0]), canvas.v_um - np.float32(place[1])
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    along, across = (du * cos + dv * sin) / size[0], (dv * cos - du * sin) / size[1]
    return np.exp(-(along * along + across * across)).astype(np.float32)


def draw_smudge(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a soft smear of two to eight strokes of one way."""
    size = log_uniform(rng, 6.0, 22.0)
    canvas = make_canvas(rng, um_per_px, 1.15 * size + 2.0)
    tone = np.zeros(canvas.shape, np.float32)
    way = rng.uniform(0, np.pi)
    for _ in range(int(rng.integers(2, 9))):
        place = rng.uniform(-0.3, 0.3, 2) * size
        long = size * rng.uniform(0.08, 0.32)
        stroke = _bell(canvas, place, (long, long * rng.uniform(0.25, 1)), way + rng.normal(0, 0.4))
        tone += np.float32(rng.uniform(0.3, 1.0)) * stroke
    if rng.random() < 0.5:
        grain = noise(rng, canvas, log_uniform(rng, 1.0, 5.0), 2)
        tone *= np.clip(1 + np.float32(rng.uniform(0.1, 0.6)) * grain, 0.0, 3.0)
    return _finished(rng, canvas, tone, 0.06, 0.9)


def draw_ghost_outline(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw the pale outline of something lobed, angular or torn, all but empty inside."""
    size = log_uniform(rng, 5.0, 22.0)
    canvas = make_canvas(rng, um_per_px, 0.85 * size + 3.0)
    theta = np.arctan2(canvas.v_um, canvas.u_um)
    radius = np.ones_like(theta)
    for order in range(1, 7):
        size_of = np.float32(rng.normal(0.0, 0.16 / np.sqrt(order)))
        radius += size_of * np.cos(order * theta + np.float32(rng.uniform(0, 6.3)))
    slim = np.float32(rng.uniform(1.0, 1.8))
    rho = np.hypot(canvas.u_um, canvas.v_um * slim)
    away = rho - np.clip(radius, 0.4, 1.55) * np.float32(size / 2)
    wide = np.float32(rng.uniform(0.35, 1.0) + canvas.step_um / 3)
    wall = np.exp(-np.square(away / wide))
    gap = np.cos(theta * int(rng.integers(1, 4)) + np.float32(rng.uniform(0, 6.3)))
    wall = wall * np.clip(np.float32(rng.uniform(0.2, 1.5)) + gap, 0.0, 1.0)
    film = np.clip(np.float32(0.5) - away / np.float32(0.8 + canvas.step_um), 0.0, 1.0)
    rest = np.clip(noise(rng, canvas, size * 0.25, 2) - np.float32(rng.uniform(0.3, 2.0)), 0.0, 2.0)
    tone = wall + film * (np.float32(rng.uniform(0.0, 0.25)) + np.float32(0.5) * rest)
    return _finished(rng, canvas, tone.astype(np.float32), 0.05, 0.35)


def draw_pale_patch(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a pale irregular patch with a soft edge and darker crumbs in it."""
    size = log_uniform(rng, 6.0, 22.0)
    canvas = make_canvas(rng, um_per_px, 0.95 * size + 2.0)
    rough = noise(rng, canvas, size * rng.uniform(0.25, 0.5), 3, 0.6)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(1.0, 2.0)))
    level = np.float32(0.4) - rho / np.float32(size) + np.float32(0.12) * rough
    level = np.minimum(level, np.float32(0.8) - np.hypot(canvas.u_um, canvas.v_um) / size)
    body = np.clip(level / np.float32(rng.uniform(0.05, 0.3)), 0.0, 1.0)
    fine = noise(rng, canvas, rng.uniform(0.8, 2.0), 1)
    crumbs = np.clip(fine - np.float32(rng.uniform(0.8, 2.0)), 0.0, 1.5)
    tone = body * (1 + np.float32(rng.uniform(0.0, 2.0)) * crumbs)
    return _finished(rng, canvas, tone.astype(np.float32), 0.05, 0.4)


def draw_bright_ghost(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a clear thing that only bends light: bright inside, a faint dark edge."""
    size = log_uniform(rng, 4.0, 18.0)
    canvas = make_canvas(rng, um_per_px, 0.8 * size + 3.0)
    rough = noise(rng, canvas, size * 0.5, 1)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(1.0, 1.15)))
    away = rho - np.float32(0.45 * size) + np.float32(0.03 * size) * np.clip(rough, -3, 3)
    wide = np.float32(rng.uniform(0.5, 1.6))
    rim = np.exp(-np.square(away / wide))
    inner = np.exp(-np.square(rho / np.float32(0.3 * size)))
    outer = np.exp(-np.square((away - 2 * wide) / wide))
    sign = np.float32(rng.choice((1.0, 1.0, -0.6)))
    tone = sign * (rim - np.float32(rng.uniform(0.2, 0.9)) * inner)
    tone = tone - np.float32(rng.uniform(0.0, 0.5)) * outer
    return _finished(rng, canvas, tone.astype(np.float32), 0.05, 0.3)


def draw_crumb_dust(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a loose cloud of crumbs of 0.5 to 3 um, thinner outwards."""
    size, count = log_uniform(rng, 6.0, 26.0), int(rng.integers(4, 22))
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 3.0)
    tone = np.zeros(canvas.shape, np.float32)
    spread = np.array([1.0, rng.uniform(0.4, 1.0)]) * 0.22 * size
    for place in np.clip(rng.normal(0.0, 1.0, (count, 2)), -2.2, 2.2) * spread:
        grain = float(np.exp(rng.uniform(np.log(0.35), np.log(1.5))))
        bell = _bell(canvas, place, (grain, grain * rng.uniform(0.5, 1.0)), rng.uniform(0, np.pi))
        tone = np.maximum(tone, np.float32(rng.uniform(0.3, 1.0)) * bell)
    return _finished(rng, canvas, tone, 0.08, 1.0)


KINDS = (
    ClutterKind("soft smudge", FAMILY, draw_smudge, (0.5, 60.0)),
    ClutterKind("ghost outline", FAMILY, draw_ghost_outline, (0.5, 60.0)),
    ClutterKind("pale patch", FAMILY, draw_pale_patch, (0.3, 50.0)),
    ClutterKind("bright ghost", FAMILY, draw_bright_ghost, (0.2, 40.0)),
    ClutterKind("crumb dust", FAMILY, draw_crumb_dust, (0.3, 50.0)),
)
