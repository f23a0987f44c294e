"""Mineral and broken things: crystals, flakes of cuticle, grit, dust."""

from __future__ import annotations

import numpy as np

from other_hands.illustrated.geometry import TAU, jagged, points
from other_hands.illustrated.layers import Stroke
from other_hands.illustrated.litter.solid import Paint, litter_fineness, paint_solid
from other_hands.illustrated.outlines import angular, blob, chipped
from other_hands.illustrated.scene import Pose, Scene

FLAKES = ((0.3, 0.5, 0.8), (0.15, 0.2, 0.3), (0.7, 0.95, 1.2))

GRITS = ((0.9, 0.95, 1.0), (1.8, 1.8, 1.8), (0.25, 0.25, 0.28), (0.5, 0.7, 1.0))


def paint_crystal(scene: Scene, x_px: float, y_px: float) -> None:
    """A needle, a bundle of needles, a cube or a rhomb."""
    rng = scene.rng
    kind = rng.choice(["needle", "rhomb", "cube", "bundle"])
    if kind in ("needle", "bundle"):
        for _ in range(1 if kind == "needle" else rng.integers(3, 9)):
            _paint_needle(scene, x_px, y_px)
        return
    half_length, half_width = rng.uniform(3, 14), rng.uniform(3, 12)
    lean = (rng.uniform(0.2, 0.6) if kind == "rhomb" else 0.0) * half_width
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [half_length, half_width]
    outline = corners + points(np.array([-lean, -lean, lean, lean]), np.zeros(4))
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint = Paint(
        (0.12, 0.12, 0.13),
        wall=rng.uniform(0.6, 1.7),
        wall_um=0.8,
        core=rng.uniform(0, 3),
        thick_um=half_width * 1.2,
        facets=1.2,
        opacity=0.2,
        texture=0.1,
    )
    paint_solid(scene, outline, pose, paint)


def _paint_needle(scene: Scene, x_px: float, y_px: float) -> None:
    rng = scene.rng
    length, width = rng.uniform(10, 70), rng.uniform(0.8, 4)
    tip, shoulder = length / 2, length / 2 - width
    x = np.array([-tip, -shoulder, shoulder, tip, shoulder, -shoulder])
    outline = points(x, np.array([0, 1, 1, 0, -1, -1]) * width / 2)
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint = Paint(
        (0.06, 0.06, 0.07),
        wall=rng.uniform(0.5, 1.3),
        wall_um=0.45,
        core=3.0,
        thick_um=width,
        opacity=0.15,
        texture=0.05,
    )
    paint_solid(scene, outline, pose, paint)


def paint_flake(scene: Scene, x_px: float, y_px: float) -> None:
    """A flake of cuticle, often with its cells to be seen."""
    rng = scene.rng
    radius = rng.uniform(12, 60)
    corners = angular(rng, radius, rng.uniform(1, 2), int(rng.integers(5, 10)))
    sides = []
    for i, corner in enumerate(corners):
        after = corners[(i + 1) % len(corners)]
        sides += [corner[None], jagged(rng, corner, after, 9, radius * 0.03)]
    cells = _cells(rng, radius) if rng.random() < 0.5 else ()
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint = Paint(
        np.array(FLAKES[rng.integers(3)]) * rng.uniform(0.4, 1.3),
        wall=0.4,
        thick_um=radius,
        flat=0.9,
        texture=0.25,
        texture_um=9.0,
        strokes=cells,
    )
    paint_solid(scene, np.concatenate(sides), pose, paint)


def _cells(rng: np.random.Generator, radius: float) -> tuple[Stroke, ...]:
    """Borders of six-sided cells: half of each, the neighbours draw the rest."""
    pitch = rng.uniform(6, 12)
    angle = np.arange(4) * 1.0472
    half = points(np.cos(angle), np.sin(angle)) * pitch * 0.56
    borders = []
    for i in range(-8, 9):
        for j in range(-8, 9):
            middle = np.array([i * pitch * 0.87, (j + 0.5 * (i % 2)) * pitch])
            if np.hypot(*middle) < radius * 1.3:
                border = half + middle
                border = border + rng.normal(0, 0.25, border.shape)
                borders.append(Stroke(border, 0.6, 0.25))
    return tuple(borders)


def paint_grit(scene: Scene, x_px: float, y_px: float) -> None:
    """A splinter of stone or soot."""
    rng = scene.rng
    radius = float(np.exp(rng.uniform(np.log(1.5), np.log(16))))
    outline = chipped(rng, angular(rng, radius, rng.uniform(1, 2)))
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint = Paint(
        np.array(GRITS[rng.integers(4)]) * rng.uniform(0.6, 1.5),
        wall=rng.uniform(0.2, 0.8),
        thick_um=radius,
        facets=rng.uniform(0.2, 0.9),
        texture=0.3,
        texture_um=2.0,
    )
    paint_solid(scene, outline, pose, paint)


def paint_dust(scene: Scene, x_px: float, y_px: float) -> None:
    """A sprinkle of specks."""
    rng, um = scene.rng, scene.um_per_px
    fineness = max(litter_fineness(um), 2)
    for _ in range(rng.integers(1, 10)):
        radius = rng.uniform(0.5, 2.2)
        outline = blob(rng, radius, 0.25)
        pose = Pose(x_px + rng.normal(0, 30) / um, y_px + rng.normal(0, 30) / um)
        pigment = np.array((0.8, 0.9, 1.0)) * rng.uniform(0.3, 1.5)
        paint = Paint(pigment, wall=0.3, wall_um=0.3, thick_um=radius * 2)
        paint_solid(scene, outline, pose, paint, fineness=fineness)
