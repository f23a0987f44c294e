"""Things of a spore's size and colour that are no spores: what tempts a detector most."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from other_hands.illustrated.geometry import TAU
from other_hands.illustrated.litter.solid import Paint, paint_solid
from other_hands.illustrated.look import tinted
from other_hands.illustrated.outlines import angular, blob, chipped
from other_hands.illustrated.scene import Pose, Scene


def paint_junk(scene: Scene, x_px: float, y_px: float) -> None:
    """An angular, lobed, soft, rod-like or round thing, or a clot of bits."""
    rng, look = scene.rng, scene.look
    pigment = tinted(rng, look.pigment, 0.18) * look.density * np.exp(rng.normal(0, 0.35))
    kind = rng.choice(["angular", "lobed", "soft", "clot", "rod", "round"])
    radius = rng.uniform(3.0, 7.5)
    if kind == "clot":
        _paint_clot(scene, x_px, y_px, pigment)
        return
    paint = Paint(pigment, thick_um=radius * 1.4, texture_um=2.2)
    depth = None
    if kind == "angular":
        outline = angular(rng, radius, rng.uniform(1, 1.9), int(rng.integers(3, 7)))
        outline = chipped(rng, outline)
        paint = replace(paint, facets=rng.uniform(0, 0.8), wall=rng.uniform(0.1, 0.7))
    elif kind == "lobed":
        outline = blob(rng, radius, rng.uniform(0.35, 0.6), aspect=rng.uniform(1, 1.8))
        paint = replace(paint, wall=rng.uniform(0.1, 0.8))
    elif kind == "soft":
        outline = blob(rng, radius, 0.3, aspect=rng.uniform(1, 1.6))
        paint = replace(paint, wall=0.0, flat=0.0, halo=0.0)
        depth = rng.uniform(0.9, 1.6) * (1 if rng.random() < 0.5 else -1)
    elif kind == "rod":
        outline = _rod(rng)
        paint = replace(paint, wall=0.4)
    else:
        outline = blob(rng, rng.uniform(2.0, 5.0), 0.07)
        paint = replace(paint, wall=rng.uniform(0.3, 1), core=rng.uniform(0, 0.6))
    pose = Pose(x_px, y_px, rng.uniform(0, TAU))
    paint_solid(scene, outline, pose, replace(paint, texture=rng.uniform(0.1, 0.45)), depth)


def _rod(rng: np.random.Generator) -> np.ndarray:
    length, width = rng.uniform(6, 14), rng.uniform(1.2, 2.6)
    outline = np.array(
        [
            [-length, -width],
            [length, -width * rng.uniform(0.5, 1.3)],
            [length * 0.93, width],
            [-length * rng.uniform(0.7, 1), width],
        ]
    )
    return chipped(rng, outline, 0.03)


def _paint_clot(scene: Scene, x_px: float, y_px: float, pigment: np.ndarray) -> None:
    rng, um = scene.rng, scene.um_per_px
    for _ in range(rng.integers(3, 9)):
        outline = blob(rng, rng.uniform(1.2, 3.2), 0.35)
        x, y = x_px + rng.normal(0, 2.8) / um, y_px + rng.normal(0, 2.8) / um
        pose = Pose(x, y, rng.uniform(0, TAU))
        own = pigment * rng.uniform(0.5, 1.2)
        paint = Paint(own, wall=0.2, thick_um=4, texture=0.3, texture_um=1.5)
        paint_solid(scene, outline, pose, paint)
