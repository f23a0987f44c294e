"""Says whether a patch holds something nobody could tell from a spore.

Litter that happens to come out so is drawn again: it would be false truth.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Image

#: Extents of a part that may pass for a spore, um, a little wider than real spores.
LENGTH_UM = (7.5, 18.5)
#: Width over length that may pass.
SLENDERNESS = (0.47, 0.83)
#: Least area over the convex hull's area.
SOLIDITY = 0.89
#: Area over the enclosing box's: an ellipse has 0.79, a lemon 0.65-0.75, a box 1.
BOX_SHARE = (0.55, 0.89)
#: Area of the ellipse of the same moments over the area: spores have at most 1.02 (measured
#: on drawn ones), a half disc 1.06, a box or lozenge 1.05, a triangle 1.2.
MOST_ELLIPSE = 1.026
#: Least fall of tone over 2 um across a definite edge, part of the strongest tone.
EDGE_FALL = 0.3
#: Parts of the strongest tone at which outlines are taken.
LEVELS = (0.2, 0.35, 0.5, 0.65)
#: Side of the largest patch that can hold a lone lookalike, um.
LARGEST_PATCH_UM = 90.0
#: Depth within the outline from which on marks count, um.
RIM_UM = 2.0
#: Fewer pixels than these within that depth say nothing.
LEAST_MIDDLE_PX = 12
#: Span of tone left in a middle without marks, part of the rim's tone.
PLAIN_SPAN = 0.15


def looks_like_spore(density: Image, um_per_px: float) -> bool:
    """Return whether any part of a small patch has a spore's size, shape and outline.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density.
    um_per_px : float
        Scale of the patch.
    """
    if max(density.shape[:2]) * um_per_px > LARGEST_PATCH_UM:
        return False
    third = np.full((1, 3), 1 / 3, np.float32)
    tone = cv2.transform(np.abs(density), third).reshape(density.shape[:2])
    fold = int(np.clip(np.ceil(um_per_px / 0.5), 1, 3))
    if fold > 1:
        tone = cv2.resize(tone, None, fx=fold, fy=fold, interpolation=cv2.INTER_LINEAR)
    step_um = um_per_px / fold
    return any(
        _spore_outline(contour, step_um) and _definite(contour, tone, step_um, um_per_px)
        for contour in _outlines(tone)
    )


def looks_like_plain_spore(density: Image, um_per_px: float) -> bool:
    """Return whether a part with a spore's outline also has a middle without marks.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        Optical density.
    um_per_px : float
        Scale of the patch.
    """
    if max(density.shape[:2]) * um_per_px > LARGEST_PATCH_UM:
        return False
    tone = np.ascontiguousarray(density.mean(axis=2))
    return any(
        _spore_outline(contour, um_per_px) and _featureless(contour, tone, um_per_px)
        for contour in _outlines(np.abs(tone))
    )


def _outlines(tone: Image) -> Iterator[NDArray[np.int32]]:
    """Yield the outer outlines of a patch's parts at each of `LEVELS`."""
    top = float(tone.max())
    for level in LEVELS:
        mask = (tone > level * top).astype(np.uint8)
        for found in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
            yield np.asarray(found, np.int32)


def _featureless(contour: NDArray[np.int32], tone: Image, um_per_px: float) -> bool:
    whole = cv2.drawContours(np.zeros(tone.shape, np.uint8), [contour], -1, 1, cv2.FILLED)
    depth_um = cv2.distanceTransform(whole, cv2.DIST_L2, 5) * np.float32(um_per_px)
    deep = depth_um > RIM_UM
    if np.count_nonzero(deep) < LEAST_MIDDLE_PX:
        return False
    rim = float(np.percentile(np.abs(tone[(whole > 0) & ~deep]), 90))
    # A smooth swell of light is no mark: spores with the condenser closed have that too.
    y, x = (at - at.mean() for at in np.nonzero(deep))
    swell = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    values = tone[deep].astype(np.float64)
    left = values - swell @ np.linalg.lstsq(swell, values, rcond=None)[0]
    return bool(np.ptp(np.percentile(left, (3, 97))) < PLAIN_SPAN * rim)


def _definite(contour: NDArray[np.int32], tone: Image, step_um: float, um_per_px: float) -> bool:
    slope_x = cv2.Sobel(tone, cv2.CV_32F, 1, 0, scale=0.125)
    slope_y = cv2.Sobel(tone, cv2.CV_32F, 0, 1, scale=0.125)
    x, y = contour.reshape(-1, 2).T
    per_um = np.hypot(slope_x[y, x], slope_y[y, x]).mean() / step_um
    return bool(per_um * (2.0 + um_per_px) > EDGE_FALL * float(tone.max()))


def _spore_outline(contour: NDArray[np.int32], step_um: float) -> bool:
    # Few pixels, or a box no spore fits into: the cheap answers first.
    _, _, width, height = cv2.boundingRect(contour)
    reach_um = np.hypot(width, height) * step_um
    if len(contour) < 8 or reach_um < LENGTH_UM[0] or max(width, height) * step_um > LENGTH_UM[1]:
        return False
    moments = cv2.moments(contour)
    if moments["m00"] <= 0 or _ellipse_ratio(moments) > MOST_ELLIPSE:
        return False
    # Along the axis, not the least box: that of a pointed lemon lies askew.
    axis = 0.5 * np.arctan2(2.0 * moments["mu11"], moments["mu20"] - moments["mu02"])
    points = contour.reshape(-1, 2)
    # Contours run through pixel centres: half a pixel is missing all round.
    long_um = (np.ptp(points @ (np.cos(axis), np.sin(axis))) + 1.0) * step_um
    short_um = (np.ptp(points @ (-np.sin(axis), np.cos(axis))) + 1.0) * step_um
    if not (LENGTH_UM[0] <= long_um <= LENGTH_UM[1]):
        return False
    if not (SLENDERNESS[0] <= short_um / long_um <= SLENDERNESS[1]):
        return False
    edge_um = len(contour) * step_um
    area = moments["m00"] * step_um**2 + 0.5 * edge_um * step_um
    hull = cv2.convexHull(contour)
    hull_area = cv2.contourArea(hull) * step_um**2
    hull_area += 0.5 * cv2.arcLength(hull, True) * step_um**2
    share = area / (long_um * short_um)
    return bool(area / hull_area >= SOLIDITY and BOX_SHARE[0] <= share <= BOX_SHARE[1])


def _ellipse_ratio(moments: dict[str, float]) -> float:
    """Return the area of the ellipse with an outline's second moments over its area."""
    spread = moments["mu20"] * moments["mu02"] - moments["mu11"] ** 2
    return float(4.0 * np.pi * np.sqrt(max(spread, 0.0)) / moments["m00"] ** 2)
