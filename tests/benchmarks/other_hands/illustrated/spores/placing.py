"""Where spores lie: single, in groups, in clumps that touch and overlap."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX, Crowd
from other_hands.illustrated.geometry import TAU, points, rotated
from other_hands.illustrated.outlines import lemon
from other_hands.illustrated.scene import Pose, Scene
from other_hands.illustrated.spores.damage import DAMAGES, damaged_figure
from other_hands.illustrated.spores.fragments import break_spore
from other_hands.illustrated.spores.paint import SporeFigure, paint_spore

#: Places that are tried before a picture counts as full.
MOST_PLACES = 400


def place_spores(scene: Scene, count: int, crowd: Crowd) -> None:
    """Paint `count` spores or fragments, or as many as find room."""
    rng = scene.rng
    damage_shares = rng.dirichlet([2, 2, 2, 2])
    done = 0
    for _ in range(MOST_PLACES):
        if done >= count:
            break
        x, y = scene.anywhere(4)
        if rng.random() < crowd.broken:
            done += break_spore(scene, x, y, count - done + 2)
        else:
            done += _paint_group(scene, x, y, count - done, crowd, damage_shares)


def _paint_group(
    scene: Scene, x_px: float, y_px: float, most: int, crowd: Crowd, damage_shares: np.ndarray
) -> int:
    """Paint a group from its middle outwards; return how many spores found room."""
    rng, um = scene.rng, scene.um_per_px
    more = rng.poisson(max(0, crowd.group - 1))
    size = min(1 + more * (1 if crowd.group > 6 else rng.integers(0, 2)), most)
    aligned_rad = rng.uniform(0, TAU)
    aligned = rng.random() < 0.3
    group_depth = scene.depth_at(x_px, y_px)
    middle_um = np.array([x_px * um, y_px * um])
    reach_um, painted = 0.0, 0
    for i in range(size):
        size_um = scene.look.size_um(rng)
        angle = aligned_rad + rng.normal(0, 0.35) if aligned else rng.uniform(0, TAU)
        direction = rng.uniform(0, TAU)
        overlap = _overlap(rng, crowd, first=i == 0)
        start_um = 0.0 if rng.random() < 0.5 else max(0, reach_um * rng.uniform(0, 1))
        tries = 1 if i == 0 else 60
        found = _free_place(
            scene, middle_um, _ellipse(size_um, angle), direction, start_um, overlap, tries
        )
        if found is None:
            continue
        x, y, distance_um = found
        reach_um = max(reach_um, distance_um * 0.8)
        damaged = rng.random() < crowd.damaged
        depth = group_depth * 0.7 + 0.3 * scene.depth_at(x, y) if i else group_depth
        damage = DAMAGES[rng.choice(4, p=damage_shares)] if damaged else ""
        _paint_one(scene, Pose(x, y, angle), damage, size_um, depth)
        painted += 1
    return painted


def _overlap(rng: np.random.Generator, crowd: Crowd, *, first: bool) -> float:
    """Share of a spore that may lie on others; now and then much more than usual."""
    usual = rng.random() > 0.07
    overlap = crowd.overlap * rng.uniform(0, 1) if usual else min(0.7, crowd.overlap * 2.5)
    return 0.0 if first and crowd.overlap < 0.3 else overlap


def _ellipse(size_um: tuple[float, float], angle_rad: float) -> np.ndarray:
    """The room that a spore takes, in um about its middle."""
    around = np.linspace(0, TAU, 24)
    length, width = size_um
    return rotated(points(np.cos(around) * length / 2, np.sin(around) * width / 2), angle_rad)


def _free_place(
    scene: Scene,
    middle_um: np.ndarray,
    outline_um: np.ndarray,
    direction_rad: float,
    start_um: float,
    overlap: float,
    tries: int,
) -> tuple[float, float, float] | None:
    """Go outwards until a spore finds room; x and y in px, and the distance in um."""
    distance = start_um
    for _ in range(tries):
        step = [math.cos(direction_rad) * distance, math.sin(direction_rad) * distance * 0.85]
        centre_um = middle_um + np.array(step)
        x, y = centre_um / scene.um_per_px
        inside = 0 <= x <= WIDTH_PX - 1 and 0 <= y <= HEIGHT_PX - 1
        if not inside or not scene.in_field(x, y):
            return None
        if scene.floor.claim(outline_um + centre_um, overlap):
            return x, y, distance
        distance += 0.6
    return None


def _paint_one(
    scene: Scene, pose: Pose, damage: str, size_um: tuple[float, float], depth: float
) -> None:
    """Paint a whole or damaged spore."""
    rng, look = scene.rng, scene.look
    density = look.own_density(rng)
    outline = lemon(rng, *size_um, look)
    if not damage:
        paint_spore(scene, SporeFigure([outline], size_um[1], density), pose, depth)
        return
    figure = damaged_figure(rng, damage, outline, size_um, density, scene.um_per_px)
    if figure is not None:
        paint_spore(scene, figure, pose, depth * 0.5)  # what nobody could read is no use
