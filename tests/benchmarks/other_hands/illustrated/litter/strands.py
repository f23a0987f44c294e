"""Long thin things: fibres, hairs, hyphae."""

from __future__ import annotations

import numpy as np

from other_hands.illustrated.geometry import TAU, points
from other_hands.illustrated.layers import Stroke
from other_hands.illustrated.litter.solid import Paint, paint_solid
from other_hands.illustrated.scene import Pose, Scene

#: Clear, brown, dyed, grey.
FIBRES = ((0.12, 0.13, 0.16), (0.8, 0.5, 0.2), (0.2, 0.7, 0.6), (0.5, 0.5, 0.5))

#: Clear and brown.
HYPHAE = ((0.1, 0.12, 0.14), (0.5, 0.6, 0.8))


def paint_fibre(scene: Scene, x_px: float, y_px: float) -> None:
    """A textile or paper fibre."""
    rng = scene.rng
    pigment = FIBRES[rng.choice(4, p=[0.5, 0.15, 0.15, 0.2])]
    width = rng.uniform(7, 20)
    way = _way(scene, x_px, y_px, rng.uniform(300, 1800), 0.07)
    end_width = width * rng.uniform(0.8, 1.1)
    paint = Paint(
        np.array(pigment) * rng.uniform(0.6, 1.3),
        wall=rng.uniform(0.5, 1.4),
        core=rng.uniform(0.2, 0.9),
        opacity=0.25,
    )
    _paint_ribbon(scene, way, (width, end_width), paint)


def paint_hair(scene: Scene, x_px: float, y_px: float) -> None:
    """A hair of the butterfly, with a fine tip."""
    rng = scene.rng
    width = rng.uniform(2.5, 7)
    way = _way(scene, x_px, y_px, rng.uniform(60, 350), 0.03)
    pigment = np.array((0.6, 0.9, 1.2)) * rng.uniform(0.5, 1.6)
    paint = Paint(pigment, wall=0.6, core=rng.uniform(0, 0.5), opacity=0.4)
    _paint_ribbon(scene, way, (width, width * 0.12), paint)


def paint_hypha(scene: Scene, x_px: float, y_px: float) -> None:
    """A mould's thread with cross walls and branches."""
    rng = scene.rng
    paint = Paint(np.array(HYPHAE)[int(rng.random() < 0.5)], wall=0.6, core=0.4, opacity=0.2)
    depth = scene.depth_at(x_px, y_px)
    width = rng.uniform(1.8, 4.2)
    way = _way(scene, x_px, y_px, rng.uniform(40, 260), 0.16)
    _paint_ribbon(scene, way, (width, width * 0.85), paint, depth, cross_walls=0.09)
    for _ in range(rng.integers(0, 4)):
        start = way[rng.integers(5, len(way) - 3)]
        branch = _way(scene, 0, 0, rng.uniform(15, 90), 0.16)
        branch = branch - branch[0] + start
        _paint_ribbon(scene, branch, (width * 0.85, width * 0.75), paint, depth, cross_walls=0.08)


def _way(scene: Scene, x_px: float, y_px: float, length_um: float, curl: float) -> np.ndarray:
    """A winding line about a place, (80, 2) in um from the picture's top-left pixel."""
    rng = scene.rng
    n = 40
    turn = rng.uniform(0, TAU) + np.cumsum(rng.normal(0, curl, n))
    turn += rng.normal(0, curl * 0.5) * np.arange(n)
    way = np.cumsum(points(np.cos(turn), np.sin(turn)) * length_um / n, 0)
    between = np.arange(n * 2) / 2
    way = np.stack([np.interp(between, np.arange(n), axis) for axis in way.T], 1)
    kernel = np.exp(-(np.linspace(-2, 2, 9) ** 2))
    kernel /= kernel.sum()
    padded = [np.pad(axis, 4, mode="reflect", reflect_type="odd") for axis in way.T]
    way = np.stack([np.convolve(axis, kernel, "valid") for axis in padded], 1)
    return way - way.mean(0) + [x_px * scene.um_per_px, y_px * scene.um_per_px]


def _paint_ribbon(
    scene: Scene,
    way_um: np.ndarray,
    widths_um: tuple[float, float],
    paint: Paint,
    depth: float | None = None,
    cross_walls: float = 0.0,
) -> None:
    """Paint a ribbon with two dark edges along a line.

    `paint` gives its pigment, wall, core and opacity; `cross_walls` is the share of the line's
    points that carry a wall across.
    """
    rng, n = scene.rng, len(way_um)
    along = np.gradient(way_um, axis=0)
    across = points(-along[:, 1], along[:, 0])
    across /= np.hypot(across[:, 0], across[:, 1])[:, None] + 1e-9
    half = np.interp(np.linspace(0, 1, n), [0, 1], widths_um)[:, None] / 2
    half = half * (1 + 0.012 * rng.normal(0, 1, (n, 1)))
    outline = np.concatenate([way_um + across * half, (way_um - across * half)[::-1]])
    middle = way_um.mean(0)
    walls = []
    if cross_walls:
        for i in range(2, n - 2):
            if rng.random() < cross_walls:
                reach = across[i] * half[i]
                ends = np.stack([way_um[i] - reach, way_um[i] + reach])
                walls.append(Stroke(ends - middle, 0.4, 0.8))
    width = widths_um[0]
    ribbon = Paint(
        paint.pigment,
        wall=paint.wall,
        wall_um=max(0.35, min(width * 0.12, 1.6)),
        thick_um=width,
        texture=0.12,
        texture_um=6.0,
        core=paint.core,
        opacity=paint.opacity,
        strokes=tuple(walls),
    )
    pose = Pose(middle[0] / scene.um_per_px, middle[1] / scene.um_per_px)
    paint_solid(scene, outline - middle, pose, ribbon, depth, fineness=2)
