"""Litter in a finished tile that nobody could tell from a spore: left out of teaching.

Blur, noise and the camera turn many an angular bit into a smooth oval, so this is decided
on the picture, not where litter is drawn. Only a smooth oval of the very hue and depth of
the tile's own spores is spared, or an amber one where there are none: whatever else is
spared is never learned to be litter.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.inputs import SEARCH_UM_PER_PX
from sporecount.train.objects import FRAGMENT, LENGTH, STATE, WEIGHT, WIDTH, X, Y

#: Length and width over length of what may pass for a spore, blur included, um.
LENGTH_UM, SLENDERNESS = (8.0, 18.5), (0.5, 0.82)

#: Area over the enclosing box's: an ellipse has 0.79, a box blurred a little 0.9.
MOST_OF_BOX = 0.84

#: Area over the convex hull's, and area of the ellipse of the same moments over the area.
SOLIDITY, MOST_ELLIPSE = 0.93, 1.016

#: Optical densities at which outlines are taken.
LEVELS = (0.03, 0.05, 0.08, 0.12, 0.18, 0.26, 0.37, 0.52)

#: An outline is the object's own from this part of its peak.
LEAST_LEVEL = 0.22

#: Outlines are taken on a picture enlarged so many times.
_FOLD = 2

#: Each colour's part of the density may differ so much from that of the tile's own spores,
#: and the density itself by this factor.
HUE_MARGIN, TONE_FACTOR = 0.05, 1.7

#: Parts of red at most and of blue at least, in the density of what is amber.
AMBER_RED, AMBER_BLUE = 0.29, 0.4

#: An outline round a true object's centre, or this near to it, is that object's, um.
TRUE_WITHIN_UM = 5.0

#: Noise, optical density, up to which the picture is not smoothed any further.
_QUIET = 0.01


def undecided_rows(
    density: NDArray[np.float32], rows: NDArray[np.float32], noise: float
) -> NDArray[np.float32]:
    """Return rows of weight 0 for what looks like a spore and is none.

    Parameters
    ----------
    density : ndarray, shape (rows, columns, 3), float32
        The tile at the working scale.
    rows : ndarray, shape (n, 8), float32
        Its true objects.
    noise : float
        Pixel noise of the picture at the working scale, optical density.

    Returns
    -------
    ndarray, shape (k, 8), float32
    """
    sigma = 0.6 if noise < _QUIET else min(0.6 + 25.0 * (noise - _QUIET), 1.6)
    smooth = np.asarray(cv2.GaussianBlur(density, (0, 0), sigma), np.float32)
    fine = cv2.resize(smooth, None, fx=_FOLD, fy=_FOLD, interpolation=cv2.INTER_LINEAR)
    tone = cv2.transform(fine, np.full((1, 3), 1 / 3, np.float32)).reshape(fine.shape[:2])
    colours = _spore_colours(density, rows)
    found: list[tuple[float, ...]] = []
    for level in LEVELS:
        mask = (tone > level).astype(np.uint8)
        for contour in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]:
            shape = _spore_shape(np.asarray(contour, np.int32))
            if shape is None or _is_true(contour, shape, rows):
                continue
            if any(np.hypot(shape[0] - x, shape[1] - y) < 3.0 for x, y, *_ in found):
                continue
            if _spore_hue(_mean_colour(fine, contour), colours) and _one_body(tone, level, contour):
                found.append(shape)
    out = np.zeros((len(found), 8), np.float32)
    for row, (x, y, length_um, width_um) in zip(out, found):
        row[[X, Y, LENGTH, WIDTH, STATE]] = x, y, length_um, width_um, 0.0
    return out


def _spore_shape(contour: NDArray[np.int32]) -> tuple[float, float, float, float] | None:
    """Return x, y (working px), length and width (um) of a spore-like outline, else None."""
    step_um = SEARCH_UM_PER_PX / _FOLD
    _, _, wide, high = cv2.boundingRect(contour)
    if not LENGTH_UM[0] <= np.hypot(wide, high) * step_um <= 1.5 * LENGTH_UM[1]:
        return None
    moments = cv2.moments(contour)
    area = moments["m00"]
    if area <= 0:
        return None
    spread = moments["mu20"] * moments["mu02"] - moments["mu11"] ** 2
    if 4.0 * np.pi * np.sqrt(max(spread, 0.0)) / area**2 > MOST_ELLIPSE:
        return None
    axis = 0.5 * np.arctan2(2.0 * moments["mu11"], moments["mu20"] - moments["mu02"])
    points = contour.reshape(-1, 2)
    # Contours run through pixel centres: half a pixel is missing all round.
    long_um = (np.ptp(points @ (np.cos(axis), np.sin(axis))) + 1.0) * step_um
    short_um = (np.ptp(points @ (-np.sin(axis), np.cos(axis))) + 1.0) * step_um
    if not LENGTH_UM[0] <= long_um <= LENGTH_UM[1]:
        return None
    if not SLENDERNESS[0] <= short_um / long_um <= SLENDERNESS[1]:
        return None
    area += 0.5 * len(contour)
    if area * step_um**2 > MOST_OF_BOX * long_um * short_um:
        return None
    hull = cv2.contourArea(cv2.convexHull(contour))
    if area < SOLIDITY * (hull + 0.5 * len(contour)):
        return None
    x, y = moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]
    return (x + 0.5) / _FOLD - 0.5, (y + 0.5) / _FOLD - 0.5, float(long_um), float(short_um)


def _one_body(tone: NDArray[np.float32], level: float, contour: NDArray[np.int32]) -> bool:
    """Return whether an outline bounds one body, filled or hollow, as smooth at half its peak."""
    left, top, wide, high = cv2.boundingRect(contour)
    whole = np.zeros((high, wide), np.uint8)
    cv2.fillPoly(whole, [contour - np.array([left, top], np.int32)], 1)
    inside = tone[top : top + high, left : left + wide] * whole
    peak = float(np.partition(inside, -4, axis=None)[-4])
    if level < LEAST_LEVEL * peak:
        return False
    core = (inside > max(0.5 * peak, level)).astype(np.uint8)
    parts = cv2.findContours(core, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[-2]
    largest = max(parts, key=cv2.contourArea, default=None)
    return largest is not None and _spore_shape(np.asarray(largest, np.int32)) is not None


def _is_true(
    contour: NDArray[np.int32], shape: tuple[float, ...], rows: NDArray[np.float32]
) -> bool:
    """Return whether an outline is that of a true object."""
    away_um = np.hypot(rows[:, X] - shape[0], rows[:, Y] - shape[1]) * SEARCH_UM_PER_PX
    if (away_um < TRUE_WITHIN_UM).any():
        return True
    close = rows[away_um < LENGTH_UM[1]][:, [X, Y]]
    return any(
        cv2.pointPolygonTest(contour, (float(x), float(y)), False) >= 0
        for x, y in (close + 0.5) * _FOLD - 0.5
    )


def _mean_colour(fine: NDArray[np.float32], contour: NDArray[np.int32]) -> NDArray[np.float64]:
    """Return the mean density of each colour inside an outline, shape (3,)."""
    left, top, wide, high = cv2.boundingRect(contour)
    mask = np.zeros((high, wide), np.uint8)
    cv2.fillPoly(mask, [contour - np.array([left, top], np.int32)], 1)
    return np.array(cv2.mean(fine[top : top + high, left : left + wide], mask)[:3])


def _spore_colours(density: NDArray[np.float32], rows: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the density of each colour about the middle of each spore, shape (k, 3)."""
    spores = rows[(rows[:, STATE] < FRAGMENT) & (rows[:, WEIGHT] > 0.5)]
    mean = cv2.blur(density, (5, 5))
    at = np.rint(spores[:, [Y, X]]).astype(int)
    inside = ((at >= 0) & (at < density.shape[:2])).all(axis=1)
    return mean[tuple(at[inside].T)].astype(np.float64).reshape(-1, 3)


def _spore_hue(colour: NDArray[np.float64], spores: NDArray[np.float64]) -> bool:
    """Return whether a colour is that of a tile's spores, or amber where there are none."""
    total = colour.sum()
    if not total > 0:
        return False
    parts = colour / total
    if not len(spores):
        return bool(parts[0] <= AMBER_RED and parts[2] >= AMBER_BLUE)
    totals = np.maximum(spores.sum(axis=1), 1e-3)
    hue = (np.abs(parts - spores / totals[:, None]) <= HUE_MARGIN).all(axis=1)
    tone = np.abs(np.log(total / totals)) <= np.log(TONE_FACTOR)
    return bool((hue & tone).any())
