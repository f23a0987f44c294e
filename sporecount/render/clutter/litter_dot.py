"""Spore-sized litter, family M: featureless dots of dust, soot and toner, sharp or blurred.

Nothing here has spores' size and slenderness at once with a definite edge: dots are round
where they are large, ovals are small, or they are without an edge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Picture
from sporecount.render.clutter.group import Window, canvas_around, length_of, loose_group, window_at
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint

FAMILY = "litter_dot"

COLOURS: dict[str, float] = {
    "grey": 0.28,
    "black": 0.20,
    "slate": 0.16,
    "bluish": 0.06,
    "dark brown": 0.14,
    "brown": 0.10,
    "olive": 0.03,
    "russet": 0.03,
}
#: Edges wider than this share of the radius are no spore's in focus.
SOFT = 0.7


def _slims(
    rng: np.random.Generator, sizes_um: NDArray[np.float64], slim: float, soft: float
) -> NDArray[np.float64]:
    """Return width over length: near ``slim``, but round where size and edge are a spore's."""
    slims = np.clip(slim + rng.normal(0.0, 0.06, len(sizes_um)), 0.4, 1.0)
    if soft > SOFT:
        return slims
    return np.where(sizes_um / np.sqrt(slims) > 6.5, np.maximum(slims, 0.87), slims)


def _wavy(rng: np.random.Generator, window: Window, amount: float) -> NDArray[np.float32]:
    """Return how far an uneven edge is moved outwards, as a share of the radius."""
    angle = np.arctan2(window.v_um, window.u_um)
    wave = np.zeros(angle.shape, np.float32)
    for order in (2, 3, 5, 8):
        height = np.float32(rng.normal(0.0, amount / np.sqrt(order)))
        wave += height * np.cos(order * angle + np.float32(rng.uniform(0, 2 * np.pi)))
    return np.clip(wave, -0.6, 0.5)


def _dots(
    rng: np.random.Generator,
    um_per_px: float,
    sizes_um: NDArray[np.float64],
    slim: float,
    soft: float,
    ragged: float,
    gap: float,
) -> Picture:
    """Paint dots in one manner; ``soft`` is the edge's width as a share of the radius."""
    radii = sizes_um / 2
    places = loose_group(rng, radii, gap)
    canvas, density = canvas_around(rng, um_per_px, places, float(radii.max()) * (2.0 + soft) + 3.0)
    one_way, way = rng.random() < 0.5, rng.uniform(0.0, 2 * np.pi)
    hue, uneven = tint(rng, COLOURS), rng.uniform(0.05, 0.6)
    strength = log_uniform(rng, 0.1, 1.6 - 0.8 * min(soft, 1.0))
    hollow = rng.uniform(0.0, 0.5) if rng.random() < 0.3 else 0.0
    halo = rng.uniform(0.02, 0.12) if soft < SOFT and rng.random() < 0.3 else 0.0
    for place, radius, slimness in zip(
        places, radii, _slims(rng, sizes_um, slim, soft), strict=True
    ):
        turn = way + rng.normal(0.0, 0.15) if one_way else rng.uniform(0.0, 2 * np.pi)
        window = window_at(canvas, place, turn, radius * (1.75 + soft) + 1.5)
        long, short = radius / np.sqrt(slimness), radius * np.sqrt(slimness)
        share = length_of(window.u_um / np.float32(long), window.v_um / np.float32(short))
        if ragged > 0:
            share = share / (1.0 + _wavy(rng, window, ragged))
        away = (share - np.float32(1.0)) * np.float32(radius)
        if soft > SOFT:
            tone = np.exp(np.float32(-1.4) * share * share)
            tone = np.clip(tone - np.float32(0.02), 0.0, None)
        else:
            tone = inside(away, window.step_um, 0.5 * soft * radius)
        tone = tone * (1.0 - np.float32(hollow) * np.clip(1.0 - share, 0.0, 1.0))
        if halo:
            tone = tone - np.float32(halo) * bump(away - np.float32(0.5 + soft * radius), 0.5)
        tone = tone * np.float32(strength * rng.uniform(1.0 - uneven, 1.0))
        window.lay(density, colour(tone, hue * rng.uniform(0.96, 1.0, 3).astype(np.float32)))
    return canvas.finish(density)


def _sizes(rng: np.random.Generator, count: int, low: float, high: float) -> NDArray[np.float64]:
    middle = log_uniform(rng, low, high)
    return np.clip(middle * rng.lognormal(0.0, rng.uniform(0.05, 0.4), count), low, high)


def draw_sharp_dots(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one to twelve dark dots and small ovals with a clean edge."""
    sizes = _sizes(rng, int(rng.choice((1, 2, 3, 5, 8, 12))), 3.0, 14.0)
    slim, gap = rng.uniform(0.5, 1.0), rng.uniform(0.05, 1.5)
    return _dots(rng, um_per_px, sizes, slim, rng.uniform(0.0, 0.25), 0.0, gap)


def draw_soft_dots(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one to eight blurred dots and ovals, as of dust above the plane in focus."""
    sizes = _sizes(rng, int(rng.choice((1, 2, 3, 5, 8))), 4.0, 15.0)
    slim, gap = rng.uniform(0.5, 1.0), rng.uniform(0.1, 1.5)
    return _dots(rng, um_per_px, sizes, slim, rng.uniform(0.4, 1.2), 0.0, gap)


def draw_soot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw soot: ragged specks run into each other."""
    sizes = _sizes(rng, int(rng.integers(3, 14)), 2.0, 6.0)
    slim, gap = rng.uniform(0.6, 1.0), rng.uniform(-0.5, 0.1)
    return _dots(rng, um_per_px, sizes, slim, rng.uniform(0.0, 0.4), rng.uniform(0.1, 0.35), gap)


def draw_toner(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw ragged opaque specks, a large one or two and a spray of small ones."""
    small = _sizes(rng, int(rng.integers(2, 12)), 1.2, 4.0)
    large = _sizes(rng, int(rng.integers(1, 3)), 5.0, 14.0)
    slim, gap = rng.uniform(0.6, 1.0), rng.uniform(0.1, 1.2)
    sizes = np.concatenate([large, small])
    return _dots(rng, um_per_px, sizes, slim, rng.uniform(0.0, 0.3), rng.uniform(0.08, 0.3), gap)


KINDS = (
    ClutterKind("sharp dots", FAMILY, draw_sharp_dots, (0.3, 70.0)),
    ClutterKind("soft dots", FAMILY, draw_soft_dots, (0.3, 70.0)),
    ClutterKind("soot speck", FAMILY, draw_soot, (0.3, 60.0)),
    ClutterKind("toner specks", FAMILY, draw_toner, (0.3, 50.0)),
)
