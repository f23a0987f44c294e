"""Spore-sized litter, family O: crystals and chips of almost oval outline that bend light.

Dark edges, bright middles, facet lines and coloured fringes tell them from spores.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from sporecount.render.clutter.canvas import Image, Picture
from sporecount.render.clutter.group import Window, canvas_around, length_of, loose_group, window_at
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint

FAMILY = "litter_lens"

COLOURS: dict[str, float] = {
    "grey": 0.55,
    "slate": 0.12,
    "yellow": 0.10,
    "amber": 0.07,
    "brown": 0.06,
    "greenish": 0.04,
    "bluish": 0.06,
}
#: Bright middles with dark edges are seen as such up to this scale, um per pixel.
TOLD_UM_PER_PX = 0.9

#: Distance to an outline, negative inside, given a window and half extents.
Outline = Callable[[Window, float, float], Image]


@dataclass(frozen=True)
class _Look:
    """How the crystals of one patch look; lengths in um, the rest as shares."""

    length: float
    slim: float
    edge_um: float
    edge: float
    edge_uneven: float
    glow: float
    glow_size: float
    body: float
    halo: float
    halo_um: float
    fringe: float
    light_way: float
    facets: int
    facet_tone: float
    strength: float
    tint: Image


def _random_look(rng: np.random.Generator) -> _Look:
    return _Look(
        length=log_uniform(rng, 6.0, 20.0),
        slim=rng.uniform(0.4, 0.95),
        edge_um=rng.uniform(0.4, 1.6),
        edge=rng.uniform(0.6, 1.2),
        edge_uneven=rng.uniform(0.0, 0.7),
        glow=rng.uniform(0.25, 0.65),
        glow_size=rng.uniform(0.3, 0.8),
        body=rng.uniform(0.0, 0.12) if rng.random() < 0.8 else rng.uniform(0.1, 0.4),
        halo=rng.uniform(0.05, 0.35) if rng.random() < 0.7 else 0.0,
        halo_um=rng.uniform(0.4, 0.9),
        fringe=rng.uniform(0.05, 0.35) if rng.random() < 0.6 else 0.0,
        light_way=rng.uniform(0.0, 2 * np.pi),
        facets=0,
        facet_tone=rng.uniform(0.1, 0.4),
        strength=log_uniform(rng, 0.2, 1.1),
        tint=tint(rng, COLOURS),
    )


def _facets(rng: np.random.Generator, window: Window, look: _Look, half_v: float) -> Image:
    """Return tones of faces on the sides of one to three lines, and the lines between them."""
    tone: Image = np.zeros(window.u_um.shape, np.float32)
    for _ in range(look.facets):
        turn = float(rng.normal(0.0, 0.35) + rng.choice((0.0, 0.0, np.pi / 2)))
        off = np.float32(rng.uniform(-0.45, 0.45) * half_v)
        line = window.v_um * np.float32(np.cos(turn)) - window.u_um * np.float32(np.sin(turn)) - off
        sign = np.float32(rng.choice((-1.0, -1.0, 1.0)))
        tone += sign * np.float32(look.facet_tone) * bump(line, 0.4)
        tone += np.float32(0.5 * look.facet_tone) * (inside(line, window.step_um) - 0.5)
    return tone


def _crystals(rng: np.random.Generator, um_per_px: float, look: _Look, outline: Outline) -> Picture:
    """Paint one to five crystals of one look."""
    count = int(rng.choice((1, 1, 1, 2, 3, 5)))
    lengths = look.length * rng.lognormal(0.0, 0.18, count).clip(0.65, 1.4)
    places = loose_group(rng, lengths / 2, float(rng.choice((0.05, 0.3, 0.9))))
    canvas, density = canvas_around(rng, um_per_px, places, 0.7 * float(lengths.max()) + 4.0)
    for place, length in zip(places, lengths, strict=True):
        turn = rng.uniform(0.0, 2 * np.pi)
        slim = float(np.clip(look.slim * rng.lognormal(0.0, 0.1), 0.35, 1.0))
        half_u, half_v = 0.5 * float(length), 0.5 * float(length) * slim
        window = window_at(canvas, place, turn, 1.3 * half_u + 3.0)
        away = outline(window, half_u, half_v)
        body = inside(away, window.step_um, 0.1)
        ring = length_of(window.u_um / np.float32(half_u), window.v_um / np.float32(half_v))
        lit = look.light_way - turn
        side = window.u_um * np.float32(np.cos(lit)) + window.v_um * np.float32(np.sin(lit))
        side = np.clip(side / np.float32(half_u), -1.0, 1.0)
        edge_um = min(look.edge_um, 0.3 * half_v)
        edge = bump(away + np.float32(0.8 * edge_um), 0.6 * edge_um)
        edge = np.float32(look.edge) * edge * (1.0 + np.float32(look.edge_uneven) * side)
        tone = edge + body * np.float32(look.body)
        tone = tone - np.float32(look.glow) * body * bump(ring, look.glow_size)
        tone = tone - np.float32(look.halo) * bump(
            away - np.float32(1.1 * look.halo_um), look.halo_um
        )
        if look.facets:
            tone = tone + body * _facets(rng, window, look, half_v)
        strength = np.float32(look.strength * rng.uniform(0.75, 1.2))
        layer = colour(tone * strength, look.tint)
        if look.fringe:
            split = bump(away, 0.7) * side * np.float32(look.fringe) * strength
            layer = layer + colour(split, np.array([1.0, 0.05, -1.0], np.float32))
        window.lay(density, layer)
    return canvas.finish(density)


def _rounded_box(window: Window, half_u: float, half_v: float, round_um: float) -> Image:
    over_u = np.abs(window.u_um) - np.float32(half_u - round_um)
    over_v = np.abs(window.v_um) - np.float32(half_v - round_um)
    outer = length_of(np.maximum(over_u, 0.0), np.maximum(over_v, 0.0))
    return outer + np.minimum(np.maximum(over_u, over_v), 0.0) - np.float32(round_um)


def draw_rounded_box(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw boxes with rounded corners, like worn salt."""
    look, rounding = _random_look(rng), rng.uniform(0.3, 0.9)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        return _rounded_box(window, half_u, half_v, rounding * half_v)

    return _crystals(rng, um_per_px, look, outline)


def draw_rounded_lozenge(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw lozenges with rounded corners, like whetstones of uric acid."""
    look, power = _random_look(rng), rng.uniform(1.1, 1.7)
    lean = rng.normal(0.0, 0.15)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        u = np.abs(window.u_um + np.float32(lean) * window.v_um) / np.float32(half_u)
        share = cv2.pow(u, power) + cv2.pow(np.abs(window.v_um) / np.float32(half_v), power)
        return (cv2.pow(share, 1.0 / power) - np.float32(1.0)) * np.float32(0.85 * half_v)

    return _crystals(rng, um_per_px, look, outline)


def draw_facet_lentil(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw lentils pointed at both ends, with one to three facet lines."""
    look = _random_look(rng)
    look = replace(look, facets=int(rng.integers(1, 4)))
    sharp = rng.uniform(0.7, 1.0)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        # Two arcs that meet in the points.
        arc = (half_u**2 / half_v + half_v) / 2
        deep = np.float32(arc - half_v)
        lens = length_of(window.u_um, np.abs(window.v_um) + deep) - np.float32(arc)
        return np.maximum(lens, np.abs(window.u_um) - np.float32(sharp * half_u))

    return _crystals(rng, um_per_px, look, outline)


def draw_clear_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw clear chips, oval but for a flattened side or two, with faces inside."""
    look = _random_look(rng)
    look = replace(look, facets=int(rng.integers(0, 4)))
    cuts = [
        (rng.uniform(0.0, 2 * np.pi), rng.uniform(0.6, 0.95)) for _ in range(rng.integers(1, 4))
    ]
    soft = rng.uniform(0.05, 0.25)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        u, v = window.u_um / np.float32(half_u), window.v_um / np.float32(half_v)
        away = (length_of(u, v) - np.float32(1.0)) * np.float32(half_v)
        for turn, off in cuts:
            line = np.float32(np.cos(turn)) * u + np.float32(np.sin(turn)) * v
            line = (line - np.float32(off)) * np.float32(half_v)
            # A smooth greatest of both: corners of chips are worn.
            worn = np.float32(soft * half_v)
            gap = np.clip(1.0 - np.abs(away - line) / worn, 0.0, 1.0)
            away = np.maximum(away, line) + np.float32(0.25) * worn * gap * gap
        return away

    return _crystals(rng, um_per_px, look, outline)


KINDS = (
    ClutterKind("rounded box", FAMILY, draw_rounded_box, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("rounded lozenge", FAMILY, draw_rounded_lozenge, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("facet lentil", FAMILY, draw_facet_lentil, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("clear chip", FAMILY, draw_clear_chip, (0.3, 60.0), TOLD_UM_PER_PX),
)
