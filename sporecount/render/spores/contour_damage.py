"""Milder damage in style "contour": a spore that keeps nearly its whole outline."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.contour_paint import Paint, filled, painted, stroked, textured
from sporecount.render.spores.contour_polygon import clipped, draw_outline
from sporecount.render.spores.look import SporeLook


def faded(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Leave a pale outline, whole or broken, sometimes with a rest of its filling."""
    full = look.tone * look.wall_tone
    pale = replace(
        paint,
        fill=float(rng.uniform(0.02, 0.12)) * min(1.0, 0.4 / look.tone),
        stroke=max(0.07, min(float(rng.uniform(0.07, 0.26)), 0.5 * full)) / full,
        stroke_um=min(paint.stroke_um, 0.6),
        dashed=bool(rng.random() < 0.4),
        highlight="none",
    )
    faint = replace(look, rim=0.4 * look.rim)
    outline = draw_outline(rng, look, angle_deg, rough=1.5)
    marks = None
    if rng.random() < 0.35:
        circle = np.linspace(0.0, 2 * np.pi, 18, endpoint=False)
        wide = 0.25 * look.length_um * look.slenderness * rng.uniform(0.4, 1.0)
        ring = np.column_stack([np.cos(circle) * rng.uniform(1.0, 1.8), np.sin(circle)])
        ring = ring * wide * np.exp(rng.normal(0.0, 0.18, (18, 1)))
        rest = outline[int(rng.integers(len(outline)))] * rng.uniform(0.0, 0.5) + ring
        marks = filled(bench, [rest]) * np.float32(rng.uniform(0.3, 0.9))
        marks = marks * np.maximum(textured(rng, bench, look, paint), 0.2)
    return painted(rng, bench, faint, [outline], pale, marks=marks)


def cracked(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Draw one or two zigzags, bright or dark; the two sides may have slid."""
    polygons = [draw_outline(rng, look, angle_deg)]
    half, side = 0.5 * look.length_um, 0.5 * look.length_um * look.slenderness
    lines = np.zeros_like(bench.x_um)
    dark, pens = rng.random() < 0.4, []
    for number in range(1 + int(rng.random() < 0.35)):
        lengthwise = rng.random() < 0.2
        turn = np.deg2rad(angle_deg) + (0.0 if lengthwise else np.pi / 2) + rng.normal(0.0, 0.3)
        way = np.array([np.cos(turn), np.sin(turn)])
        normal = np.array([-way[1], way[0]])
        reach = (half if lengthwise else side) + 1.5
        short = rng.random() < (0.25 if number == 0 else 0.6)
        start = rng.uniform(-0.5, 0.1) * reach if short else -reach
        along = np.linspace(start, reach, int(rng.integers(5, 10)))
        middle = rng.normal(0.0, 0.25) * (side if lengthwise else half)
        off = rng.normal(0.0, 0.3, len(along)) + middle
        crack = along[:, None] * way + off[:, None] * normal
        gap = float(rng.uniform(0.5, 0.8) if dark else rng.uniform(0.6, 1.3))
        pens.append(stroked(bench, [crack], gap, closed=False))
        if number == 0 and not short and rng.random() < 0.5:
            slide = rng.choice((-0.5, 0.5)) * rng.uniform(0.4, 1.8) * way
            point = middle * normal
            polygons = [
                clipped(polygons[0], point - 0.1 * normal, normal) + slide,
                clipped(polygons[0], point + 0.1 * normal, -normal) - slide,
            ]
            polygons = [part for part in polygons if len(part) > 2]
    for pen in pens:
        lines = np.maximum(lines, pen)
    if dark:
        marks = lines * np.float32(rng.uniform(0.6, 1.1))
        return painted(rng, bench, look, polygons, paint, marks=marks)
    return painted(rng, bench, look, polygons, paint, gaps=lines)


def gnawed(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Pull a run of the outline's corners in towards the middle."""
    outline = draw_outline(rng, look, angle_deg)
    count = len(outline)
    run = int(count * rng.uniform(0.12, 0.3))
    first = int(rng.integers(0, count))
    index = np.arange(first, first + run) % count
    depth = rng.uniform(0.5, 0.8)
    profile = np.minimum(1.0, 3.0 * np.sin(np.linspace(0.05, np.pi - 0.05, run)))
    profile = profile * depth * rng.uniform(0.8, 1.1, run)
    bitten = outline.copy()
    bitten[index] *= np.clip(1.0 - profile, 0.08, 1.0)[:, None]
    return painted(rng, bench, look, [bitten], paint)


def crumpled(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Fold the outline in at a few places and draw the folds dark."""
    small = replace(look, length_um=look.length_um * float(rng.uniform(0.86, 1.0)))
    outline = draw_outline(rng, small, 0.0, rough=2.5, wide=float(rng.uniform(0.82, 1.02)))
    turn = np.arctan2(outline[:, 1], outline[:, 0])
    factor = np.ones(len(outline))
    for number in range(int(rng.integers(2, 5))):
        side = rng.choice((-1.0, 1.0)) * np.pi / 2
        at = side + rng.normal(0.0, 0.5) if number < 2 else rng.uniform(0, 6.3)
        away = (turn - at + np.pi) % (2 * np.pi) - np.pi
        depth = rng.uniform(0.2, 0.6) if number == 0 else rng.uniform(0.05, 0.25)
        factor = factor * (1.0 - depth * np.exp(-((away / rng.uniform(0.2, 0.6)) ** 2)))
    outline = outline * np.maximum(factor, 0.3)[:, None]
    outline = outline + rng.normal(0.0, 0.12, outline.shape)
    outline[:, 1] += (
        rng.normal(0.0, 0.05) * look.length_um * (outline[:, 0] / look.length_um * 2) ** 2
    )
    angle = np.deg2rad(angle_deg)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    outline = outline @ spin.T
    outline -= outline.mean(axis=0)
    folds = np.zeros_like(bench.x_um)
    for _ in range(int(rng.integers(2, 6))):
        ends = outline[rng.choice(len(outline), 2, replace=False)] * rng.uniform(0.4, 1.0, (2, 1))
        middle = ends.mean(axis=0) + rng.normal(0.0, 0.8, 2)
        share = np.linspace(0.0, 1.0, 8)[:, None]
        curve = (1 - share) ** 2 * ends[0] + 2 * share * (1 - share) * middle + share**2 * ends[1]
        pen = stroked(bench, [curve], float(rng.uniform(0.3, 0.8)), closed=False)
        folds = np.maximum(folds, pen * np.float32(rng.uniform(0.3, 0.8)))
    return painted(rng, bench, look, [outline], paint, marks=folds)


def spilling(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Swell the outline and paint a ragged puddle beside it."""
    wide = min(float(rng.uniform(0.95, 1.2)), 0.88 / look.slenderness)
    plump = replace(look, tip=0.3 * look.tip)
    outline = draw_outline(rng, plump, angle_deg, rough=2.5, wide=wide)
    mouth = outline[int(rng.integers(0, len(outline)))]
    out = mouth / np.hypot(*mouth)
    circle = np.linspace(0.0, 2 * np.pi, 26, endpoint=False)
    radius = rng.uniform(1.4, 2.4) * (1.0 + 0.22 * rng.standard_normal(26))
    stretch = np.column_stack([np.cos(circle) * rng.uniform(1.0, 1.5), np.sin(circle)])
    spin = np.array([[out[0], -out[1]], [out[1], out[0]]])
    puddle = mouth + out * 0.9 + (np.maximum(radius, 0.6)[:, None] * stretch) @ spin.T
    thin = replace(
        paint,
        fill=float(rng.uniform(0.35, 0.8)),
        stroke=float(rng.uniform(0.4, 0.9)),
        dashed=True,
        highlight="none",
    )
    body = painted(rng, bench, plump, [outline], thin)
    wash = filled(bench, [puddle]) * (1.0 - body.cover)
    wash = wash * np.maximum(0.2, textured(rng, bench, look, replace(thin, texture="speckle")))
    strength = np.float32(max(0.07, look.tone * rng.uniform(0.25, 0.7)))
    density = body.density + (strength * wash)[..., None] * np.array(look.hue, np.float32)
    cover = np.maximum(body.cover, filled(bench, [puddle]))
    return Draft(density.astype(np.float32), cover, bench)
