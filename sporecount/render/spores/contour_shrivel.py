"""Collapse in style "contour": an outline that falls in, bends, folds, crumples or flattens."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.contour_paint import Light, Paint, filled, painted, stroked
from sporecount.render.spores.contour_polygon import Polygon, clipped, draw_outline, spin
from sporecount.render.spores.look import SporeLook


def shrivelled(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Let the outline fall in, bend, fold over, crumple or flatten."""
    small = replace(look, length_um=look.length_um * float(0.55 + 0.45 * rng.beta(1.6, 1.0)))
    shape = (_crescent, _boat, _folded, _raisin, _spindle)[
        int(rng.choice(5, p=(0.26, 0.16, 0.14, 0.26, 0.18)))
    ]
    polygons, creases = shape(rng, small)
    middle = np.concatenate(polygons).mean(axis=0)
    axes = spin(angle_deg)
    polygons = [(polygon - middle) @ axes.T for polygon in polygons]
    creases = [(crease - middle) @ axes.T for crease in creases]
    lines = np.zeros_like(bench.x_um)
    for crease in creases:
        pen = stroked(bench, [crease], float(rng.uniform(0.3, 0.9)), closed=False)
        lines = np.maximum(lines, pen * np.float32(rng.uniform(0.6, 1.0)))
    manner = rng.random()
    if manner < 0.4:  # dark folds, and darker for being shrunken
        paint = replace(paint, fill=paint.fill * float(rng.uniform(0.8, 1.5)))
        marks = lines * np.float32(rng.uniform(0.3, 0.8))
        return painted(rng, bench, look, polygons, paint, marks=marks)
    if manner < 0.65:  # dents that gather light
        blurred = cv2.GaussianBlur(
            lines, (0, 0), max(0.4, float(rng.uniform(0.3, 0.7)) / bench.step_um)
        )
        marks = blurred * np.float32(-rng.uniform(0.4, 1.0) * look.core_tone)
        return painted(rng, bench, look, polygons, paint, marks=marks)
    return _refractile(rng, bench, look, polygons, paint, lines)


def _refractile(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    polygons: list[Polygon],
    paint: Paint,
    lines: Light,
) -> Draft:
    """Paint a pale inside between a dark edge and a bright one."""
    clear = replace(look, rim=float(rng.uniform(0.04, 0.2)))
    thin = replace(
        paint,
        fill=paint.fill * float(rng.uniform(0.05, 0.5)),
        stroke=float(rng.uniform(0.5, 1.1)),
        stroke_um=float(rng.uniform(0.3, 0.7)),
        highlight="none",
    )
    inner = cv2.GaussianBlur(filled(bench, polygons), (0, 0), 0.55 / bench.step_um)
    band = 4.0 * inner * (1.0 - inner)
    glint = np.float32(rng.uniform(0.0, 0.12) / look.tone)
    marks = lines * np.float32(rng.choice((-0.3, 0.5))) - glint * band
    return painted(rng, bench, clear, polygons, thin, marks=np.maximum(marks, -0.12 / look.tone))


def _sagging(half: float, height: float, from_: float = -0.85, to: float = 0.85) -> Polygon:
    """Return a line along the body that bows up to ``height``."""
    x = np.linspace(from_, to, 9)
    return np.column_stack([x * half, height * (1.0 - x**2)])


def _crescent(rng: np.random.Generator, look: SporeLook) -> tuple[list[Polygon], list[Polygon]]:
    """Press one side in, up to the middle or past it."""
    half = 0.5 * look.length_um
    side = half * look.slenderness
    outline = draw_outline(rng, look, 0.0, rough=1.5)
    way = float(rng.choice((-1.0, 1.0)))
    fallen = float(rng.uniform(-0.35, 0.5))  # below 0: short of the middle
    upper = outline[:, 1] * way > 0
    lean = 1.0 + float(rng.normal(0.0, 0.25)) * outline[:, 0] / half
    pressed = outline.copy()
    pressed[upper, 1] *= -fallen * np.clip(lean[upper], 0.5, 1.5)
    crease = _sagging(half, -way * side * (fallen + rng.uniform(0.12, 0.3)))
    return [pressed], [crease] if rng.random() < 0.7 else []


def _boat(rng: np.random.Generator, look: SporeLook) -> tuple[list[Polygon], list[Polygon]]:
    """Bend a narrowed body, with its keel as a fold."""
    half = 0.5 * look.length_um
    narrow = float(rng.uniform(0.4, 0.8))
    outline = draw_outline(rng, look, 0.0, rough=1.5, wide=narrow)
    sag = float(rng.choice((-1.0, 1.0)) * rng.uniform(0.1, 0.32)) * look.length_um
    outline[:, 1] += sag * (outline[:, 0] / half) ** 2
    keel = _sagging(half, -sag)
    keel[:, 1] += sag + rng.normal(0.0, 0.15) * half * look.slenderness * narrow
    return [outline], [keel]


def _folded(rng: np.random.Generator, look: SporeLook) -> tuple[list[Polygon], list[Polygon]]:
    """Fold one part of the body over the rest of it."""
    half = 0.5 * look.length_um
    outline = draw_outline(rng, look, 0.0)
    lengthwise = rng.random() < 0.5
    turn = rng.normal(np.pi / 2 if lengthwise else 0.0, 0.3)
    normal = np.array([np.cos(turn), np.sin(turn)])
    reach = half * look.slenderness if lengthwise else half
    point = normal * reach * float(rng.uniform(0.0, 0.55))
    rest, flap = clipped(outline, point, -normal), clipped(outline, point, normal)
    if len(flap) < 3 or len(rest) < 3:
        return [outline], []
    flap = flap - 2.0 * ((flap - point) @ normal)[:, None] * normal
    return [rest, flap], [flap]


def _raisin(rng: np.random.Generator, look: SporeLook) -> tuple[list[Polygon], list[Polygon]]:
    """Pull the outline in at several places, and fold it from there inwards."""
    outline = draw_outline(rng, look, 0.0, rough=2.5, wide=float(rng.uniform(0.7, 1.05)))
    turn = np.arctan2(outline[:, 1], outline[:, 0])
    factor, creases = np.ones(len(outline)), []
    start, count = rng.uniform(0, 6.3), int(rng.integers(3, 7))
    for number in range(count):
        at = start + (number + rng.uniform(-0.3, 0.3)) * 2 * np.pi / count
        away = (turn - at + np.pi) % (2 * np.pi) - np.pi
        depth, breadth = rng.uniform(0.1, 0.55), rng.uniform(0.12, 0.35)
        factor = factor * (1.0 - depth * np.exp(-(np.abs(away / breadth) ** 1.4)))
        place = int(np.argmin(np.abs(away)))
        inwards = np.array([1.0 - 0.8 * depth, 0.6, 0.35, rng.uniform(-0.3, 0.2)])
        crease = inwards[:, None] * outline[place]
        creases.append(crease + np.vstack([[0.0, 0.0], rng.normal(0.0, 0.4, (3, 2))]))
    outline = outline * np.maximum(factor, 0.3)[:, None]
    return [outline + rng.normal(0.0, 0.08, outline.shape)], creases


def _spindle(rng: np.random.Generator, look: SporeLook) -> tuple[list[Polygon], list[Polygon]]:
    """Flatten the body to a thin, often twisted, spindle."""
    longer = replace(look, length_um=min(17.0, 1.2 * look.length_um))
    half = 0.5 * longer.length_um
    wide = float(rng.uniform(0.25, 0.45)) / look.slenderness
    outline = draw_outline(rng, longer, 0.0, rough=0.8, wide=wide)
    wave = rng.normal(0.0, 0.03) * longer.length_um
    outline[:, 1] += wave * np.sin(outline[:, 0] / half * 3.0)
    crease = _sagging(half, rng.normal(0.0, 0.2) * half * wide * look.slenderness)
    crease[:, 1] += wave * np.sin(crease[:, 0] / half * 3.0)
    return [outline], [crease] if rng.random() < 0.7 else []
