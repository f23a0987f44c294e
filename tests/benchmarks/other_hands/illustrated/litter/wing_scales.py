"""Wing scales: plates with a stalk, a toothed end and fine lengthwise ridges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from other_hands.illustrated.geometry import TAU, centroid, points, rounded, split
from other_hands.illustrated.layers import Coat, Patch, lay, patch_around
from other_hands.illustrated.scene import Pose, Scene
from other_hands.illustrated.texture import smooth_noise, smooth_step

#: Optical densities of red, green, blue.
PIGMENTS = {
    "orange": (0.08, 0.38, 1.0),
    "brown": (0.55, 0.8, 1.05),
    "black": (1.5, 1.65, 1.75),
    "grey": (0.5, 0.5, 0.48),
    "clear": (0.1, 0.11, 0.13),
}


@dataclass(frozen=True)
class _Plate:
    """A scale with its length along y, from the stalk to the teeth, in um."""

    length_um: float
    width_um: float
    outline_um: np.ndarray
    along: np.ndarray  # (n,) places from the stalk (below 0) to the end (1)
    half_um: np.ndarray  # (n,) half the width there
    middle_um: np.ndarray  # (n,) x of the middle line there


@dataclass(frozen=True)
class _Surface:
    """What is seen on a scale, on its fine patch, (height, width)."""

    body: np.ndarray
    ridges: np.ndarray


def paint_wing_scale(scene: Scene, x_px: float, y_px: float, shares: np.ndarray) -> None:
    """Paint a scale; `shares` (5,) says how often each colour is drawn, as in PIGMENTS."""
    rng, um = scene.rng, scene.um_per_px
    length = float(np.exp(rng.uniform(np.log(60), np.log(240))))
    width = float(np.clip(length * rng.uniform(0.25, 0.6), 28, 80))
    angle = rng.uniform(0, TAU)
    kind = rng.choice(list(PIGMENTS), p=shares)
    pigment = np.array(PIGMENTS[kind]) * np.exp(rng.normal(0, 0.25))
    pigment = pigment * np.exp(rng.normal(0, 0.08, 3))
    pigment = pigment * (rng.uniform(0.5, 1) if kind != "black" else 1)
    plate = _draw_plate(rng, length, width)
    outline = _torn(rng, plate) if rng.random() < 0.4 else plate.outline_um
    depth = scene.depth_at(x_px, y_px) * 1.1
    blur_px = scene.focus.blur_px(depth)
    centre = centroid(outline)
    pose = Pose(x_px, y_px, angle)
    placed = [pose.place(outline - centre, um)]
    patch = patch_around(placed, 3 * blur_px + 3 + 4 / um, 2 if um > 0.25 else 1, um)
    if patch is None:
        return
    mask = patch.filled(placed)
    if mask.sum() < 20:
        return
    distance = patch.distance_um(mask)
    cover = patch.cover(distance)
    surface = _surface(scene, plate, patch, pose, centre, cover, clear=kind == "clear")
    wall = rng.uniform(0.12, 0.4) * np.exp(-(((distance - 0.4) / 0.6) ** 2)) * cover
    if scene.on_card:
        coat = _lit_from_above(
            rng, pigment, patch, surface, cover * (0.3 if kind == "clear" else 0.9)
        )
        lay(scene, patch, np.ones((*patch.shape, 3)), blur_px, cover, coat=coat)
        return
    halo = -0.08 * np.exp(-(((distance + 0.6) / 0.6) ** 2)) * (1 - cover)
    halo = halo + scene.focus.fringes(distance, depth, 0.5)
    density = (
        surface.body[..., None] * pigment
        + wall[..., None] * (0.4 + pigment * 0.6)
        + halo[..., None]
    )
    opacity = float(np.clip((1 - math.exp(-pigment.mean())) * 1.25 - 0.15, 0, 1))
    lay(scene, patch, np.exp(-density), blur_px, cover, opacity)


def _draw_plate(rng: np.random.Generator, length: float, width: float) -> _Plate:
    rng.random()  # unused: without it all pictures that follow in the series would change
    along = np.linspace(0, 1, 40)
    shoulder = rng.uniform(0.05, 0.3)
    belly = 0.72 + 0.28 * np.sin(along * math.pi * rng.uniform(0.55, 0.95) + 0.25)
    half = width / 2 * smooth_step(along / shoulder) * belly
    stalk = rng.uniform(2.0, 4.0) / 2
    half = np.maximum(half, stalk)
    along = np.concatenate([[-rng.uniform(5, 14) / length], along])
    half = np.concatenate([[stalk * 0.6], half])
    middle = rng.normal(0, 0.06) * length * (along * (1 - along) * 4)
    y = (along - 0.5) * length
    teeth = _teeth(rng, length, half[-1]) + [middle[-1], y[-1]]
    right, left = points(middle + half, y), points(middle - half, y)
    outline = rounded(np.concatenate([right, teeth, left[::-1]]))
    return _Plate(length, width, outline, along, half, middle)


def _teeth(rng: np.random.Generator, length: float, half_um: float) -> np.ndarray:
    """Tips and notches of a scale's end from right to left, (n, 2) about its middle."""
    count = rng.integers(1, 7)
    height = (rng.uniform(0.04, 0.16) if count > 1 else rng.uniform(0.02, 0.1)) * length
    teeth = []
    for i, across in enumerate(np.linspace(1, -1, count * 2 + 1)[1:-1]):
        if i % 2 == 0:
            reach = height * rng.uniform(0.6, 1.2) * (1 - 0.4 * across * across)
        else:
            reach = rng.uniform(0, 0.25) * height
        teeth.append([half_um * across, reach])
    return np.array(teeth)


def _torn(rng: np.random.Generator, plate: _Plate) -> np.ndarray:
    """One of the parts of a scale that was torn across."""
    through = np.array([0, rng.uniform(-0.3, 0.3) * plate.length_um])
    parts = split(rng, plate.outline_um, through, math.pi / 2 + rng.normal(0, 0.5), 2.5)
    return plate.outline_um if parts is None else parts[int(rng.random() < 0.5)]


def _surface(
    scene: Scene,
    plate: _Plate,
    patch: Patch,
    pose: Pose,
    centre_um: np.ndarray,
    cover: np.ndarray,
    *,
    clear: bool,
) -> _Surface:
    """Ridges, cross ribs, blotches and worn streaks."""
    rng, um, cell_um, shape = scene.rng, scene.um_per_px, patch.cell_um, patch.shape
    x, y = _own_places(patch, pose, centre_um)
    along = y / plate.length_um + 0.5
    half = _profile(along, plate.along, plate.half_um)
    across = (x - _profile(along, plate.along, plate.middle_um)) / np.maximum(half, 2)
    pitch_um = rng.uniform(1.5, 2.6)
    resolved = np.clip((pitch_um / um - 1.6) / 4, 0.0, 1.0)  # finer than that nobody sees them
    waver = 0.5 * smooth_noise(rng, shape, max(4, 30 / cell_um))
    ridges = np.cos(across * (plate.width_um / pitch_um) * math.pi + waver)
    ridges = ridges * resolved * np.clip(half / (plate.width_um * 0.25), 0, 1)
    rib_phase = TAU * y / rng.uniform(0.9, 1.6)
    ribs = np.cos(rib_phase + 3 * smooth_noise(rng, shape, max(3, 6 / cell_um)))
    ribs = ribs * np.clip((1.1 / um - 2) / 5, 0, 1) * 0.35 * (ridges < 0.2)
    relief = rng.uniform(0.6, 1.6) if clear else rng.uniform(0.15, 0.55)
    blotches = rng.uniform(0.02, 0.12) * smooth_noise(rng, shape, max(4, 25 / cell_um), 3)
    darker_outwards = rng.uniform(0, 0.3) * (along - 0.5)
    grain = 0.03 * smooth_noise(rng, shape, max(2, 0.8 / cell_um))
    body = cover * (1 + blotches + darker_outwards + grain)
    body = body * np.clip(1 + relief * (ridges + ribs), 0.1, 4)
    body *= _streaks(rng, plate.width_um, across, along)
    if rng.random() < 0.12:  # worn bare
        worn = smooth_noise(rng, shape, max(4, 14 / cell_um), 2) - 1.0
        body *= 1 - 0.75 * smooth_step(worn)
    return _Surface(body, ridges)


def _own_places(patch: Patch, pose: Pose, centre_um: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """x and y of each fine cell on the scale before it was turned and moved, in um."""
    y, x = np.mgrid[0 : patch.shape[0], 0 : patch.shape[1]].astype(np.float32)
    x = ((x + 0.5) / patch.fineness - 0.5 + patch.left - pose.x_px) * patch.um_per_px
    y = ((y + 0.5) / patch.fineness - 0.5 + patch.top - pose.y_px) * patch.um_per_px
    cos, sin = math.cos(-pose.angle_rad), math.sin(-pose.angle_rad)
    return x * cos - y * sin + centre_um[0], x * sin + y * cos + centre_um[1]


def _profile(along: np.ndarray, at: np.ndarray, values: np.ndarray) -> np.ndarray:
    return np.interp(along.ravel(), at, values).reshape(along.shape).astype(np.float32)


def _streaks(
    rng: np.random.Generator, width_um: float, across: np.ndarray, along: np.ndarray
) -> np.ndarray:
    """Lighter and darker streaks along the scale, as a factor about 1."""
    columns = int(width_um * 1.2)
    coarse = rng.standard_normal((7, columns)).astype(np.float32)
    noise = cv2.resize(coarse, (columns * 2, 28), interpolation=cv2.INTER_CUBIC)
    column = ((across * 0.5 + 0.5) * (noise.shape[1] - 1)).astype(np.float32)
    row = (np.clip(along, 0, 1) * 27).astype(np.float32)
    streaks = cv2.remap(noise, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.clip(1 + rng.uniform(0.04, 0.2) * streaks, 0.2, 3)


def _lit_from_above(
    rng: np.random.Generator,
    pigment: np.ndarray,
    patch: Patch,
    surface: _Surface,
    alpha: np.ndarray,
) -> Coat:
    """On a card a scale shows its own colour and hides the card."""
    colour = np.exp(-pigment * 0.55) * 0.72
    sheen = 1 + 0.14 * surface.ridges
    sheen = sheen + 0.035 * smooth_noise(rng, patch.shape, max(4, 20 / patch.cell_um))
    return Coat((colour * sheen[..., None]).astype(np.float32), alpha)
