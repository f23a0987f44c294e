"""Painting a thing of one outline: body, wall, halo, facets and lines."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from other_hands.illustrated.geometry import TAU
from other_hands.illustrated.layers import Patch, Stroke, lay, patch_around
from other_hands.illustrated.scene import Pose, Scene
from other_hands.illustrated.texture import smooth_noise, smooth_step


@dataclass(frozen=True)
class Paint:
    """What a thing is painted with."""

    pigment: ArrayLike  # (3,) optical density of red, green, blue
    wall: float = 0.3
    wall_um: float = 0.6
    flat: float = 0.8  # 1: equally dark all over, 0: dark where thick
    thick_um: float = 8.0  # width over which the body gets thick
    texture: float = 0.15
    texture_um: float = 4.0
    core: float = 0.0  # how far the middle brightens
    opacity: float = 0.0  # towards spores below; 0: as the pigment has it
    strokes: tuple[Stroke, ...] = ()
    halo: float = 0.08
    facets: float = 0.0


def litter_fineness(um_per_px: float) -> int:
    """How many times finer than the picture litter is painted."""
    return int(np.clip(math.ceil(um_per_px / 0.3), 1, 4))


def paint_solid(
    scene: Scene,
    outline_um: np.ndarray,
    pose: Pose,
    paint: Paint,
    depth: float | None = None,
    fineness: int | None = None,
) -> None:
    """Paint a thing; its depth is drawn and its fineness is the usual one unless given."""
    um = scene.um_per_px
    if depth is None:
        depth = scene.depth_at(pose.x_px, pose.y_px)
    blur_px = scene.focus.blur_px(depth)
    outline = pose.place(outline_um, um)
    margin_px = 3 * blur_px + max(3, 4.0 / um)
    patch = patch_around([outline], margin_px, fineness or litter_fineness(um), um)
    if patch is None:
        return
    if patch.shape[0] * patch.shape[1] > 6e6:  # a large thing needs no fine grid
        patch = replace(patch, fineness=1)
    distance = patch.distance_um(patch.filled([outline]))
    cover = patch.cover(distance)
    pigment = np.asarray(paint.pigment)
    body = _body(scene.rng, paint, patch, distance, cover)
    wall = paint.wall * np.exp(-(((distance - paint.wall_um * 0.5) / paint.wall_um) ** 2)) * cover
    for points, width, strength in paint.strokes:
        wall = wall + patch.stroked(pose.place(points, um), width / um) * strength * cover
    halo = -paint.halo * np.exp(-(((distance + 0.6) / 0.6) ** 2)) * (1 - cover)
    halo = halo + scene.focus.fringes(distance, depth, 0.5)
    transmission = np.exp(
        -(
            np.clip(body, -0.3, 9)[..., None] * pigment
            # Walls are greyer than what they hold.
            + wall[..., None] * (pigment * 0.6 + 0.4 * pigment.mean() + 0.15)
            + halo[..., None]
        )
    )
    opacity = paint.opacity
    if opacity <= 0:
        opacity = float(np.clip((1 - math.exp(-pigment.mean())) * 1.25 - 0.12, 0, 1))
    lay(scene, patch, transmission, blur_px, cover, opacity)


def _body(
    rng: np.random.Generator, paint: Paint, patch: Patch, distance: np.ndarray, cover: np.ndarray
) -> np.ndarray:
    """Thickness of the thing with its texture and facets, (height, width)."""
    inwards = np.clip(distance / (paint.thick_um / 2), 0, 1)
    round_body = np.sqrt(np.clip(1 - (1 - inwards) ** 2, 0, 1))
    thickness = paint.flat + (1 - paint.flat) * round_body
    grain = smooth_noise(rng, patch.shape, max(2, paint.texture_um / patch.cell_um), 3)
    body = cover * thickness * (1 + paint.texture * grain)
    body = body * (1 - paint.core * smooth_step((inwards - 0.3) / 0.6))
    if paint.facets:
        body = body * (1 + paint.facets * _facets(rng, patch.shape) * 0.5)
    return body


def _facets(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Steps of brightness along a few straight lines, (height, width) float32."""
    rng.random()  # unused: without it all pictures that follow in the series would change
    height, width = shape
    y, x = np.mgrid[0:height, 0:width]
    steps = np.zeros(shape, np.float32)
    for _ in range(rng.integers(2, 5)):
        angle = rng.uniform(0, TAU)
        along = (x - width / 2) * math.cos(angle) + (y - height / 2) * math.sin(angle)
        step = rng.normal(0, 1)
        steps += step * (along > rng.normal(0, 0.12) * max(width, height))
    return steps
