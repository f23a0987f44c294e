"""Pollen: spiny, smooth, three-cornered, furrowed."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.geometry import TAU, points
from other_hands.illustrated.layers import Stroke
from other_hands.illustrated.litter.solid import Paint, paint_solid
from other_hands.illustrated.outlines import blob
from other_hands.illustrated.scene import Pose, Scene

PIGMENTS = ((0.12, 0.3, 1.0), (0.2, 0.35, 0.7), (0.35, 0.6, 0.9), (0.1, 0.14, 0.3))


def paint_pollen(scene: Scene, x_px: float, y_px: float) -> None:
    """A grain of pollen, 15 to 40 um across."""
    rng = scene.rng
    radius = rng.uniform(7.5, 20)
    kind = rng.choice(["spiny", "smooth", "tri", "furrow"])
    pigment = np.array(PIGMENTS[rng.integers(4)]) * rng.uniform(0.7, 1.6)
    if kind == "spiny":
        outline, strokes = _spiny(rng, radius)
    elif kind == "tri":
        outline, strokes = _three_cornered(radius)
    else:
        outline = blob(rng, radius, 0.04, aspect=rng.uniform(1, 1.35))
        strokes = _furrows(rng, radius) if kind == "furrow" else []
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint = Paint(
        pigment,
        wall=rng.uniform(0.5, 1.4),
        wall_um=rng.uniform(0.7, 1.6),
        flat=0.5,
        thick_um=radius * 1.6,
        texture=0.22,
        texture_um=1.6,
        core=rng.uniform(0, 0.4),
        strokes=tuple(strokes),
        opacity=0.8,
    )
    paint_solid(scene, outline, pose, paint)


def _spiny(rng: np.random.Generator, radius: float) -> tuple[np.ndarray, list[Stroke]]:
    """Spines around the outline, and spines that point at the viewer."""
    spines = rng.integers(14, 26)
    angle = np.linspace(0, TAU, spines * 6, endpoint=False)
    tip = np.abs(((angle * spines / TAU) % 1) - 0.5) * 2
    length = rng.uniform(0.1, 0.2) * np.clip(tip - 0.35, 0, 1) ** 1.5 * 1.6
    reach = radius * (1 + length) * (1 + 0.02 * rng.normal(0, 1, len(angle)))
    outline = points(np.cos(angle), np.sin(angle)) * reach[:, None]
    strokes = []
    for _ in range(int(radius * 2)):
        direction, away = rng.uniform(0, TAU), radius * 0.85 * math.sqrt(rng.random())
        foot = np.array([away * math.cos(direction), away * math.sin(direction)])
        strokes.append(Stroke(np.stack([foot, foot + [0.7, 0.3]]), 1.1, rng.uniform(0.3, 0.9)))
    return outline, strokes


def _three_cornered(radius: float) -> tuple[np.ndarray, list[Stroke]]:
    """Three bulges, each with its pore."""
    angle = np.linspace(0, TAU, 120, endpoint=False)
    reach = radius * (1 + 0.1 * np.cos(3 * angle))
    outline = points(np.cos(angle), np.sin(angle)) * reach[:, None]
    strokes = []
    for i in range(3):
        way = np.array([math.cos(i * TAU / 3), math.sin(i * TAU / 3)])
        strokes.append(Stroke(np.stack([way * radius * 0.75, way * radius * 1.05]), 2.2, 0.7))
    return outline, strokes


def _furrows(rng: np.random.Generator, radius: float) -> list[Stroke]:
    strokes = []
    for _ in range(rng.integers(1, 4)):
        x = np.linspace(-0.75, 0.75, 12) * radius
        y = rng.uniform(-0.5, 0.5) * radius + 0.12 * radius * np.cos(x / radius * 1.8)
        strokes.append(Stroke(points(x, y), 1.3, 0.7))
    return strokes
