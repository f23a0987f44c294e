"""A picture turned so that its ruling runs along x, and the way back."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Turned:
    """A turned picture: lines stand upright, the ruling runs along x.

    Attributes
    ----------
    gray : ndarray, shape (height, width), float32
        Brightness, lines darker than the ground.
    usable : ndarray, shape (height, width), bool
        Where the photo has a lit pixel.
    matrix : ndarray, shape (2, 3)
        Takes photo positions to turned positions.
    angle_deg : float
        Angle of the ruling's axis in the photo, from +x towards +y.
    """

    gray: NDArray[np.float32]
    usable: NDArray[np.bool_]
    matrix: NDArray[np.float64]
    angle_deg: float

    def to_photo(self, positions: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return turned positions (n, 2) as positions in the photo."""
        return (np.asarray(positions) - self.matrix[:, 2]) @ self.matrix[:, :2]


def turn(gray: NDArray[np.float32], lit: NDArray[np.bool_], angle_deg: float) -> Turned:
    """Turn a picture about its middle so that ``angle_deg`` becomes +x.

    Parameters
    ----------
    gray : ndarray, shape (height, width), float32
        Brightness.
    lit : ndarray, shape (height, width), bool
        Where the photo shows the microscope's field.
    angle_deg : float
        Direction, from +x towards +y, that shall become +x.

    Returns
    -------
    Turned
        The canvas holds the whole photo.
    """
    height, width = gray.shape
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    new_width = math.ceil(abs(width * cos) + abs(height * sin))
    new_height = math.ceil(abs(width * sin) + abs(height * cos))
    rotation = np.array([[cos, sin], [-sin, cos]])
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    new_middle = np.array([(new_width - 1) / 2, (new_height - 1) / 2])
    matrix = np.column_stack([rotation, new_middle - rotation @ middle])
    size = (new_width, new_height)
    turned = cv2.warpAffine(gray, matrix, size, flags=cv2.INTER_LINEAR)
    usable = cv2.warpAffine(lit.astype(np.uint8) * 255, matrix, size, flags=cv2.INTER_LINEAR)
    return Turned(np.asarray(turned, np.float32), usable >= 254, matrix, angle_deg % 180)


def lit_field(gray: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return where the microscope's field is, without its rim.

    A round bright field on black has a rim that looks like a dark line; the
    field is cut out only where it is plainly round, else all is field (bright
    lines on a dark ground have no lit field to find).
    """
    height, width = gray.shape
    shrink = max(1.0, max(height, width) / 256)
    size = (max(8, round(width / shrink)), max(8, round(height / shrink)))
    small = np.asarray(cv2.resize(gray, size, interpolation=cv2.INTER_AREA), np.float32)
    bright = (small > 0.3 * np.percentile(small, 98)).astype(np.uint8)
    closer = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (25, 25))
    padded = cv2.copyMakeBorder(bright, 25, 25, 25, 25, cv2.BORDER_CONSTANT, value=0)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, closer)[25:-25, 25:-25]
    corners = [closed[r, c] for r in (0, -1) for c in (0, -1)]
    everything = np.ones(gray.shape, bool)
    if sum(int(c == 0) for c in corners) < 3:
        return everything
    _, labels, stats, _ = cv2.connectedComponentsWithStats(closed)
    if len(stats) < 2:
        return everything
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    blob = (labels == largest).astype(np.uint8)
    contours, _ = cv2.findContours(blob, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=len).reshape(-1, 2).astype(np.float32)
    (cx, cy), radius = cv2.minEnclosingCircle(outline)
    disc = np.zeros(blob.shape, np.uint8)
    cv2.circle(disc, (round(cx), round(cy)), round(radius), 1, -1)
    if radius < 30 or stats[largest, cv2.CC_STAT_AREA] < 0.85 * disc.sum():
        return everything
    inside = cv2.erode(
        blob, np.ones((9, 9), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=1
    )
    full = cv2.resize(inside, (width, height), interpolation=cv2.INTER_NEAREST)
    return full.astype(bool)
