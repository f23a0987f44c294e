"""The edge of an eyepiece's field: a bright disc on black, found to a part of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.errors import ScaleError

#: Long side of the small picture on which the disc is first found, px.
COARSE_PX = 400
#: Rays along which the edge is then measured.
RAYS = 720
#: Neighbouring rays see the same dirt on the rim; errors are taken as alike in a sector.
SECTORS = 36
#: What half-height misplaces an edge by at least, px (measured on drawn photos).
EDGE_ERROR_PX = 0.05
#: Reach of the rays at least, px, so that they begin and end beyond a soft rim.
SOFT_RIM_PX = 10.0
#: Least part of the circle that must be seen in the photo, degrees.
LEAST_ARC_DEG = 75.0
#: The surround must be darker than this share of the light inside the rim.
DARK_SHARE = 0.55


@dataclass(frozen=True)
class Circle:
    """A circle in photo pixels.

    Attributes
    ----------
    x, y : float
        Centre; the centre of the top-left pixel is (0, 0). May lie off the photo.
    radius_px : float
        Radius.
    standard_error_px : float
        Standard error of the radius.
    """

    x: float
    y: float
    radius_px: float
    standard_error_px: float

    @property
    def diameter_px(self) -> float:
        """Diameter, px."""
        return 2 * self.radius_px


def find_eyepiece_circle(pixels: NDArray[np.uint8]) -> Circle:
    """Find the round bright field that a camera sees through an eyepiece.

    The disc may lie off-centre and be cut by the frame, as long as 75 degrees of
    its edge are seen. The edge is where the light falls to half.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        RGB.

    Returns
    -------
    Circle
        Least-squares circle through the edge, far-off points left out.

    Raises
    ------
    ScaleError
        If there is no bright disc on a dark ground.
    """
    coarse = _coarse_circle(pixels)
    if coarse is None:
        raise _no_circle("there is no round bright field on a dark ground in it")
    x, y, radius = coarse
    soft_px = 0.0
    for share in (0.06, 0.02):
        reach_px = max(share * radius, SOFT_RIM_PX, min(2.5 * soft_px, 0.2 * radius))
        edge, soft_px = _edge_along_rays(pixels, x, y, radius, reach_px)
        if _arc_deg(edge, x, y) < LEAST_ARC_DEG:
            raise _no_circle("too little of the edge of a round bright field is seen")
        x, y, radius, weight = _fit(edge, x, y, radius)
    residual = np.hypot(edge[:, 0] - x, edge[:, 1] - y) - radius
    scatter = float(np.median(np.abs(residual)))
    if scatter > max(0.008 * radius, 1.5):
        raise _no_circle("the edge of the bright field is not round")
    return Circle(x, y, radius, _radius_error(edge, x, y, residual, weight))


def _no_circle(wrong: str) -> ScaleError:
    return ScaleError(
        "the photo", wrong, "photograph the whole round field of the eyepiece, in focus, centred"
    )


def _coarse_circle(pixels: NDArray[np.uint8]) -> tuple[float, float, float] | None:
    """Find the disc on a small copy; return centre and radius in photo pixels, or None."""
    height, width = pixels.shape[:2]
    zoom = max(1.0, max(height, width) / COARSE_PX)
    size = (max(8, round(width / zoom)), max(8, round(height / zoom)))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).max(axis=2)
    small = cv2.medianBlur(np.ascontiguousarray(small), 5).astype(np.uint8, copy=False)
    _, bright = cv2.threshold(small, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    contours, _ = cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    points = max(contours, key=cv2.contourArea).reshape(-1, 2).astype(np.float64)
    inner = (points > 1.5).all(axis=1) & (points < np.array(size) - 2.5).all(axis=1)
    points = points[inner]
    circle = _vote(points, max(size))
    if circle is None or not _is_disc(small, bright > 0, circle):
        return None
    x, y, radius = circle
    scale_x, scale_y = width / size[0], height / size[1]
    return (x + 0.5) * scale_x - 0.5, (y + 0.5) * scale_y - 0.5, radius * (scale_x + scale_y) / 2


def _vote(points: NDArray[np.float64], long_side: int) -> tuple[float, float, float] | None:
    """Return the circle through three of the points that most of the points lie on."""
    if len(points) < 30:
        return None
    rng = np.random.default_rng(0)  # the same photo gives the same circle
    a, b, c = points[rng.integers(0, len(points), (3, 600))]
    ab, ac = b - a, c - a
    cross = 2 * (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0])
    keep = np.abs(cross) > 20.0
    a, ab, ac, cross = a[keep], ab[keep], ac[keep], cross[keep]
    ab2, ac2 = (ab**2).sum(axis=1), (ac**2).sum(axis=1)
    ux = (ac[:, 1] * ab2 - ab[:, 1] * ac2) / cross
    uy = (ab[:, 0] * ac2 - ac[:, 0] * ab2) / cross
    radius = np.hypot(ux, uy)
    keep = (radius > 0.12 * long_side) & (radius < 2.0 * long_side)
    if not keep.any():
        return None
    x, y, radius = (a[:, 0] + ux)[keep], (a[:, 1] + uy)[keep], radius[keep]
    distance = np.hypot(points[:, 0] - x[:, None], points[:, 1] - y[:, None])
    close = np.abs(distance - radius[:, None]) < np.maximum(0.012 * radius, 1.2)[:, None]
    best = int(close.sum(axis=1).argmax())
    if close[best].mean() < 0.4:
        return None
    return float(x[best]), float(y[best]), float(radius[best])


def _is_disc(
    small: NDArray[np.uint8], bright: NDArray[np.bool_], circle: tuple[float, float, float]
) -> bool:
    """Say whether it is bright inside a circle and dark outside."""
    x, y, radius = circle
    rows, columns = np.indices(small.shape)
    distance = np.hypot(columns - x, rows - y) / radius
    inside, outside = distance < 0.97, distance > 1.04
    if inside.sum() < 100 or outside.sum() < 0.01 * small.size:
        return False
    light = float(np.median(small[inside]))
    dark = float(np.percentile(small[outside], 75))
    return (
        bool(bright[inside].mean() > 0.6)
        and bool(bright[outside].mean() < 0.15)
        and dark < DARK_SHARE * light
    )


def _edge_along_rays(
    pixels: NDArray[np.uint8], x: float, y: float, radius: float, reach_px: float
) -> tuple[NDArray[np.float64], float]:
    """Find where the light along rays falls to half; return points (n, 2) and softness, px."""
    angle = np.arange(RAYS) * (2 * math.pi / RAYS)
    steps = np.linspace(-reach_px, reach_px, int(min(max(4 * reach_px, 41), 401)))
    along = radius + steps
    columns = x + np.cos(angle)[:, None] * along
    rows = y + np.sin(angle)[:, None] * along
    light = _sampled(pixels, columns, rows)
    height, width = pixels.shape[:2]
    seen = (columns >= 0) & (columns <= width - 1) & (rows >= 0) & (rows <= height - 1)
    whole = seen[:, steps <= 0.4 * reach_px].all(axis=1)
    if not whole.any():
        return np.empty((0, 2)), 0.0
    inner, outer = steps < -0.6 * reach_px, steps > 0.6 * reach_px
    beyond = light[whole][:, outer][seen[whole][:, outer]]
    outside = float(np.median(beyond)) if len(beyond) else float(light[whole].min())
    inside = np.median(light[:, inner], axis=1) * _at_rim(light[whole][:, inner], steps[inner])
    fall = inside - outside
    usable = whole & (fall > 0.5 * np.median(fall[whole])) & (outside < 0.7 * inside)
    level = ((inside + outside) / 2)[:, None]
    falling = (light[:, :-1] >= level) & (light[:, 1:] < level)
    usable &= falling.sum(axis=1) == 1  # dirt on the rim makes several
    at = falling.argmax(axis=1)
    ray = np.arange(RAYS)
    before, after = light[ray, at], light[ray, at + 1]
    share = (before - level[:, 0]) / np.maximum(before - after, 1e-9)
    distance = along[at] + share * (steps[1] - steps[0])
    points = np.stack([x + np.cos(angle) * distance, y + np.sin(angle) * distance], axis=1)
    return points[usable], _softness(light[usable], steps, distance[usable] - radius)


def _at_rim(inner_light: NDArray[np.float64], steps: NDArray[np.float64]) -> float:
    """Return the light at the rim over that further in: fields grow darker outwards."""
    profile = np.median(inner_light, axis=0)
    _, level = np.polyfit(steps, profile, 1)
    return float(np.clip(level / max(float(np.median(profile)), 1e-9), 0.7, 1.1))


def _softness(
    light: NDArray[np.float64], steps: NDArray[np.float64], edge: NDArray[np.float64]
) -> float:
    """Return the width, px, over which the light falls from nine to one tenth."""
    if not len(light):
        return 0.0
    shift = np.rint(edge / (steps[1] - steps[0])).astype(int)
    columns = np.clip(np.arange(len(steps)) + shift[:, None], 0, len(steps) - 1)
    profile = np.median(np.take_along_axis(light, columns, axis=1), axis=0)
    low, high = np.percentile(profile, [5, 95])
    between = (profile > low + 0.1 * (high - low)) & (profile < low + 0.9 * (high - low))
    return float(between.sum() * (steps[1] - steps[0]))


def _sampled(
    pixels: NDArray[np.uint8], columns: NDArray[np.float64], rows: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Sample the brightest channel between pixels, linearly; outside, the nearest pixel."""
    height, width = pixels.shape[:2]
    columns = np.clip(columns, 0, width - 1)
    rows = np.clip(rows, 0, height - 1)
    left = np.minimum(columns.astype(np.int64), max(width - 2, 0))
    top = np.minimum(rows.astype(np.int64), max(height - 2, 0))
    fx, fy = columns - left, rows - top
    right, bottom = np.minimum(left + 1, width - 1), np.minimum(top + 1, height - 1)

    def corner(r: NDArray[np.int64], c: NDArray[np.int64]) -> NDArray[np.float64]:
        return pixels[r, c].max(axis=-1).astype(np.float64)

    upper = corner(top, left) * (1 - fx) + corner(top, right) * fx
    lower = corner(bottom, left) * (1 - fx) + corner(bottom, right) * fx
    return upper * (1 - fy) + lower * fy


def _arc_deg(edge: NDArray[np.float64], x: float, y: float) -> float:
    """Return how much of the circle the edge points cover, in degrees."""
    if len(edge) < 20:
        return 0.0
    angle = np.degrees(np.arctan2(edge[:, 1] - y, edge[:, 0] - x)) % 360
    return 5.0 * len(np.unique((angle // 5).astype(int)))


def _fit(
    edge: NDArray[np.float64], x: float, y: float, radius: float
) -> tuple[float, float, float, NDArray[np.float64]]:
    """Fit a circle by least squares of the distances, far-off points down to no weight."""
    weight = np.ones(len(edge))
    for _ in range(20):
        dx, dy = edge[:, 0] - x, edge[:, 1] - y
        distance = np.maximum(np.hypot(dx, dy), 1e-9)
        residual = distance - radius
        spread = 1.4826 * float(np.median(np.abs(residual - np.median(residual)))) + 0.02
        scaled = (residual - np.median(residual)) / (4.685 * spread)  # Tukey's biweight
        weight = np.where(np.abs(scaled) < 1, (1 - scaled**2) ** 2, 0.0)
        slope = np.stack([dx / distance, dy / distance, np.ones(len(edge))], axis=1)
        root = np.sqrt(weight)[:, None]
        step = np.linalg.lstsq(slope * root, residual * root[:, 0], rcond=None)[0]
        x, y, radius = x + float(step[0]), y + float(step[1]), radius + float(step[2])
        if np.abs(step).max() < 1e-4:
            break
    return x, y, radius, weight


def _radius_error(
    edge: NDArray[np.float64],
    x: float,
    y: float,
    residual: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> float:
    """Return the standard error of the radius, errors being alike within a sector."""
    dx, dy = edge[:, 0] - x, edge[:, 1] - y
    distance = np.maximum(np.hypot(dx, dy), 1e-9)
    slope = np.stack([dx / distance, dy / distance, np.ones(len(edge))], axis=1)
    sector = (np.arctan2(dy, dx) / (2 * math.pi) * SECTORS).astype(int) % SECTORS
    score = np.zeros((SECTORS, 3))
    np.add.at(score, sector, slope * (weight * residual)[:, None])
    used = len(np.unique(sector))
    inverse = np.linalg.pinv((slope * weight[:, None]).T @ slope)
    covariance = inverse @ (score.T @ score) @ inverse * used / max(used - 3, 1)
    return math.sqrt(max(float(covariance[2, 2]), 0.0) + EDGE_ERROR_PX**2)
