"""Butterfly wing scales: whole, folded, broken to chips, and drawn out to hairs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas, turned
from sporecount.render.clutter.curves import along_curve, wandering_curve
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    bump,
    inside,
    log_uniform,
    noise,
    step_up,
    tint,
    two_tints,
)

FAMILY = "scales"

#: Coarsest grid for whole scales, um: their ridges are 1-3 um apart.
SCALE_FINE_UM = 0.85
#: Tints of a scale and their strengths (optical density): black, orange, brown, pale, clear.
COATS: tuple[tuple[str, float, float, float], ...] = (
    ("black", 0.4, 1.3, 0.18),
    ("dark brown", 0.3, 1.1, 0.18),
    ("brown", 0.15, 0.9, 0.16),
    ("amber", 0.2, 1.0, 0.25),
    ("yellow", 0.08, 0.4, 0.08),
    ("grey", 0.04, 0.2, 0.15),
)


@dataclass(frozen=True)
class _Coat:
    """How a scale's surface looks: tints, strength, spacing and depth of its ridges."""

    base: Image
    tip: Image
    strength: float
    ridge_um: float
    ridge_depth: float


def _coat(rng: np.random.Generator) -> _Coat:
    chance = np.cumsum([share for *_, share in COATS])
    at = int(np.searchsorted(chance, rng.uniform(0.0, chance[-1]), side="right"))
    name, low, high, _ = COATS[min(at, len(COATS) - 1)]
    base = tint(rng, name)
    tip = base if rng.random() < 0.7 else tint(rng, COATS[int(rng.integers(0, len(COATS)))][0])
    depth = rng.uniform(0.1, 0.7)
    return _Coat(base, tip, log_uniform(rng, low, high), rng.uniform(1.1, 3.0), depth)


def _surface(
    rng: np.random.Generator, canvas: Canvas, coat: _Coat, across_um: Image, depth_um: Image
) -> Image:
    """Return the tone of ridges, cross ribs, blotches and margin, of about 1 on average."""
    pitch = np.float32(2.0 * np.pi / coat.ridge_um)
    ridges = np.cos(across_um * pitch + np.float32(rng.uniform(0.0, 6.0)))
    tone = np.float32(1.0) + np.float32(coat.ridge_depth) * ridges
    if rng.random() < 0.4:
        ribs = np.cos(canvas.u_um * np.float32(2 * np.pi / rng.uniform(0.8, 2.0)))
        tone += np.float32(0.3 * coat.ridge_depth) * ribs
    blotch = noise(rng, canvas, rng.uniform(6.0, 30.0), 2)
    tone *= np.clip(np.float32(1.0) + np.float32(rng.uniform(0.03, 0.15)) * blotch, 0.2, 2.0)
    margin = np.exp(-np.clip(depth_um, 0.0, None) / np.float32(rng.uniform(0.6, 3.0)))
    return tone + np.float32(rng.uniform(-0.5, 0.7)) * margin


def _blade_depth(
    rng: np.random.Generator, canvas: Canvas, length_um: float, half_um: float
) -> tuple[Image, Image]:
    """Return the depth inside a blade's outline and its half width along it, both um."""
    u, v = canvas.u_um, canvas.v_um
    place = np.clip(u / np.float32(length_um) + np.float32(0.5), 0.0, 1.0)
    shoulder, waist = rng.uniform(0.15, 0.9), rng.uniform(0.0, 0.45)
    # Power 0.5 makes a round base, 1 a wedge.
    rise = np.clip(place / np.float32(shoulder), 0.0, 1.0) ** np.float32(
        rng.choice([0.3, 0.5, 0.75, 1.0])
    )
    fall = np.clip((place - np.float32(shoulder)) / np.float32(max(1.0 - shoulder, 0.1)), 0.0, 1.0)
    half = np.float32(half_um) * rise * (np.float32(1.0) - np.float32(waist) * fall * fall)
    half = half.astype(np.float32)
    share = np.clip(v / np.float32(half_um), -1.2, 1.2)
    # The tip: straight, arched, or cut into two to seven teeth.
    end = np.float32(length_um / 2) - np.float32(rng.uniform(0.0, 0.25) * length_um) * share**2
    teeth = int(rng.choice([0, 2, 3, 3, 4, 5, 6, 7]))
    if teeth:
        wave = np.abs(((share * 0.5 + 0.5) * teeth + rng.uniform(-0.2, 0.2)) % 1.0 - 0.5) * 2.0
        bite = np.float32(min(rng.uniform(0.15, 0.9) * half_um * 2 / teeth * 1.5, 0.25 * length_um))
        sharp = np.float32(rng.uniform(0.7, 2.0))
        uneven = np.float32(1.0) + np.float32(0.4) * np.sin(share * 5.0 + rng.uniform(0, 6))
        end = end - bite * np.clip(wave, 0, 1) ** sharp * uneven.astype(np.float32)
    depth = np.minimum(half - np.abs(v), np.float32(0.8) * (end - u))
    return np.minimum(depth, u + np.float32(length_um / 2)).astype(np.float32), half


def _stalk(rng: np.random.Generator, canvas: Canvas, length_um: float, stalk_um: float) -> Image:
    """Return the cover of the stalk that sticks out of a scale's base."""
    base = np.float32(-length_um / 2)
    width = np.float32(rng.uniform(0.8, 2.2))
    flare = np.clip((canvas.u_um - base) / 5.0, -0.5, 1.5) * np.float32(0.8)
    away = np.maximum(np.abs(canvas.v_um) - width - flare, base - stalk_um - canvas.u_um)
    return inside(np.maximum(away, canvas.u_um - base - np.float32(5.0)), canvas.step_um)


def _bend(rng: np.random.Generator, canvas: Canvas, length_um: float) -> Canvas:
    """Return the canvas with its long axis curved a little."""
    sag = np.float32(rng.normal(0.0, 0.04) * length_um)
    place = canvas.u_um / np.float32(length_um / 2)
    bent = canvas.v_um - np.clip(sag, -12.0, 12.0) * (place * place - np.float32(0.3))
    return Canvas(canvas.u_um, bent, canvas.step_um, canvas.fold, canvas.centre_px)


def _whole_size(rng: np.random.Generator) -> tuple[float, float]:
    """Return length and half width of a scale, um."""
    half = rng.uniform(15.0, 40.0) * rng.uniform(0.75, 1.0)
    half = max(half, 15.0)
    return float(np.clip(2 * half * log_uniform(rng, 1.2, 7.0), 40.0, 480.0)), half


def _draw_blade(
    rng: np.random.Generator, um_per_px: float, *, folded: bool = False, cuts: int = 0
) -> Picture:
    length, half_um = _whole_size(rng)
    stalk = rng.uniform(4.0, 14.0)
    flat = make_canvas(
        rng, um_per_px, length / 2 + stalk + 2.0, half_um + 12.0, SCALE_FINE_UM, angle=0.0
    )
    canvas, coat = _bend(rng, flat, length), _coat(rng)
    depth, half = _blade_depth(rng, canvas, length, half_um)
    fan = rng.uniform(0.0, 0.8)
    across = canvas.v_um * (1 - np.float32(fan) * (1 - half / np.float32(half_um)) * 0.5)
    kept = np.ones((1, 1), np.float32)
    if cuts:
        depth, kept = _cut(rng, canvas, depth, cuts, length, half_um)
    cover = inside(-depth, canvas.step_um)
    tone = _surface(rng, canvas, coat, across, depth) * cover
    if folded:
        turn = rng.uniform(-0.3, 0.3)
        line = canvas.v_um - np.float32(turn) * canvas.u_um
        line = line - np.float32(rng.uniform(-0.3, 0.6) * half_um)
        tone = tone * (1.0 - step_up(line, 1.0)) * (1.0 + step_up(line + rng.uniform(4, 15), 1.0))
        tone = tone + bump(line, 0.8) * cover
    if not folded and rng.random() < 0.85:
        tone = np.maximum(tone, np.float32(0.9) * _stalk(rng, canvas, length, stalk) * kept)
    place = np.clip(canvas.u_um / np.float32(length) + np.float32(0.5), 0.0, 1.0)
    tone = tone * np.float32(coat.strength) * (1 + np.float32(rng.uniform(-0.5, 0.5)) * place)
    tone = np.clip(tone, 0.0, 2.2).astype(np.float32)
    return turned(rng, um_per_px, flat, two_tints(tone, place, coat.base, coat.tip))


def _cut(
    rng: np.random.Generator,
    canvas: Canvas,
    depth: Image,
    cuts: int,
    length_um: float,
    half_um: float,
) -> tuple[Image, Image]:
    """Break pieces off along jagged lines; also return where the stalk is left."""
    kept = np.full(canvas.shape, np.float32(1e3))
    ragged = noise(rng, canvas, rng.uniform(3.0, 15.0), 3) * np.float32(rng.uniform(0.5, 2.5))
    for _ in range(cuts):
        angle = rng.normal(0.0, 0.7) + (np.pi if rng.random() < 0.4 else 0.0)
        line = np.float32(np.cos(angle)) * canvas.u_um + np.float32(np.sin(angle)) * canvas.v_um
        reach = 0.5 * (length_um * abs(np.cos(angle)) + half_um * abs(np.sin(angle)))
        kept = np.minimum(kept, np.float32(rng.uniform(0.0, 0.7) * reach) - line + ragged)
    return np.minimum(depth, kept), inside(-kept, canvas.step_um)


def draw_whole_scale(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a whole scale, toothed or smooth at the tip, most with a stalk."""
    return _draw_blade(rng, um_per_px)


def draw_folded_scale(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a scale folded over lengthwise: twice as dense along the fold."""
    return _draw_blade(rng, um_per_px, folded=True)


def draw_broken_scale(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a scale broken across by one to three jagged lines."""
    return _draw_blade(rng, um_per_px, cuts=int(rng.integers(1, 4)))


def draw_scale_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a splinter of a scale 8 to 40 um long, ridges and all."""
    size, coat = log_uniform(rng, 8.0, 40.0), _coat(rng)
    canvas = make_canvas(rng, um_per_px, size / 2 + 2.0)
    half_v = size / 2 * rng.uniform(0.2, 0.9)
    ragged = noise(rng, canvas, size * 0.2, 2) * np.float32(min(0.05 * size, 1.0))
    depth = np.float32(size / 2) - np.hypot(canvas.u_um, canvas.v_um)
    count = int(rng.integers(3, 6))
    for i in range(count):
        angle = 2 * np.pi * (i + rng.uniform(-0.3, 0.3)) / count
        line = np.float32(np.cos(angle)) * canvas.u_um + np.float32(np.sin(angle)) * canvas.v_um
        reach = rng.uniform(0.5, 0.9) * np.hypot(size / 2 * np.cos(angle), half_v * np.sin(angle))
        depth = np.minimum(depth, np.float32(reach) - line + ragged)
    lean = rng.normal(0.0, 0.5)
    across = np.float32(np.cos(lean)) * canvas.v_um + np.float32(np.sin(lean)) * canvas.u_um
    tone = _surface(rng, canvas, coat, across, depth) * inside(-depth, canvas.step_um)
    tone = np.clip(tone * np.float32(coat.strength), 0.0, 2.2)
    share = np.clip(canvas.u_um / np.float32(size) + np.float32(0.5), 0.0, 1.0)
    return canvas.finish(two_tints(tone.astype(np.float32), share, coat.base, coat.tip))


def draw_hair_scale(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a hair-like scale: 2 to 9 um wide, tapered, forked at times."""
    length, width = log_uniform(rng, 60.0, 350.0), rng.uniform(1.0, 4.5)
    length = min(length, 2600.0 * um_per_px)
    coat, points = _coat(rng), wandering_curve(rng, length, rng.uniform(0.05, 0.5), 16)
    angle = rng.uniform(0, 2 * np.pi)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    points = points @ turn
    points -= (points.min(axis=0) + points.max(axis=0)) / 2
    half = np.abs(points).max(axis=0) + width + 3.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]), 0.6, angle=0.0)
    across, along = along_curve(canvas, points, width + 1.5)
    near = np.abs(across) < width + 1.4
    away, place = np.abs(across[near]), along[near] / np.float32(length)
    taper = np.sqrt(np.clip(np.minimum(place * 12, (1 - place) * rng.uniform(2, 12)), 0.01, 1))
    cover = inside(away - np.float32(width) * taper, canvas.step_um)
    pitch = np.float32(2 * np.pi / min(coat.ridge_um, width))
    tone = 1.0 + np.float32(coat.ridge_depth) * np.cos(across[near] * pitch)
    tone = tone * cover * np.float32(min(coat.strength, 1.0))
    density = np.zeros((*canvas.shape, 3), np.float32)
    density[near] = tone[:, None] * (coat.base + place[:, None] * (coat.tip - coat.base))
    return canvas.finish(density)


KINDS = (
    ClutterKind("wing scale", FAMILY, draw_whole_scale, (0.5, 40.0)),
    ClutterKind("folded scale", FAMILY, draw_folded_scale, (0.1, 8.0)),
    ClutterKind("broken scale", FAMILY, draw_broken_scale, (0.3, 20.0)),
    ClutterKind("scale chip", FAMILY, draw_scale_chip, (0.5, 60.0)),
    ClutterKind("hair scale", FAMILY, draw_hair_scale, (0.1, 15.0)),
)
