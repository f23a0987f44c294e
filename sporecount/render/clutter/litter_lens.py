"""Spore-sized litter, family O: crystals and chips of almost oval outline that bend light.

A closed condenser gives spores dark edges and bright middles too: without clear facet lines,
only a slender, round or angular outline, or the size, tells these from them.
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
#: Lengths at which a crystal without clear marks is made slenderer or rounder than spores, um.
SPORE_LENGTHS_UM = (6.8, 23.5)
#: Slenderness of such crystals.
SLENDER, ROUND = (0.25, 0.4), (0.93, 1.0)
#: Half widths up to which facet lines would fill the middle, um.
LEAST_FACETED_UM = 2.0

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
        facet_tone=0.0,
        strength=log_uniform(rng, 0.2, 1.1),
        tint=tint(rng, COLOURS),
    )


def _facets(
    rng: np.random.Generator, window: Window, look: _Look, half_v: float
) -> tuple[Image, Image]:
    """Return one or two lines, and the tones of the faces on their sides."""
    lines: Image = np.zeros(window.u_um.shape, np.float32)
    faces: Image = np.zeros(window.u_um.shape, np.float32)
    thin_um = float(np.clip(0.08 * half_v, 0.2, 0.35))
    for _ in range(look.facets):
        turn = float(rng.normal(0.0, 0.35) + rng.choice((0.0, 0.0, np.pi / 2)))
        off = np.float32(rng.uniform(-0.35, 0.35) * half_v)
        line = window.v_um * np.float32(np.cos(turn)) - window.u_um * np.float32(np.sin(turn)) - off
        # Dark, not bright: a middle that gathers light has nothing left to show a bright line.
        lines = np.maximum(lines, np.float32(look.facet_tone) * bump(line, thin_um))
        faces += np.float32(0.2 * look.facet_tone) * (inside(line, window.step_um) - 0.5)
    return lines, faces


def _unlike_spore(rng: np.random.Generator, length_um: float, slim: float) -> float:
    """Return a width over length that no spore of this length has, the given one if it will do."""
    low, high = SPORE_LENGTHS_UM
    if not low < length_um < high or slim <= SLENDER[1] or slim >= ROUND[0]:
        return slim
    return float(rng.uniform(*(SLENDER if slim < 0.7 else ROUND)))


def _crystals(
    rng: np.random.Generator, um_per_px: float, look: _Look, outline: Outline, worn: float = 1.0
) -> Picture:
    """Paint one to five crystals of one look; ``worn`` is the part of the length that is left."""
    count = int(rng.choice((1, 1, 1, 2, 3, 5)))
    lengths = look.length * rng.lognormal(0.0, 0.18, count).clip(0.65, 1.4)
    places = loose_group(rng, lengths / 2, float(rng.choice((0.05, 0.3, 0.9))))
    canvas, density = canvas_around(rng, um_per_px, places, 0.7 * float(lengths.max()) + 4.0)
    for place, length in zip(places, lengths, strict=True):
        turn = rng.uniform(0.0, 2 * np.pi)
        slim = float(np.clip(look.slim * rng.lognormal(0.0, 0.1), 0.35, 1.0))
        facets = look.facets > 0 and 0.5 * float(length) * slim * worn > LEAST_FACETED_UM
        if not facets:
            slim = _unlike_spore(rng, float(length) * worn, slim)
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
        if facets:
            lines, faces = _facets(rng, window, look, half_v)
            edge = np.maximum(edge, body * lines) + body * faces
        tone = edge + body * np.float32(look.body)
        tone = tone - np.float32(look.glow) * body * bump(ring, look.glow_size)
        tone = tone - np.float32(look.halo) * bump(
            away - np.float32(1.1 * look.halo_um), look.halo_um
        )
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


def _with_facets(rng: np.random.Generator, look: _Look, facets: int) -> _Look:
    """Return the look with facet lines that are nearly as dark as the edge."""
    dark = look.edge * (1.0 + 0.5 * look.edge_uneven) * rng.uniform(0.6, 0.85)
    glow = max(look.glow, 0.4)
    return replace(look, facets=facets, facet_tone=dark + 0.5 * glow, glow=glow)


def draw_rounded_box(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw boxes with rounded corners, like worn salt."""
    look, rounding = _random_look(rng), rng.uniform(0.2, 0.6)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        return _rounded_box(window, half_u, half_v, rounding * half_v)

    return _crystals(rng, um_per_px, look, outline)


def draw_rounded_lozenge(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw lozenges with rounded corners, like whetstones of uric acid."""
    look, power = _random_look(rng), rng.uniform(1.1, 1.7)
    lean = float(np.clip(rng.normal(0.0, 0.03), -0.05, 0.05))

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        u = np.abs(window.u_um + np.float32(lean) * window.v_um) / np.float32(half_u)
        share = cv2.pow(u, power) + cv2.pow(np.abs(window.v_um) / np.float32(half_v), power)
        return (cv2.pow(share, 1.0 / power) - np.float32(1.0)) * np.float32(0.85 * half_v)

    return _crystals(rng, um_per_px, look, outline)


def draw_facet_lentil(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw lentils pointed at both ends, with one or two facet lines."""
    look = _random_look(rng)
    look = _with_facets(rng, look, int(rng.integers(1, 3)))
    sharp = rng.uniform(0.7, 1.0)

    def outline(window: Window, half_u: float, half_v: float) -> Image:
        # Two arcs that meet in the points.
        arc = (half_u**2 / half_v + half_v) / 2
        deep = np.float32(arc - half_v)
        lens = length_of(window.u_um, np.abs(window.v_um) + deep) - np.float32(arc)
        return np.maximum(lens, np.abs(window.u_um) - np.float32(sharp * half_u))

    return _crystals(rng, um_per_px, look, outline)


def draw_clear_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw clear chips, of four to six corners, most with faces inside."""
    look = _random_look(rng)
    look = _with_facets(rng, look, int(rng.integers(0, 3)))
    corners, reach = int(rng.integers(4, 7)), rng.uniform(0.6, 0.8)
    first = rng.uniform(0.0, 2 * np.pi)
    cuts = [
        (first + 2 * np.pi * (i + rng.normal(0.0, 0.07)) / corners, reach * rng.uniform(0.95, 1.05))
        for i in range(corners)
    ]
    soft = rng.uniform(0.02, 0.1)

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

    return _crystals(rng, um_per_px, look, outline, 1.15 * reach)


KINDS = (
    ClutterKind("rounded box", FAMILY, draw_rounded_box, (0.3, 60.0)),
    ClutterKind("rounded lozenge", FAMILY, draw_rounded_lozenge, (0.3, 60.0)),
    ClutterKind("facet lentil", FAMILY, draw_facet_lentil, (0.3, 60.0)),
    ClutterKind("clear chip", FAMILY, draw_clear_chip, (0.3, 60.0)),
)
