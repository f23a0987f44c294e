"""Spore-sized litter, family J: what is built about a middle: rosettes, spoked discs, balls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import SPORE_COLOURS, inside, log_uniform, tint, two_tints

FAMILY = "litter_rosette"

#: Turn from one granule of a ball to the next, rad: the golden angle packs them evenly.
GOLDEN = np.pi * (3.0 - np.sqrt(5.0))


def _painted(rng: np.random.Generator, canvas: Canvas, tone: Image, share: Image) -> Picture:
    strength = np.float32(log_uniform(rng, 0.08, 1.5) / max(float(np.abs(tone).max()), 0.2))
    first, second = tint(rng, SPORE_COLOURS), tint(rng, SPORE_COLOURS)
    return canvas.finish(two_tints(tone * strength, np.clip(share, 0.0, 1.0), first, second))


def draw_rosette(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw three to nine petals about a middle, round, pointed or notched."""
    size, petals = log_uniform(rng, 6.0, 25.0), int(rng.integers(3, 10))
    canvas = make_canvas(rng, um_per_px, 0.65 * size + 1.0)
    slim = np.float32(rng.uniform(0.6, 1.0))
    rho = np.hypot(canvas.u_um, canvas.v_um / slim)
    angle = np.arctan2(canvas.v_um / slim, canvas.u_um)
    lobe = np.abs(np.cos(np.float32(petals / 2) * angle)) ** np.float32(rng.uniform(0.3, 2.5))
    deep = np.float32(rng.uniform(0.2, 0.8))
    reach = np.float32(size / 2) * (1 - deep + deep * lobe)
    body = inside(rho - reach, canvas.step_um, rng.uniform(0.1, 0.8))
    part = np.clip(rho / np.maximum(reach, 0.3), 0.0, 1.0)
    manner = int(rng.integers(4))
    if manner == 0:
        tone = body
    elif manner == 1:
        tone = body * (np.float32(0.25) + np.float32(0.75) * part**3)
    elif manner == 2:
        tone = body * (np.float32(1.0) - np.float32(0.8) * part)
    else:
        tone = body * (np.float32(0.3) + np.float32(0.7) * lobe)
    hole = rng.uniform(0.0, 0.3) * size if rng.random() < 0.4 else 0.0
    tone = tone * (1 - inside(rho - np.float32(hole / 2), canvas.step_um, 0.3) * (hole > 0))
    return _painted(rng, canvas, tone, part)


def draw_spoked_disc(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a disc with spokes or rings inside a rim."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.65 * size + 1.0)
    slim = np.float32(rng.uniform(0.75, 1.0))
    rho = np.hypot(canvas.u_um, canvas.v_um / slim)
    angle = np.arctan2(canvas.v_um, canvas.u_um)
    body = inside(rho - np.float32(size / 2), canvas.step_um, rng.uniform(0.1, 0.6))
    if rng.random() < 0.6:
        pattern = np.cos(np.float32(int(rng.integers(2, 9))) * angle)
    else:
        pattern = np.cos(rho * np.float32(2 * np.pi / rng.uniform(1.5, 5.0)))
    pattern = np.sign(pattern) * np.abs(pattern) ** np.float32(rng.uniform(0.3, 1.5))
    wall = np.float32(rng.uniform(0.4, 1.4))
    rim = np.exp(np.float32(-0.5) * np.square((rho - np.float32(0.46 * size)) / wall))
    tone = body * (np.float32(0.4) + np.float32(rng.uniform(0.15, 0.5)) * pattern)
    return _painted(
        rng, canvas, tone + np.float32(rng.uniform(0, 0.8)) * rim * body, 0.5 + 0.5 * pattern
    )


def _ball(count: int, size_um: float, slim: float) -> NDArray[np.float64]:
    """Return the places of granules packed evenly in an oval, um, shape (count, 2)."""
    number = np.arange(count) + 0.5
    away = np.sqrt(number / count) * size_um / 2
    turn = number * GOLDEN
    return np.stack([away * np.cos(turn), slim * away * np.sin(turn)], axis=1)


def _granules(rng: np.random.Generator, um_per_px: float, balls: int) -> Picture:
    size = log_uniform(rng, 5.0, 15.0)
    count, slim = int(rng.integers(7, 40)), rng.uniform(0.55, 1.0)
    places = [_ball(count, size * rng.uniform(0.8, 1.1), slim) for _ in range(balls)]
    apart = size * rng.uniform(0.75, 1.05)
    for number, place in enumerate(places):
        place[:, 0] += (number - (balls - 1) / 2) * apart
    at = np.concatenate(places)
    radius = size * rng.uniform(0.5, 1.0) / np.sqrt(count)
    at = at + rng.normal(0.0, rng.uniform(0.0, 0.5) * radius, at.shape)
    half = np.abs(at).max(axis=0) + 1.5 * radius + 1.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    rim, core = rng.uniform(0.0, 1.0), rng.uniform(-0.6, 1.0)
    tone, share = np.zeros(canvas.shape, np.float32), np.zeros(canvas.shape, np.float32)
    for u, v in at:
        part = np.hypot(canvas.u_um - np.float32(u), canvas.v_um - np.float32(v)) / np.float32(
            radius
        )
        disc = np.clip((1.0 - part) * np.float32(radius / canvas.step_um) + 0.5, 0.0, 1.0)
        wall = np.exp(np.float32(-6.0) * np.square(part - np.float32(0.85)))
        grain = np.float32(core) * disc + np.float32(rim) * wall
        tone = np.where(np.abs(grain) > np.abs(tone), grain * np.float32(rng.uniform(0.5, 1)), tone)
        share = np.maximum(share, wall * np.float32(rng.uniform(0, 1)))
    ground = np.float32(rng.uniform(0.0, 0.5)) * (np.abs(tone) > 0.05)
    return _painted(rng, canvas, tone + ground, share)


def draw_granule_ball(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a ball packed with granules, each with its rim and core."""
    return _granules(rng, um_per_px, 1)


def draw_granule_pair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two or three balls of granules side by side."""
    return _granules(rng, um_per_px, int(rng.integers(2, 4)))


KINDS = (
    ClutterKind("rosette", FAMILY, draw_rosette, (0.3, 60.0)),
    ClutterKind("spoked disc", FAMILY, draw_spoked_disc, (0.2, 40.0)),
    ClutterKind("granule ball", FAMILY, draw_granule_ball, (0.3, 60.0)),
    ClutterKind("granule pair", FAMILY, draw_granule_pair, (0.2, 40.0)),
)
