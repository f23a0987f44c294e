"""Polygons: turning, cutting and measuring. Points are (n, 2) arrays of x and y."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

TAU = 2 * math.pi


class Extents(NamedTuple):
    """Middle, lengths of the two axes and direction of the longer one, in the points' unit."""

    x: float
    y: float
    length: float
    width: float
    angle_deg: float


def points(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """(n, 2) points from their x and y, (n,)."""
    return np.stack([x, y], 1)


def rotated(outline: np.ndarray, angle_rad: float) -> np.ndarray:
    """Turn points about the origin, from +x towards +y."""
    cos, sin = math.cos(angle_rad), math.sin(angle_rad)
    outline = np.asarray(outline, float)
    x, y = outline[:, 0], outline[:, 1]
    return points(x * cos - y * sin, x * sin + y * cos)


def area(outline: np.ndarray) -> float:
    """Area of a polygon."""
    x, y = outline[:, 0], outline[:, 1]
    return 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))


def centroid(outline: np.ndarray) -> np.ndarray:
    """Centre of a polygon's area, (2,)."""
    x, y = outline[:, 0], outline[:, 1]
    next_x, next_y = np.roll(x, -1), np.roll(y, -1)
    cross = x * next_y - next_x * y
    signed = cross.sum() / 2
    if abs(signed) < 1e-6:
        return outline.mean(0)
    return np.array(
        [((x + next_x) * cross).sum() / (6 * signed), ((y + next_y) * cross).sum() / (6 * signed)]
    )


def rounded(outline: np.ndarray) -> np.ndarray:
    """Cut each corner at a quarter of its sides, which doubles the points."""
    after = np.roll(outline, -1, 0)
    return np.stack([0.75 * outline + 0.25 * after, 0.25 * outline + 0.75 * after], 1).reshape(
        -1, 2
    )


def jagged(
    rng: np.random.Generator, start: np.ndarray, end: np.ndarray, n: int = 6, spread: float = 0.4
) -> np.ndarray:
    """Points between two ends, thrown off the straight line by `spread`; (n - 2, 2)."""
    along = np.linspace(0, 1, n)[1:-1, None]
    way = end - start
    across = np.array([-way[1], way[0]]) / (np.hypot(*way) + 1e-9)
    return start + (end - start) * along + across * rng.normal(0, spread, (n - 2, 1))


def split(
    rng: np.random.Generator,
    outline: np.ndarray,
    through: np.ndarray,
    normal_rad: float,
    spread: float = 0.35,
) -> tuple[np.ndarray, np.ndarray] | None:
    """Cut a nearly convex polygon along a jagged line.

    Parameters
    ----------
    through, normal_rad
        A point of the cut, and the direction at right angles to it.
    spread
        How far the cut strays from the straight line.

    Returns
    -------
    tuple or None
        The two parts; None where the line doesn't cross the outline exactly twice.
    """
    normal = np.array([math.cos(normal_rad), math.sin(normal_rad)])
    side = (outline - through) @ normal
    crossings = []
    for i in range(len(outline)):
        j = (i + 1) % len(outline)
        if (side[i] >= 0) != (side[j] >= 0):
            crossing = outline[i] + (outline[j] - outline[i]) * side[i] / (side[i] - side[j])
            crossings.append((i, crossing))
    if len(crossings) != 2:
        return None
    (first, a), (second, b) = crossings
    near = outline[first + 1 : second + 1]
    far = np.concatenate([outline[second + 1 :], outline[: first + 1]])
    cut = jagged(rng, a, b, max(4, int(np.hypot(*(b - a)) / 1.3) + 2), spread)
    return np.concatenate([[a], near, [b], cut[::-1]]), np.concatenate([[b], far, [a], cut])


def _moments(outlines: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Centre (2,) and second central moments (2, 2) of the polygons' area, exactly."""
    total, first, second = 0.0, np.zeros(2), np.zeros((2, 2))
    for outline in outlines:  # a fan of triangles
        origin = outline[0]
        u, v = outline[1:-1] - origin, outline[2:] - origin
        weight = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
        middle = origin + (u + v) / 3
        weight = weight * (1.0 if weight.sum() >= 0 else -1.0)
        total += weight.sum()
        first += (weight[:, None] * middle).sum(0)
        # The middles of a triangle's sides give its second moments exactly.
        for q in (origin + u / 2, origin + v / 2, origin + (u + v) / 2):
            second += np.einsum("i,ij,ik->jk", weight / 3, q, q)
    first /= total
    return first, second / total - np.outer(first, first)


def extents(outlines: list[np.ndarray]) -> Extents:
    """Measure polygons as one object.

    The axes come from the area's second moments; length, width and middle are those of the
    rectangle along them that just holds the outline. Angle from +x towards +y, in [0, 180).
    """
    centre, moments = _moments(outlines)
    _, axes = np.linalg.eigh(moments)
    long, short = axes[:, 1], axes[:, 0]
    offsets = np.concatenate(outlines) - centre
    s, t = offsets @ long, offsets @ short
    length, width = np.ptp(s), np.ptp(t)
    middle = centre + long * (s.max() + s.min()) / 2 + short * (t.max() + t.min()) / 2
    if length < width:
        length, width, long = width, length, short
    angle = math.degrees(math.atan2(long[1], long[0])) % 180
    return Extents(middle[0], middle[1], length, width, angle)
