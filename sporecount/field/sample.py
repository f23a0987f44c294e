"""Which part of a picture is sample: the round eyepiece field, black corners, deep shade."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.levels import level_percentile

#: Darker than this share of the bright part is surround, not sample; a camera that lifts
#: the shadows leaves it grey, so a second, higher limit is tried.
_SURROUND_SHARES = (0.16, 0.32)
#: The surround of a round field is black nearly everywhere.
_SURROUND_BLACK = 0.90
#: Share of the rim's points that must lie on one circle.
_RIM_AGREEMENT = 0.45
#: Circles through three rim points that are tried.
_TRIALS = 150
#: The rim ends where this share of the light inside arrives, and a little further in.
_RISEN, _RIM_MARGIN_PX = 0.8, 1.5


@dataclass(frozen=True, eq=False)
class Sample:
    """The part of a coarse picture that is sample.

    Attributes
    ----------
    mask : ndarray, shape (rows, columns), bool
        True on the sample.
    circle : tuple of float or None
        (x, y, radius) in pixels of the coarse picture where the sample is a round
        field; already inset from the soft rim.
    """

    mask: NDArray[np.bool_]
    circle: tuple[float, float, float] | None


def find_sample(picture: NDArray[np.uint8], fine: NDArray[np.uint8]) -> Sample:
    """Part the sample from the black around it.

    Parameters
    ----------
    picture : ndarray, shape (rows, columns, 3), uint8
        The photo, a few um per pixel.
    fine : ndarray, shape (about factor * rows, about factor * columns, 3), uint8
        The same photo a whole factor finer, on which the rim's softness is measured.

    Returns
    -------
    Sample
    """
    red, green, blue = cv2.split(picture)
    top = np.asarray(cv2.max(cv2.max(red, green), blue), np.uint8)
    bright = np.asarray(cv2.GaussianBlur(top, (0, 0), 0.7), np.uint8).reshape(picture.shape[:2])
    everything = np.ones(bright.shape, bool)
    level = level_percentile(bright, 95)
    if level < 8:
        return Sample(everything, None)
    circle = None
    for share in _SURROUND_SHARES:
        if circle is None and _share(bright < share * level) > 0.004:
            circle = _round_field(bright, share * level)
    if circle is not None:
        circle = _inset(circle, fine, -(-fine.shape[1] // picture.shape[1]))
    if circle is not None:
        return Sample(disc(bright.shape, circle), circle)
    return Sample(~_black_corners(bright, level), None)


def disc(shape: tuple[int, ...], circle: tuple[float, float, float]) -> NDArray[np.bool_]:
    """Return the pixels whose centre lies inside a circle (x, y, radius)."""
    away = np.abs(np.arange(shape[1]) - circle[0])
    # Half the chord in each row, below zero where a row misses the disc.
    square = circle[2] ** 2 - (np.arange(shape[0]) - circle[1]) ** 2
    half = np.where(square >= 0, np.sqrt(np.maximum(square, 0)), -1.0)
    return np.asarray(away[None] <= half[:, None])


def _round_field(bright: NDArray[np.uint8], limit: float) -> tuple[float, float, float] | None:
    """Find the circle of an eyepiece's field."""
    points = _rim_points(bright < limit)
    if len(points) < 24:
        return None
    circle, agreement = _fit_circle(points, bright.shape)
    if circle is None or agreement < _RIM_AGREEMENT:
        return None
    inside = disc(bright.shape, circle)
    outside = ~disc(bright.shape, (circle[0], circle[1], circle[2] * 1.02))
    if _share(outside) < 0.004 or _share(inside) < 0.02:
        return None
    black = np.count_nonzero(outside & (bright < 1.3 * limit))
    return circle if black >= _SURROUND_BLACK * np.count_nonzero(outside) else None


def _share(mask: NDArray[np.bool_]) -> float:
    return np.count_nonzero(mask) / mask.size


def _rim_points(dark: NDArray[np.bool_]) -> NDArray[np.float64]:
    """First and last bright pixel of each row and column, where dark lies outside it."""
    light = ~dark
    found = []
    for turned in (False, True):
        lines = light.T if turned else light
        kept = np.flatnonzero(lines.any(axis=1))
        length = lines.shape[1]
        first = lines[kept].argmax(axis=1)
        last = length - 1 - lines[kept][:, ::-1].argmax(axis=1)
        for place, at_edge in ((first - 0.5, first <= 1), (last + 0.5, last >= length - 2)):
            along, across = place[~at_edge], kept[~at_edge]
            found.append(np.stack([across, along] if turned else [along, across], axis=1))
    return np.concatenate(found).astype(np.float64)


def _fit_circle(
    points: NDArray[np.float64], shape: tuple[int, ...]
) -> tuple[tuple[float, float, float] | None, float]:
    """Find the circle most rim points agree on, by trying triples, then least squares."""
    side = float(max(shape))
    rng = np.random.default_rng(0)  # the same picture always gives the same circle
    subset = points[rng.permutation(len(points))[:1500]]
    tolerance = max(0.006 * side, 1.5)
    trials = _circles_through(subset[rng.integers(0, len(subset), (_TRIALS, 3))])
    trials = trials[(0.12 * side < trials[:, 2]) & (trials[:, 2] < 1.5 * side)]
    agreeing = _agreeing(subset, trials, tolerance)
    if not agreeing.any():
        return None, 0.0
    x, y, radius = trials[int(np.argmax(agreeing))].tolist()
    best = x, y, radius
    for _ in range(3):
        off = np.abs(np.hypot(points[:, 0] - best[0], points[:, 1] - best[1]) - best[2])
        refined = _least_squares_circle(points[off < tolerance])
        best = refined if refined is not None else best
    off = np.abs(np.hypot(points[:, 0] - best[0], points[:, 1] - best[1]) - best[2])
    return best, float((off < tolerance).mean())


def _agreeing(
    points: NDArray[np.float64], circles: NDArray[np.float64], tolerance: float
) -> NDArray[np.intp]:
    """Count the points that lie on each of many circles (x, y, radius), to a tolerance."""
    x, y = points.T
    x0, y0, radius = circles.T
    # Squared distance less radius^2 + tolerance^2, for all pairs in one product.
    terms = np.stack([-2 * x0, -2 * y0, np.ones_like(x0), x0**2 + y0**2 - radius**2 - tolerance**2])
    off = np.stack([x, y, x**2 + y**2, np.ones_like(x)], axis=1) @ terms
    return np.asarray(np.count_nonzero(np.abs(off) < 2 * radius * tolerance, axis=0))


def _circles_through(triples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the circles (x, y, radius) through triples of points, (k, 3, 2), none on a line."""
    first = triples[:, 0]
    (ax, ay), (bx, by) = ((triples[:, i] - first).T for i in (1, 2))
    twice = 2 * (ax * by - ay * bx)
    kept = np.abs(twice) > 1e-6
    ax, ay, bx, by, twice = (v[kept] for v in (ax, ay, bx, by, twice))
    a, b = ax**2 + ay**2, bx**2 + by**2
    x, y = (by * a - ay * b) / twice, (ax * b - bx * a) / twice
    return np.column_stack([first[kept] + np.column_stack([x, y]), np.hypot(x, y)])


def _least_squares_circle(points: NDArray[np.float64]) -> tuple[float, float, float] | None:
    """Algebraic circle through points; None where they lie on a line."""
    if len(points) < 3:
        return None
    centre = points.mean(axis=0)
    moved = points - centre
    matrix = np.column_stack([2 * moved, np.ones(len(moved))])
    solution, _, rank, _ = np.linalg.lstsq(matrix, (moved**2).sum(axis=1), rcond=1e-9)
    square = solution[2] + solution[0] ** 2 + solution[1] ** 2
    if rank < 3 or square <= 0:
        return None
    return float(solution[0] + centre[0]), float(solution[1] + centre[1]), float(np.sqrt(square))


def _inset(
    circle: tuple[float, float, float], fine: NDArray[np.uint8], factor: int
) -> tuple[float, float, float]:
    """Draw the circle in to where the light has risen to its plateau."""
    x0, y0 = ((c + 0.5) * factor - 0.5 for c in circle[:2])
    radius = circle[2] * factor
    reach = np.arange(-1.0 * factor, max(0.10 * radius, 12.0), 0.5)
    angles = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    xs = (x0 + np.outer(radius - reach, np.cos(angles))).astype(np.float32)
    ys = (y0 + np.outer(radius - reach, np.sin(angles))).astype(np.float32)
    within = (xs >= 0) & (ys >= 0) & (xs < fine.shape[1] - 1) & (ys < fine.shape[0] - 1)
    kept = within.all(axis=0)
    if kept.sum() < 20:
        return circle[0], circle[1], 0.97 * circle[2]
    red, green, blue = cv2.split(cv2.remap(fine, xs[:, kept], ys[:, kept], cv2.INTER_LINEAR))
    values = cv2.max(cv2.max(red, green), blue)
    # A high percentile over the angles: scales lying across the rim must not widen it.
    profile = _upper_quartiles(np.asarray(values, np.uint8))
    plateau = profile[len(profile) // 2 :].max()
    risen = np.flatnonzero(profile >= _RISEN * plateau)
    inset = float(reach[risen[0]] if len(risen) else reach[-1]) + _RIM_MARGIN_PX
    return circle[0], circle[1], (radius - inset) / factor


def _upper_quartiles(values: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the 75th percentile of each row: of 16-bit numbers numpy is quick to sort all."""
    ordered = np.sort(values.astype(np.uint16), axis=1)
    rank = 0.75 * (values.shape[1] - 1)
    below, above = (
        ordered[:, side].astype(np.float64) for side in (math.floor(rank), math.ceil(rank))
    )
    return below + (rank - math.floor(rank)) * (above - below)


def _black_corners(bright: NDArray[np.uint8], level: float) -> NDArray[np.bool_]:
    """Black areas that reach a corner of the picture and are large."""
    black = (bright < 0.08 * level).astype(np.uint8)
    if not black[[0, 0, -1, -1], [0, -1, 0, -1]].any():
        return np.zeros(bright.shape, bool)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(black, connectivity=4)
    corners = {int(labels[y, x]) for y in (0, -1) for x in (0, -1)} - {0}
    large = [c for c in corners if black[labels == c].all()]
    large = [c for c in large if stats[c, cv2.CC_STAT_AREA] > 0.02 * black.size]
    mask = np.isin(labels, large)
    return cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
