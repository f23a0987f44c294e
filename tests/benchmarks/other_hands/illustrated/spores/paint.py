"""Painting one spore, or one fragment: body, wall, drops, halo and the light on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from other_hands.illustrated.geometry import extents
from other_hands.illustrated.layers import Patch, Stroke, lay, patch_around
from other_hands.illustrated.look import tinted
from other_hands.illustrated.scene import PaintedSpore, Pose, Scene
from other_hands.illustrated.texture import smooth_noise, smooth_step


@dataclass(frozen=True)
class SporeFigure:
    """What is to be painted; one object may have several outlines."""

    outlines_um: list[np.ndarray]
    width_um: float  # over which the body gets thick
    density: float  # 1: as the photo's spores are
    state: str = "intact"
    damage: str = ""
    wall: float = 1.0
    body: float = 1.0  # share of the contents that is left
    creases: tuple[Stroke, ...] = ()
    pigment: np.ndarray | None = None  # None: drawn for this spore


@dataclass(frozen=True)
class _Ground:
    """The fine patch of a spore: distance from its outline and cover, (height, width)."""

    patch: Patch
    distance_um: np.ndarray
    cover: np.ndarray
    inwards: np.ndarray  # 0 at the outline, 1 along the middle line


def paint_spore(scene: Scene, figure: SporeFigure, pose: Pose, depth: float) -> None:
    """Paint a spore on the picture and note it; does nothing where it is outside the picture."""
    um = scene.um_per_px
    outlines = [pose.place(outline, um) for outline in figure.outlines_um]
    blur_px = scene.focus.blur_px(depth)
    # Fine enough for the wall, whatever the picture's scale.
    fineness = int(np.clip(math.ceil(um / 0.16), 2, 8))
    patch = patch_around(outlines, 3.0 * blur_px + max(3, 4.5 / um), fineness, um)
    if patch is None:
        return
    distance = patch.distance_um(patch.filled(outlines))
    inwards = np.clip(distance / (figure.width_um * 0.5), 0, 1)
    ground = _Ground(patch, distance, patch.cover(distance), inwards)
    transmission = _transmission(scene, figure, pose, depth, ground)
    # What is far out of focus, or emptied, lets others shine through.
    opacity = (1.0 if blur_px * um < 1.6 else 0.55) * np.clip(figure.body * 2.5, 0.2, 1)
    laid = lay(scene, patch, transmission, blur_px, ground.cover, float(opacity))
    if laid is None:
        return
    measured = extents(outlines)
    scene.spores.append(
        PaintedSpore(
            x_px=measured.x,
            y_px=measured.y,
            length_um=measured.length * um,
            width_um=measured.width * um,
            angle_deg=measured.angle_deg,
            state=figure.state,
            damage=figure.damage,
            blur_px=blur_px,
            box=laid.box,
            transmission=laid.transmission,
            cover=laid.cover,
            area_px=float(ground.cover.sum() / fineness**2),
            uncovered=np.ones_like(laid.cover),
        )
    )


def _transmission(
    scene: Scene, figure: SporeFigure, pose: Pose, depth: float, ground: _Ground
) -> np.ndarray:
    """Share of light that passes the spore, (height, width, 3) float32."""
    rng, look = scene.rng, scene.look
    patch, distance, cover = ground.patch, ground.distance_um, ground.cover
    texture = _grain(scene, patch)
    pigment = tinted(rng, look.pigment, look.hue_sd) if figure.pigment is None else figure.pigment
    density = figure.density * look.density
    wall = _wall(scene, figure, ground)
    if look.drops and scene.um_per_px < 0.6 and figure.body > 0.5:
        texture = _with_drops(scene, figure, pose, patch, texture)

    round_body = np.sqrt(np.clip(1 - (1 - ground.inwards) ** 2, 0, 1))
    thickness = look.flat + (1 - look.flat) * round_body
    core = look.core * (1.0 if depth > -0.1 else -0.35) * smooth_step((ground.inwards - 0.35) / 0.6)
    if figure.body < 0.6:  # an emptied spore is no lens
        core = core * 0.3
    inside = density * cover * figure.body * thickness * texture
    inside = inside * (1 - 0.55 * np.clip(core, -0.6, 1.3))
    lines = wall * max(density, 0.45) * 0.8
    for points, width, strength in figure.creases:
        line = patch.stroked(pose.place(points, scene.um_per_px), width / scene.um_per_px)
        lines = lines + line * strength * cover * max(density, 0.5)
    if scene.closed_condenser:
        rim = 0.5 * np.exp(-(((distance - 0.3) / 0.9) ** 2)) * figure.wall
        inside = inside + rim - 0.25 * smooth_step((ground.inwards - 0.5) / 0.4) * figure.body
    around = _around(scene, figure, depth, ground)
    passed = np.exp(
        -(
            inside[..., None] * pigment
            + lines[..., None] * (pigment * 0.8 + 0.22)  # the wall is greyer than the inside
            + around[..., None]
        )
    ).astype(np.float32)
    if scene.on_card and rng.random() < 0.7 and figure.body > 0.5:
        passed += _glint(scene, figure, pose, patch)
    return passed


def _grain(scene: Scene, patch: Patch) -> np.ndarray:
    rng, cell_um = scene.rng, patch.cell_um
    fine = scene.look.grain * smooth_noise(rng, patch.shape, max(2, 1.3 / cell_um), 2)
    return 1 + fine + 0.10 * smooth_noise(rng, patch.shape, max(2, 5 / cell_um))


def _wall(scene: Scene, figure: SporeFigure, ground: _Ground) -> np.ndarray:
    rng, look = scene.rng, scene.look
    wall_um = look.wall_um * rng.uniform(0.85, 1.15)
    line = np.exp(-(((ground.distance_um - wall_um * 0.6) / wall_um) ** 2))
    uneven = smooth_noise(rng, ground.patch.shape, max(2, 4 / ground.patch.cell_um))
    return line * ground.cover * look.wall * figure.wall * (1 + 0.25 * uneven)


def _with_drops(
    scene: Scene, figure: SporeFigure, pose: Pose, patch: Patch, texture: np.ndarray
) -> np.ndarray:
    """Add pale drops and a dark grain or two."""
    rng, width = scene.rng, figure.width_um
    y, x = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]]
    for _ in range(rng.integers(1, 4)):
        middle = [[rng.uniform(-0.28, 0.28) * width * 1.5, rng.uniform(-0.25, 0.25) * width]]
        drop_x, drop_y = patch.cells(pose.place(np.array(middle), scene.um_per_px)[0])
        radius = rng.uniform(0.08, 0.2) * width / patch.cell_um
        strength = rng.choice([0.6, 0.45, -0.35]) * scene.look.drops
        texture = texture - strength * smooth_step(1.5 - np.hypot(x - drop_x, y - drop_y) / radius)
    return texture


def _around(scene: Scene, figure: SporeFigure, depth: float, ground: _Ground) -> np.ndarray:
    """The bright line just outside the outline, and fringes."""
    line = -scene.look.halo * np.exp(-(((ground.distance_um + 0.55) / 0.55) ** 2))
    halo = line * (1 - ground.cover) * (0.4 + 0.6 * min(figure.wall, 1))
    strength = 0.55 * min(1, figure.wall * max(figure.body, 0.5))
    return halo + scene.focus.fringes(ground.distance_um, depth, strength)


def _glint(scene: Scene, figure: SporeFigure, pose: Pose, patch: Patch) -> np.ndarray:
    """A tiny reflex of the lamp, on the side that the light comes from."""
    light = scene.lamp.direction_rad
    towards = np.array([-math.cos(light), -math.sin(light)])
    offset = towards * figure.width_um * 0.16 / scene.um_per_px
    glint_x, glint_y = patch.cells(np.array([pose.x_px, pose.y_px]) + offset)
    y, x = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]]
    spread = figure.width_um * 0.09 / patch.cell_um
    distance2 = (x - glint_x) ** 2 + (y - glint_y) ** 2
    bright = scene.rng.uniform(0.05, 0.3) * np.exp(-distance2 / (2 * spread**2))
    return bright[..., None].astype(np.float32)
