"""Air bubbles under the tape, and droplets."""

from __future__ import annotations

import numpy as np

from other_hands.illustrated.geometry import TAU, points
from other_hands.illustrated.layers import lay, patch_around
from other_hands.illustrated.litter.solid import Paint, litter_fineness, paint_solid
from other_hands.illustrated.outlines import blob
from other_hands.illustrated.scene import Pose, Scene
from other_hands.illustrated.texture import smooth_step


def paint_bubble(scene: Scene, x_px: float, y_px: float) -> None:
    """An air bubble: dark rim, bright line inside it, bright middle."""
    rng, um = scene.rng, scene.um_per_px
    radius = float(np.exp(rng.uniform(np.log(4), np.log(55))))
    angle = np.linspace(0, TAU, 80, endpoint=False)
    outline = points(radius * np.cos(angle), radius * np.sin(angle) * rng.uniform(0.88, 1))
    placed = [Pose(x_px, y_px).place(outline, um)]
    depth = scene.depth_at(x_px, y_px) * 0.7
    blur_px = scene.focus.blur_px(depth)
    patch = patch_around(placed, 3 * blur_px + 4 + 5 / um, litter_fineness(um), um)
    if patch is None:
        return
    distance = patch.distance_um(patch.filled(placed))
    cover = patch.cover(distance)
    rim_um = radius * rng.uniform(0.16, 0.34) + 0.5
    from_rim = np.clip(distance - 0.12 * rim_um, -9, None) / rim_um
    rim = rng.uniform(0.9, 2.4) * np.exp(-(from_rim**2) * 1.6) * cover
    middle = 0.16 * smooth_step((distance / radius - 0.45) / 0.4) * rng.uniform(0.3, 1)
    density = rim - middle
    line = np.exp(-(((distance - rim_um * 1.15) / (rim_um * 0.25 + 0.3)) ** 2))
    bright = -0.35 * line * cover * rng.uniform(0, 1)
    halo = 0.12 * np.exp(-(((distance + 0.7) / 0.7) ** 2)) * (1 - cover)
    density += bright + scene.focus.fringes(distance, depth, 1.0) - halo
    # Only the rim hides what lies below it.
    lay(scene, patch, np.exp(-density), blur_px, cover * (distance < rim_um), opacity=0.7)


def paint_droplet(scene: Scene, x_px: float, y_px: float) -> None:
    """A sprinkle of small clear drops."""
    rng, um = scene.rng, scene.um_per_px
    for _ in range(rng.integers(1, 9)):
        radius = rng.uniform(1.2, 7)
        outline = blob(rng, radius, 0.06)
        pose = Pose(x_px + rng.normal(0, 18) / um, y_px + rng.normal(0, 18) / um)
        paint = Paint(
            np.array((0.05, 0.08, 0.14)) * rng.uniform(0.5, 2),
            wall=rng.uniform(0.4, 1.5),
            wall_um=radius * 0.14 + 0.2,
            core=rng.uniform(0.5, 2.2),
            thick_um=radius * 2,
            opacity=0.1,
        )
        paint_solid(scene, outline, pose, paint)
