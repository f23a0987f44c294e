"""Spores of moulds, and yeasts."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.geometry import TAU
from other_hands.illustrated.layers import Stroke
from other_hands.illustrated.litter.solid import Paint, paint_solid
from other_hands.illustrated.outlines import blob
from other_hands.illustrated.scene import Pose, Scene

MOULDS = ((0.7, 0.7, 1.1), (0.4, 0.45, 0.5), (0.75, 0.95, 1.2), (0.3, 0.5, 0.6))

YEAST = (0.1, 0.12, 0.16)


def paint_moulds(scene: Scene, x_px: float, y_px: float) -> None:
    """Up to 13 mould spores in a heap or chain, or one or two with cross walls."""
    rng, um = scene.rng, scene.um_per_px
    kind = rng.choice(["round", "oval", "chain", "septate"])
    pigment = np.array(MOULDS[rng.integers(4)]) * rng.uniform(0.5, 1.5)
    depth = scene.depth_at(x_px, y_px)
    count, radius = int(rng.integers(1, 14)), rng.uniform(1.4, 3.2)
    direction = rng.uniform(0, TAU)
    spread_um = 3.2 * radius * math.sqrt(count)
    x, y = x_px, y_px
    for _ in range(min(count, 2) if kind == "septate" else count):
        if kind == "chain":
            direction += rng.normal(0, 0.25)
            x += math.cos(direction) * radius * 1.9 / um
            y += math.sin(direction) * radius * 1.9 / um
        else:
            x = x_px + rng.normal(0, spread_um) / um * 0.7
            y = y_px + rng.normal(0, spread_um) / um * 0.7
        own_radius, aspect, walls = _mould_shape(rng, kind, radius)
        outline = blob(rng, own_radius, 0.05, aspect=aspect)
        pose = Pose(x, y, direction if kind == "chain" else rng.uniform(0, TAU))
        paint = Paint(
            pigment,
            wall=rng.uniform(0.5, 1.2),
            wall_um=0.4,
            thick_um=own_radius * 2,
            core=0.3,
            strokes=walls,
            opacity=0.6,
        )
        paint_solid(scene, outline, pose, paint, depth + rng.normal(0, 0.05))


def _mould_shape(
    rng: np.random.Generator, kind: str, radius: float
) -> tuple[float, float, tuple[Stroke, ...]]:
    """Radius in um, aspect and cross walls of one mould spore."""
    own_radius = radius * rng.uniform(0.85, 1.15)
    if kind != "septate":
        return own_radius, 1.05 if kind == "round" else 1.4, ()
    aspect, own_radius = rng.uniform(2.4, 3.6), radius * 2
    reach = [own_radius * math.sqrt(aspect), own_radius]
    walls = tuple(
        Stroke(np.array([[x, -1.0], [x, 1.0]]) * reach, 0.5, 0.8)
        for x in np.linspace(-0.6, 0.6, rng.integers(3, 6))
    )
    return own_radius, aspect, walls


def paint_yeast(scene: Scene, x_px: float, y_px: float) -> None:
    """A few clear cells, some with a bud."""
    rng, um = scene.rng, scene.um_per_px
    depth = scene.depth_at(x_px, y_px)
    for _ in range(rng.integers(1, 8)):
        radius = rng.uniform(1.7, 3.1)
        x, y = x_px + rng.normal(0, 7) / um, y_px + rng.normal(0, 7) / um
        angle, aspect = rng.uniform(0, TAU), rng.uniform(1.05, 1.4)
        cell = Paint(
            YEAST, wall=0.6, wall_um=0.4, thick_um=radius * 2, core=1.5, opacity=0.2, halo=0.2
        )
        outline = blob(rng, radius, 0.03, aspect=aspect)
        paint_solid(scene, outline, Pose(x, y, angle), cell, depth)
        if rng.random() < 0.4:
            away_um = radius * math.sqrt(aspect) + radius * 0.45
            bud = Paint(YEAST, wall=0.6, wall_um=0.35, thick_um=radius, core=1.4, opacity=0.2)
            outline = blob(rng, radius * 0.55, 0.03)
            pose = Pose(x + math.cos(angle) * away_um / um, y + math.sin(angle) * away_um / um)
            paint_solid(scene, outline, pose, bud, depth)
