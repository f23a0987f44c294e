"""Spore-sized litter, family N: ragged heaps of packed grains: frass, dried blood, soft crumbs.

Grains are the cells about strewn seeds, found all at once by a distance transform.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, clear_border, make_canvas
from sporecount.render.clutter.group import length_of
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import inside, log_uniform, noise, tint, two_tints

FAMILY = "litter_grain"

COLOURS: dict[str, float] = {
    "brown": 0.28,
    "amber": 0.22,
    "dark brown": 0.16,
    "grey": 0.12,
    "russet": 0.08,
    "yellow": 0.06,
    "olive": 0.05,
    "black": 0.03,
}
#: Heaps are drawn no finer than this and then enlarged, um per pixel.
FINEST_UM_PER_PX = 0.45


@dataclass(frozen=True)
class _Look:
    """How a heap is built; lengths in um, the rest as shares."""

    half: float
    slim: float
    grain_um: float
    loose: float
    ragged: float
    dome: float
    gaps: float
    clumpy: float
    layers: int
    soft_um: float
    spread: float
    strength: float


def _random_look(rng: np.random.Generator, half_um: float) -> _Look:
    return _Look(
        half=half_um,
        slim=rng.uniform(0.45, 1.0),
        grain_um=rng.uniform(2.0, 8.0),
        loose=rng.uniform(0.0, 0.35),
        ragged=rng.uniform(0.15, 0.5),
        dome=rng.uniform(0.4, 1.0),
        gaps=rng.uniform(0.0, 0.5),
        clumpy=rng.uniform(0.1, 0.6),
        layers=int(rng.choice((1, 1, 2))),
        soft_um=rng.uniform(0.0, 0.6),
        spread=rng.uniform(0.1, 0.6),
        strength=log_uniform(rng, 0.15, 1.4),
    )


def _within(rng: np.random.Generator, canvas: Canvas, look: _Look) -> Image:
    """Return how far inside a ragged outline each pixel lies, as a share of the half length."""
    rough = noise(rng, canvas, look.half * rng.uniform(0.35, 0.8), 3, 0.6)
    rho = length_of(canvas.u_um, canvas.v_um / np.float32(look.slim))
    level = np.float32(0.85) - rho / np.float32(look.half)
    level = level + np.float32(look.ragged) * np.clip(rough, -2.0, 2.0)
    # Whatever the noise does, nothing reaches the border of the patch.
    return np.minimum(level, np.float32(1.25) - rho / np.float32(look.half))


def _grains(
    rng: np.random.Generator, canvas: Canvas, look: _Look, level: Image
) -> tuple[Image, Image]:
    """Return the tone of one layer of grains within a level, and a number 0 to 1 per grain."""
    rows, columns = canvas.shape
    pitch = look.grain_um * 0.9 / canvas.step_um
    y, x = np.meshgrid(np.arange(0.5, rows, pitch), np.arange(0.5, columns, pitch), indexing="ij")
    x = x + np.where(np.arange(len(x)) % 2 == 0, 0.0, 0.5 * pitch)[:, None]
    wander = 0.12 + look.spread * 0.35
    x = np.clip(x + rng.normal(0.0, wander * pitch, x.shape), 0, columns - 1).astype(np.intp)
    y = np.clip(y + rng.normal(0.0, wander * pitch, y.shape), 0, rows - 1).astype(np.intp)
    kept = (level[y, x] > 0.0) & (rng.random(x.shape) > look.loose)
    if not kept.any():
        kept.flat[int(np.argmax(level[y, x]))] = True
    seeds = np.ones((rows, columns), np.uint8)
    seeds[y[kept], x[kept]] = 0
    far, label = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    most = int(label.max()) + 1
    radius = 0.5 * look.grain_um * rng.lognormal(0.0, 0.5 * look.spread, most).clip(0.6, 1.5)
    tone = 1.0 - 0.7 * look.spread * rng.random(most)
    share = far * np.float32(canvas.step_um) / radius.astype(np.float32)[label]
    body = inside((share - np.float32(1.0)) * radius.astype(np.float32)[label], canvas.step_um, 0.2)
    bulge = np.sqrt(np.clip(1.0 - np.float32(0.9) * np.square(np.minimum(share, 1.0)), 0.0, 1.0))
    lit = (1.0 - np.float32(look.dome)) + np.float32(look.dome) * bulge
    return body * lit * tone.astype(np.float32)[label], rng.random(most).astype(np.float32)[label]


def _heap(rng: np.random.Generator, um_per_px: float, look: _Look) -> Picture:
    """Draw a heap, on a fine picture more coarsely and then enlarged: its edges are soft."""
    factor = max(1, int(FINEST_UM_PER_PX / um_per_px))
    density, (x, y) = _drawn_heap(rng, um_per_px * factor, look)
    if factor == 1:
        return density, (x, y)
    size = (density.shape[1] * factor, density.shape[0] * factor)
    large = cv2.resize(density, size, interpolation=cv2.INTER_CUBIC)
    centre = ((x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5)
    return clear_border(np.maximum(large, 0.0)), centre


def _drawn_heap(rng: np.random.Generator, um_per_px: float, look: _Look) -> Picture:
    reach = look.grain_um + 2.0
    half_v = 1.3 * look.half * look.slim
    canvas = make_canvas(rng, um_per_px, 1.3 * look.half + reach, half_v + reach)
    level = _within(rng, canvas, look)
    tone, share = _grains(rng, canvas, look, level)
    for _ in range(look.layers - 1):
        more, _ = _grains(rng, canvas, look, level - np.float32(0.2))
        tone = tone + np.float32(rng.uniform(0.4, 0.9)) * more
    film = inside(-level * np.float32(look.half), canvas.step_um, 0.8)
    tone = tone + np.float32(0.5 * (1.0 - look.gaps)) * film
    thick = noise(rng, canvas, look.half * 0.6, 1)
    tone = tone * np.clip(1.0 + np.float32(look.clumpy) * thick, 0.25, 2.2)
    if look.soft_um > 0.3:
        tone = cv2.GaussianBlur(tone, (0, 0), look.soft_um / canvas.step_um)
    first, second = tint(rng, COLOURS), tint(rng, COLOURS)
    mix = np.float32(rng.uniform(0.0, 0.7)) * share
    top = max(float(tone.max()), 1.0)
    return canvas.finish(two_tints(tone * np.float32(look.strength / top), mix, first, second))


def draw_grape_heap(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a heap of packed round grains, like grapes, 15 to 60 um across."""
    return _heap(rng, um_per_px, _random_look(rng, log_uniform(rng, 7.0, 26.0)))


def draw_large_heap(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a larger ragged heap with holes and loose grains at its edge, to 100 um."""
    look = _random_look(rng, log_uniform(rng, 18.0, 42.0))
    return _heap(rng, um_per_px, look)


def draw_soft_crumb(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a soft crumb whose grains run into each other."""
    look = _random_look(rng, log_uniform(rng, 6.0, 22.0))
    soft = replace(
        look,
        grain_um=rng.uniform(2.0, 5.0),
        soft_um=rng.uniform(0.6, 1.6),
        gaps=rng.uniform(0.0, 0.2),
        loose=0.1,
    )
    return _heap(rng, um_per_px, soft)


def draw_loose_grains(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw grains strewn apart, in twos and threes, about a thin heap."""
    look = _random_look(rng, log_uniform(rng, 9.0, 28.0))
    loose = replace(
        look,
        loose=rng.uniform(0.5, 0.8),
        gaps=1.0,
        grain_um=rng.uniform(2.0, 6.0),
        layers=1,
    )
    return _heap(rng, um_per_px, loose)


KINDS = (
    ClutterKind("grape heap", FAMILY, draw_grape_heap, (0.3, 50.0)),
    ClutterKind("large grain heap", FAMILY, draw_large_heap, (0.05, 6.0)),
    ClutterKind("soft crumb", FAMILY, draw_soft_crumb, (0.3, 60.0)),
    ClutterKind("loose grains", FAMILY, draw_loose_grains, (0.2, 40.0)),
)
