"""Where spores lie: by themselves, in small groups and in heavy clumps that touch and overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import log_uniform, pick
from other_hands.layered.spores.shape import Spore, draw_spore_shape

#: x, y and radius in micrometres.
Circle = tuple[float, float, float]

#: Spores from which on a photograph has large clumps, and from which on a clump is large.
MANY_SPORES, LARGE_CLUMP = 100, 20

#: Places tried for a group, and places tried beside others for each further spore.
GROUP_ATTEMPTS, SPORE_ATTEMPTS = 60, 24

#: What it costs to lie deeper in others than allowed: more than any other place does.
TOO_DEEP = 8


@dataclass(frozen=True)
class Placed:
    """A spore, its centre, and how many its group was to have."""

    spore: Spore
    x_um: float
    y_um: float
    group: int


@dataclass(frozen=True)
class Habit:
    """How the spores of a group lie."""

    overlapping: float  # share that may lie over others
    heavy: bool
    angle_rad: float  # of the long axis of the group
    stretch: float


def is_clear(taken: Sequence[Circle], x_um: float, y_um: float, radius_um: float) -> bool:
    """Tell whether a circle touches none of those that are taken."""
    return all(np.hypot(x_um - x, y_um - y) >= radius_um + radius for x, y, radius in taken)


def place_spores(canvas: Canvas, number: int, clumpiness: float) -> list[Placed]:
    """Draw spores and places for them, about so many of them, a share of groups being clumps."""
    placed: list[Placed] = []
    taken = np.zeros((0, 3))
    for size in _group_sizes(canvas.rng, number, clumpiness):
        group, circles = _place_group(canvas, size, taken)
        placed += group
        taken = np.vstack([taken, circles])
    return placed


def _group_sizes(rng: np.random.Generator, number: int, clumpiness: float) -> list[int]:
    """Draw how many spores each group has, in all as many as asked for."""
    sizes = []
    left = number
    while left > 0:
        if rng.random() < clumpiness:
            clump = log_uniform(rng, 8, 90) if number >= MANY_SPORES else log_uniform(rng, 3, 14)
            size = int(min(left, clump))
        else:
            size = int(min(left, pick(rng, [1, 2, 3, 4], [0.62, 0.2, 0.12, 0.06])))
        sizes.append(size)
        left -= size
    return sizes


def _place_group(canvas: Canvas, size: int, taken: np.ndarray) -> tuple[list[Placed], np.ndarray]:
    """Place a group off all circles (n, 3) that are taken; give it and its own circles."""
    rng = canvas.rng
    habit = _draw_habit(rng, size)
    for _ in range(GROUP_ATTEMPTS):
        x_um, y_um = canvas.anywhere()
        spore = draw_spore_shape(rng, canvas.look.spores)
        circles = _circles(x_um, y_um, spore)
        if canvas.in_picture(x_um, y_um) and _depth_um(circles, taken) < -1.5:
            break
    if not canvas.in_picture(x_um, y_um):
        return [], np.zeros((0, 3))
    group = [Placed(spore, x_um, y_um, size)]
    for _ in range(size - 1):
        spore = draw_spore_shape(rng, canvas.look.spores)
        place = _place_beside(canvas, spore, habit, group, circles)
        if place is None:
            continue
        group.append(Placed(spore, *place, size))
        circles = np.vstack([circles, _circles(*place, spore)])
    return group, circles


def _draw_habit(rng: np.random.Generator, size: int) -> Habit:
    """Draw how the spores of a group lie; many large ones lie heaped."""
    overlapping = rng.uniform(0.05, 0.85)
    heavy = size > LARGE_CLUMP and rng.random() < 0.6
    overlapping = rng.uniform(0.5, 1) if heavy else overlapping
    return Habit(overlapping, heavy, rng.uniform(0, np.pi), rng.uniform(1, 2.2))


def _place_beside(
    canvas: Canvas, spore: Spore, habit: Habit, group: Sequence[Placed], circles: np.ndarray
) -> tuple[float, float] | None:
    """Find the place beside others of a group that overlaps as it should; None if out of field."""
    rng, first = canvas.rng, group[0]
    if rng.random() < habit.overlapping:
        allowed_um = rng.uniform(0.3, 4.6 if habit.heavy else 3.2)
    else:
        allowed_um = 0.25
    together = 0.07 if habit.heavy else 0.02
    best, place = np.inf, None
    for _ in range(SPORE_ATTEMPTS):
        other = group[int(rng.integers(len(group)) if rng.random() < 0.7 else 0)]
        x_um, y_um = _draw_beside(canvas, habit, other)
        if not canvas.in_picture(x_um, y_um):
            continue
        deep_um = _depth_um(_circles(x_um, y_um, spore), circles)
        cost = (
            abs(deep_um - allowed_um * rng.uniform(0.3, 1))
            + (TOO_DEEP if deep_um > allowed_um + 0.2 else 0)
            + together * np.hypot(x_um - first.x_um, y_um - first.y_um)
        )
        if cost < best:
            best, place = cost, (x_um, y_um)
    return place


def _draw_beside(canvas: Canvas, habit: Habit, other: Placed) -> tuple[float, float]:
    """Draw a point about a spore's length from another, further along the group's axis."""
    rng = canvas.rng
    angle = rng.uniform(0, 2 * np.pi)
    away_um = rng.uniform(0.55, 1.25) * canvas.look.spores.length_um
    along_um = np.cos(angle) * away_um * habit.stretch
    across_um = np.sin(angle) * away_um / habit.stretch**0.5
    c, s = np.cos(habit.angle_rad), np.sin(habit.angle_rad)
    x_um = other.x_um + along_um * c - across_um * s
    y_um = other.y_um + along_um * s + across_um * c
    return x_um, y_um


def _circles(x_um: float, y_um: float, spore: Spore) -> np.ndarray:
    """Give the three circles (3, 3) that stand for a spore when places are sought."""
    c, s = np.cos(spore.angle_rad), np.sin(spore.angle_rad)
    off_um, tip_um = spore.length_um * 0.26, spore.width_um * 0.40
    return np.array(
        [
            (x_um - off_um * c, y_um - off_um * s, tip_um),
            (x_um, y_um, spore.width_um * 0.5),
            (x_um + off_um * c, y_um + off_um * s, tip_um),
        ]
    )


def _depth_um(circles: np.ndarray, others: np.ndarray) -> float:
    """Give how deep circles lie in others at most; less than zero if they are apart."""
    if len(others) == 0:
        return -9.0
    apart_um = np.hypot(
        circles[:, None, 0] - others[None, :, 0], circles[:, None, 1] - others[None, :, 1]
    )
    return float((circles[:, None, 2] + others[None, :, 2] - apart_um).max())
