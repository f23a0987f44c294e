"""Spore-sized litter, family C: heaps, chains, walks and smears of small grains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import SPORE_COLOURS, frame_to_px, log_uniform, tint

FAMILY = "litter_cluster"


def _paint_grains(
    rng: np.random.Generator,
    um_per_px: float,
    places_um: NDArray[np.float64],
    radii_um: NDArray[np.float64],
) -> Picture:
    """Lay grains one by one; where they overlap the stronger counts, or they add up."""
    places_um = places_um - (places_um.min(axis=0) + places_um.max(axis=0)) / 2
    half = np.abs(places_um).max(axis=0) + 1.6 * radii_um.max() + 1.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    tints = np.array([tint(rng, SPORE_COLOURS) for _ in range(int(rng.integers(1, 4)))])
    manner, adds = int(rng.integers(0, 4)), rng.random() < 0.4
    square = rng.uniform(0.0, 1.5) if rng.random() < 0.25 else None
    density = np.zeros((*canvas.shape, 3), np.float32)
    at_px = frame_to_px(canvas, places_um)
    uneven = rng.uniform(0.0, 0.7)
    strength = log_uniform(rng, 0.08, 1.5)
    for (x, y), radius in zip(at_px, radii_um, strict=True):
        tone = strength * rng.uniform(1.0 - uneven, 1.0)
        grain_tint = tints[int(rng.integers(0, len(tints)))]
        _lay_grain(density, canvas, (x, y, radius), manner, square, tone * grain_tint, adds)
    return canvas.finish(density)


def _lay_grain(
    density: Image,
    canvas: Canvas,
    grain: tuple[float, float, float],
    manner: int,
    square: float | None,
    strength: NDArray[np.float32],
    adds: bool,
) -> None:
    x, y, radius = grain
    step = canvas.step_um
    reach = 1.5 * radius / step + 2.0
    left, right = max(int(x - reach), 0), min(int(x + reach) + 2, canvas.shape[1])
    top, bottom = max(int(y - reach), 0), min(int(y + reach) + 2, canvas.shape[0])
    dx = (np.arange(left, right, dtype=np.float32) - np.float32(x)) * np.float32(step)
    dy = ((np.arange(top, bottom, dtype=np.float32) - np.float32(y)) * np.float32(step))[:, None]
    if square is None:
        rho = np.hypot(dx, dy)
    else:
        cos, sin = np.float32(np.cos(square)), np.float32(np.sin(square))
        rho = np.maximum(np.abs(cos * dx + sin * dy), np.abs(cos * dy - sin * dx))
    edge = np.clip((np.float32(radius) - rho) / np.float32(step) + 0.5, 0.0, 1.0)
    share = np.clip(rho / np.float32(radius), 0.0, 1.5)
    if manner == 0:
        tone = edge
    elif manner == 1:
        tone = edge * (np.float32(0.2) + np.float32(0.8) * share * share)
    elif manner == 2:
        tone = edge * np.sqrt(np.maximum(np.float32(1.0) - np.float32(0.9) * share * share, 0.0))
    else:
        tone = np.exp(np.float32(-2.5) * share * share) * (share < 1.5)
    part = density[top:bottom, left:right]
    layer = tone[:, :, None] * strength.astype(np.float32)
    part[:] = np.minimum(part + layer, 2.0) if adds else np.maximum(part, layer)


def draw_heap(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round to drawn-out heap of loose grains."""
    size, count = log_uniform(rng, 6.0, 25.0), int(rng.integers(5, 45))
    spread = np.array([1.0, rng.uniform(0.3, 1.0)]) * size * 0.2
    places = np.clip(rng.normal(0.0, 1.0, (count, 2)), -2.2, 2.2) * spread
    radii = size * rng.uniform(0.03, 0.10) * rng.lognormal(0.0, 0.3, count)
    return _paint_grains(rng, um_per_px, places, np.clip(radii, 0.35, 4.0))


def draw_touching_discs(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two to seven discs that touch, each against one laid before."""
    count, radius = int(rng.integers(2, 8)), log_uniform(rng, 1.2, 4.0)
    places, radii = np.zeros((count, 2)), radius * rng.uniform(0.6, 1.2, count)
    for i in range(1, count):
        host, angle = int(rng.integers(0, i)), rng.uniform(0, 2 * np.pi)
        away = (radii[i] + radii[host]) * rng.uniform(0.8, 1.05)
        places[i] = places[host] + away * np.array([np.cos(angle), np.sin(angle)])
    return _paint_grains(rng, um_per_px, places, radii)


def draw_grain_chain(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bent string of beads, like or unlike."""
    count, radius = int(rng.integers(3, 10)), log_uniform(rng, 0.7, 2.2)
    heading = np.cumsum(rng.normal(0.0, rng.uniform(0.05, 0.7), count))
    radii = radius * rng.lognormal(0.0, rng.uniform(0.02, 0.3), count)
    pitch = 2.0 * radius * rng.uniform(0.75, 1.3)
    places = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], axis=1), axis=0) * pitch
    return _paint_grains(rng, um_per_px, places, radii)


def draw_random_walk(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw the track of a random walk: spongy, branched-looking crumbs."""
    size, count = log_uniform(rng, 6.0, 25.0), int(rng.integers(12, 60))
    places = np.cumsum(rng.normal(0.0, 1.0, (count, 2)), axis=0)
    places *= size * 0.85 / max(float(np.ptp(places, axis=0).max()), 1e-3)
    radii = np.full(count, size * rng.uniform(0.03, 0.09)) * rng.uniform(0.6, 1.3, count)
    return _paint_grains(rng, um_per_px, places, np.clip(radii, 0.35, 3.0))


def draw_smear(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw grains dragged one way, dense at one end and thin at the other."""
    size, count = log_uniform(rng, 8.0, 25.0), int(rng.integers(10, 50))
    along = rng.beta(0.8, 2.0, count)
    width = size * rng.uniform(0.05, 0.2) * (1.0 - rng.uniform(0.0, 0.9) * along)
    places = np.stack([along * size, rng.normal(0.0, 1.0, count).clip(-2, 2) * width], axis=1)
    radii = size * rng.uniform(0.025, 0.07) * rng.lognormal(0.0, 0.3, count)
    return _paint_grains(rng, um_per_px, places, np.clip(radii, 0.3, 2.5))


def draw_core_with_crumbs(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one lump with a few crumbs beside it."""
    size, count = log_uniform(rng, 6.0, 22.0), int(rng.integers(3, 14))
    angle, away = rng.uniform(0, 2 * np.pi, count), size * rng.uniform(0.25, 0.5, count)
    places = np.stack([away * np.cos(angle), away * np.sin(angle)], axis=1)
    radii = size * rng.uniform(0.03, 0.12, count)
    core = rng.normal(0.0, 0.08 * size, (int(rng.integers(1, 4)), 2))
    big = size * rng.uniform(0.12, 0.24, len(core))
    return _paint_grains(
        rng, um_per_px, np.vstack([core, places]), np.clip(np.append(big, radii), 0.35, None)
    )


KINDS = (
    ClutterKind("grain heap", FAMILY, draw_heap, (0.5, 80.0)),
    ClutterKind("touching discs", FAMILY, draw_touching_discs, (0.3, 60.0)),
    ClutterKind("grain chain", FAMILY, draw_grain_chain, (0.2, 40.0)),
    ClutterKind("crumb walk", FAMILY, draw_random_walk, (0.3, 60.0)),
    ClutterKind("grain smear", FAMILY, draw_smear, (0.2, 40.0)),
    ClutterKind("lump with crumbs", FAMILY, draw_core_with_crumbs, (0.3, 60.0)),
)
