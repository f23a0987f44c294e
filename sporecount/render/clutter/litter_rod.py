"""Spore-sized litter, family F: rods and their ends, seeds, commas and drops.

Everything is drawn by its width along a bent axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import log_uniform, noise, tint

FAMILY = "litter_rod"

COLOURS: dict[str, float] = {
    "amber": 0.26,
    "brown": 0.22,
    "orange": 0.12,
    "russet": 0.12,
    "yellow": 0.10,
    "grey": 0.10,
    "dark brown": 0.06,
    "reddish": 0.01,
    "greenish": 0.01,
}
_STATIONS = 128


def _paint_rod(
    rng: np.random.Generator,
    um_per_px: float,
    half_u_um: float,
    widths_um: NDArray[np.float64],
    bend: float = 0.0,
    bars: tuple[float, ...] = (),
) -> Picture:
    """Paint a rod whose half width runs through ``widths_um`` from end to end.

    ``bend`` is the sag of the axis as a share of half the length; ``bars`` are places
    of cross walls from -1 to 1.
    """
    thick = float(widths_um.max())
    reach_v = thick + abs(bend) * half_u_um + 2.5
    canvas = make_canvas(rng, um_per_px, half_u_um + 2.5, reach_v)
    u = canvas.u_um
    sag = np.float32(bend * half_u_um) * (np.square(u / np.float32(half_u_um)) - np.float32(0.5))
    v = canvas.v_um - sag
    place = (u / np.float32(half_u_um) + 1) * np.float32(0.5 * (_STATIONS - 1))
    index = np.clip(place, 0, _STATIONS - 1).astype(np.intp)
    limit = np.interp(np.linspace(0, 1, _STATIONS), np.linspace(0, 1, len(widths_um)), widths_um)
    # A steep flank is nearer than the way across to it.
    slope = np.gradient(limit, 2.0 * half_u_um / (_STATIONS - 1))
    tilt = (1.0 / np.sqrt(1.0 + slope**2)).astype(np.float32)[index]
    radius = limit.astype(np.float32)[index]
    across = radius - np.abs(v)
    depth = np.where(across > 0, across * np.maximum(tilt, np.float32(0.3)), across)
    depth = np.minimum(depth, np.float32(half_u_um) - np.abs(u))
    share = np.abs(v) / np.maximum(radius, np.float32(0.3))
    tone = _tone(rng, canvas, u / np.float32(half_u_um), share, depth, thick)
    for bar in bars:
        line = np.exp(-np.square((u - np.float32(bar * half_u_um)) / np.float32(0.35)))
        tone = tone + np.float32(rng.uniform(-0.5, 1.0)) * line
    soft = np.float32(canvas.step_um + rng.uniform(0.0, 0.8))
    body = np.clip(depth / soft + np.float32(0.5), 0.0, 1.0)
    out = np.clip(tone, -0.2, 2.0) * body
    if rng.random() < 0.3:
        out = out - np.float32(rng.uniform(0.1, 0.4)) * np.exp(
            -np.square((depth + np.float32(0.7)) / np.float32(0.45))
        ) * (1 - body)
    strength = np.float32(log_uniform(rng, 0.12, 1.2))
    return canvas.finish(out[:, :, None] * (strength * tint(rng, COLOURS)))


def _tone(
    rng: np.random.Generator, canvas: Canvas, way: Image, share: Image, depth: Image, thick: float
) -> Image:
    """Return the tone inside: tube, solid, graded along, ridged or hollow."""
    manner = int(rng.integers(0, 5))
    if manner == 0:
        tone = np.float32(rng.uniform(0.2, 0.6)) + np.float32(0.8) * np.minimum(share, 1) ** 3
    elif manner == 1:
        tone = np.full_like(share, 0.8)
    elif manner == 2:
        tone = np.float32(0.7) + np.float32(rng.uniform(-0.6, 0.6)) * way
    elif manner == 3:
        pitch = np.float32(rng.uniform(2.0, 6.0))
        tone = np.float32(0.6) + np.float32(rng.uniform(0.1, 0.4)) * np.sin(share * pitch * 3)
    else:
        wall = np.exp(-np.square((depth - np.float32(0.4)) / np.float32(rng.uniform(0.3, 0.8))))
        tone = np.float32(rng.uniform(0.0, 0.4)) + wall
    if rng.random() < 0.4:
        gleam = np.exp(-np.square(share / np.float32(rng.uniform(0.15, 0.4))))
        tone = tone - np.float32(rng.uniform(0.1, 0.7)) * gleam
    if rng.random() < 0.5:
        grain = noise(rng, canvas, log_uniform(rng, 0.8, max(1.0, thick)), 1)
        tone = tone * (1 + np.float32(rng.uniform(0.1, 0.35)) * grain)
    return tone.astype(np.float32)


def _round_end(s: NDArray[np.float64], half_u: float, radius: float) -> NDArray[np.float64]:
    """Return widths, for places 0 to 1 from the end inwards, of a rod rounded at 0."""
    inwards = np.minimum(s * 2.0 * half_u / radius, 1.0)
    return radius * np.sqrt(np.maximum(1.0 - (1.0 - inwards) ** 2, 0.0))


def draw_round_rod(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a rod with two round ends, 4 to 30 um long, straight or bent."""
    half = log_uniform(rng, 2.0, 15.0)
    radius = max(half * rng.uniform(0.08, 0.44), 0.6)
    s = np.linspace(0.0, 1.0, _STATIONS)
    taper = 1.0 + rng.normal(0.0, 0.12) * (s - 0.5)
    widths = np.minimum(_round_end(s, half, radius), _round_end(1 - s, half, radius)) * taper
    return _paint_rod(rng, um_per_px, half, widths, float(rng.normal(0.0, 0.12)))


def draw_rod_end(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a long rod as wide as a spore: one end round or pointed, one cut off or fading."""
    half, radius = rng.uniform(12.0, 40.0), rng.uniform(1.8, 5.0)
    s = np.linspace(0.0, 1.0, _STATIONS)
    if rng.random() < 0.6:
        widths = _round_end(s, half, radius * rng.uniform(0.8, 1.6)) * radius
        widths = widths / widths.max() * radius
    else:
        widths = radius * np.minimum(1.0, s * 2 * half / (radius * rng.uniform(0.5, 4.0)))
    if rng.random() < 0.5:
        knob = np.exp(-(((s * 2 * half - radius) / radius) ** 2))
        widths = widths * (1.0 + rng.uniform(0.0, 0.5) * knob)
    cut = rng.uniform(0.0, 3.0) / (2 * half)
    widths = np.where(s > 1 - cut, widths * rng.uniform(0.0, 1.0), widths)
    count = int(rng.choice((0, 0, 1, 2, 5)))
    bars = tuple(float(bar) for bar in rng.uniform(-0.95, 0.95, count))
    return _paint_rod(rng, um_per_px, half, widths, float(rng.normal(0.0, 0.08)), bars)


def draw_jointed_rod(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two to six barrels end to end."""
    count, radius = int(rng.integers(2, 7)), rng.uniform(1.2, 4.0)
    half = count * radius * rng.uniform(0.9, 1.8)
    s = np.linspace(0.0, 1.0, _STATIONS)
    waist = rng.uniform(0.05, 0.5)
    widths = radius * (1 - waist + waist * np.abs(np.sin(np.pi * count * s)) ** 0.6)
    ends = np.minimum(_round_end(s, half, radius), _round_end(1 - s, half, radius))
    bars = tuple(float(bar) for bar in np.linspace(-1, 1, count + 1)[1:-1])
    return _paint_rod(
        rng, um_per_px, half, np.minimum(widths, ends), float(rng.normal(0.0, 0.15)), bars
    )


def draw_seed(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a pip: one end blunt, the other drawn out or beaked."""
    half = log_uniform(rng, 3.0, 12.0)
    s = np.linspace(0.0, 1.0, _STATIONS)
    fat, sharp = rng.uniform(0.16, 0.34), rng.uniform(0.9, 2.5)
    peak = fat / (fat + (1 - fat))
    widths = s ** (sharp * peak / (1 - peak)) * (1 - s) ** sharp
    widths = widths / widths.max() * half * rng.uniform(0.3, 0.85)
    widths = np.maximum(widths, half * rng.uniform(0.0, 0.1) * (s < 0.98))
    return _paint_rod(rng, um_per_px, half, widths, float(rng.normal(0.0, 0.15)))


def draw_comma(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bean, kidney or comma."""
    half = log_uniform(rng, 3.0, 12.0)
    s = np.linspace(0.0, 1.0, _STATIONS)
    widths = np.sqrt(np.maximum(1 - (2 * s - 1) ** 2, 0)) * (1 + rng.uniform(-0.6, 0.6) * (s - 0.5))
    widths = widths * half * rng.uniform(0.2, 0.5)
    return _paint_rod(
        rng, um_per_px, half, widths, float(rng.choice((-1, 1)) * rng.uniform(0.25, 0.9))
    )


def draw_spindle(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin lozenge or needle pointed at both ends, two to seven times as long as wide."""
    half = log_uniform(rng, 3.0, 16.0)
    s = np.linspace(0.0, 1.0, _STATIONS)
    straight = 1 - np.abs(2 * s - 1)
    widths = straight ** rng.uniform(0.75, 1.8) * half / rng.uniform(2.2, 7.0)
    return _paint_rod(rng, um_per_px, half, widths, float(rng.normal(0.0, 0.06)))


def draw_tadpole(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a drop with a thin tail."""
    half = log_uniform(rng, 4.0, 14.0)
    s = np.linspace(0.0, 1.0, _STATIONS)
    head, thin = rng.uniform(0.25, 0.6), rng.uniform(0.06, 0.2)
    ball = np.sqrt(np.maximum(1 - (2 * s / head - 1) ** 2, 0)) * head
    tail = thin * (1 - s) ** 0.7 * (s > 0.3 * head)
    widths = np.maximum(ball, tail) * half * rng.uniform(0.75, 1.1)
    return _paint_rod(rng, um_per_px, half, widths, float(rng.normal(0.0, 0.25)))


KINDS = (
    ClutterKind("round-ended rod", FAMILY, draw_round_rod, (0.5, 100.0)),
    ClutterKind("rod end", FAMILY, draw_rod_end, (0.2, 30.0)),
    ClutterKind("jointed rod", FAMILY, draw_jointed_rod, (0.2, 40.0)),
    ClutterKind("seed", FAMILY, draw_seed, (0.3, 60.0)),
    ClutterKind("comma", FAMILY, draw_comma, (0.3, 60.0)),
    ClutterKind("thin lozenge", FAMILY, draw_spindle, (0.3, 60.0)),
    ClutterKind("tadpole", FAMILY, draw_tadpole, (0.2, 40.0)),
)
