"""The polygons that style "contour" fills and strokes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.look import SporeLook

Polygon = NDArray[np.float64]  # (k, 2) in um

#: Share of outlines that follow a plain formula, exactly.
PLAIN = 0.25


def draw_outline(
    rng: np.random.Generator,
    look: SporeLook,
    angle_deg: float,
    rough: float = 1.0,
    wide: float = 1.0,
    points: int = 72,
) -> Polygon:
    """Run a spline through a few control points, then shake it a little."""
    half = 0.5 * look.length_um
    side = half * look.slenderness * wide
    tip, lean = look.tip, look.asymmetry
    # Heights of an ellipse at these places, sinking towards those of a lemon.
    x = np.array([0.95, 0.8, 0.5, 0.2])
    y = np.array([0.31 - 0.24 * tip, 0.60 - 0.30 * tip, 0.87 - 0.14 * tip, 0.98 - 0.02 * tip])
    right, left = y * (1.0 + lean * x), y * (1.0 - lean * x)
    upper = np.column_stack([np.append(x, -x[::-1]), np.append(right, left[::-1])])
    lower = np.column_stack([-upper[:, 0], -upper[::-1, 1]])
    upper, lower = np.vstack([[1.0, 0.0], upper]), np.vstack([[-1.0, 0.0], lower])
    knots = np.concatenate([upper, lower]) * (half, side)
    if rng.random() < PLAIN:
        rough *= 0.1
        shape = _plain(rng, tip, points) * (half, side)
    else:
        knots += rng.normal(0.0, 0.007 * half * rough, knots.shape)
        shape = _smooth_through(knots, points)
    shape[:, 1] += look.bend * look.length_um * ((shape[:, 0] / half) ** 2 - 0.33)
    for order in (2, 3, 4, 5):
        phase, size = rng.uniform(0, 6.3), rng.normal(0.0, 0.008 * rough) * half
        turn = np.arctan2(shape[:, 1], shape[:, 0])
        push = size * np.sin(order * turn + phase)
        shape = shape + push[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    angle = np.deg2rad(angle_deg)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return shape @ spin.T


def _plain(rng: np.random.Generator, tip: float, points: int) -> Polygon:
    """Return a power of a circle, from ellipse to lens, some with a bead on either tip."""
    turn = np.linspace(0.0, 2 * np.pi, points, endpoint=False)
    x = np.cos(turn)
    height = np.abs(np.sin(turn)) ** (1.0 + tip * rng.uniform(0.3, 1.0))
    if rng.random() < 0.3:
        bead = rng.uniform(0.08, 0.2) * np.sqrt(np.maximum(1.0 - x**2, 0.0)) ** 0.7
        height = np.maximum(height, bead)
    return np.column_stack([x, np.copysign(height, np.sin(turn))])


def _smooth_through(knots: Polygon, points: int) -> Polygon:
    """Return a closed Catmull-Rom spline through the knots."""
    count = len(knots)
    at = np.linspace(0.0, count, points, endpoint=False)
    index = at.astype(int)
    t = (at - index)[:, None]
    p0, p1 = knots[index - 1], knots[index % count]
    p2, p3 = knots[(index + 1) % count], knots[(index + 2) % count]
    return 0.5 * (
        2 * p1
        + (p2 - p0) * t
        + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2
        + (3 * p1 - p0 - 3 * p2 + p3) * t**3
    )


def area(polygon: Polygon) -> float:
    """Return the area inside a polygon (um2)."""
    if len(polygon) < 3:
        return 0.0
    x, y = polygon[:, 0], polygon[:, 1]
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0)


def clipped(polygon: Polygon, point: NDArray[np.float64], way: NDArray[np.float64]) -> Polygon:
    """Keep the part of a polygon on the far side of a line (Sutherland and Hodgman)."""
    if len(polygon) < 3:
        return polygon
    height = (polygon - point) @ way
    following, height_next = np.roll(polygon, -1, axis=0), np.roll(height, -1)
    kept: list[NDArray[np.float64]] = []
    for here, there, h0, h1 in zip(polygon, following, height, height_next):
        if h0 >= 0:
            kept.append(here)
        if (h0 >= 0) != (h1 >= 0):
            kept.append(here + (there - here) * (h0 / (h0 - h1)))
    return np.array(kept).reshape(-1, 2)


def strips(rng: np.random.Generator, look: SporeLook, outline: Polygon) -> list[Polygon]:
    """Return crescents of the edge, one to three um thick."""
    count = int(rng.integers(2, 5))
    cuts = np.sort(rng.choice(len(outline), count, replace=False))
    found = []
    for first, last in zip(cuts, np.append(cuts[1:], cuts[0] + len(outline))):
        if last - first < 9:
            continue
        way = np.arange(first + 1, last - 1) % len(outline)
        edge = outline[way]
        middle = outline.mean(axis=0)
        thick = rng.uniform(0.35, 0.6) * np.sin(np.linspace(0.25, np.pi - 0.25, len(edge))) ** 0.5
        inner = middle + (edge - middle) * (1.0 - thick[:, None])
        found.append(np.concatenate([edge, inner[::-1]]))
    return found if len(found) >= 2 else [outline]


def ragged(rng: np.random.Generator, polygon: Polygon) -> Polygon:
    """Shake the long straight edges that a cut leaves."""
    following = np.roll(polygon, -1, axis=0)
    result: list[NDArray[np.float64]] = []
    for here, there in zip(polygon, following):
        result.append(here)
        length = float(np.hypot(*(there - here)))
        if length > 2.0:
            normal = np.array([here[1] - there[1], there[0] - here[0]]) / length
            for share in np.linspace(0.0, 1.0, int(length / 0.8) + 2)[1:-1]:
                result.append(here + share * (there - here) + normal * rng.normal(0.0, 0.22))
    return np.array(result)


def dashes(rng: np.random.Generator, polygon: Polygon) -> list[Polygon]:
    """Break an outline at a few places."""
    count = len(polygon)
    starts = np.sort(rng.choice(count, int(rng.integers(1, 4)), replace=False))
    parts = []
    for first, last in zip(starts, np.append(starts[1:], starts[0] + count)):
        end = last - int(rng.integers(2, 9))
        if end - first > 3:
            parts.append(polygon[np.arange(first, end) % count])
    return parts or [polygon]


def spin(angle_deg: float) -> NDArray[np.float64]:
    """Return the matrix that turns (x, y) by an angle, clockwise on screen."""
    angle = np.deg2rad(angle_deg)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
