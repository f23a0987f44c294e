"""Curved lines, and strands that taper along them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial import cKDTree

from other_hands.layered.canvas import Box, Canvas

#: Lines are followed this far outside the picture.
MARGIN_UM = 30


@dataclass(frozen=True)
class Line:
    """A line in a box: distance_um (h, w) float32 to it, and how to tell which part is nearest."""

    distance_um: np.ndarray
    labels: np.ndarray  # (h, w) int32, number of the nearest pixel on the line
    on_line: np.ndarray  # (h, w) bool
    box: Box


@dataclass(frozen=True)
class Strand:
    """A line with a width: along (h, w) runs from 0 to 1 from one end to the other."""

    distance_um: np.ndarray
    along: np.ndarray
    half_width_um: np.ndarray
    box: Box


def curve(
    rng: np.random.Generator,
    x_um: float,
    y_um: float,
    length_um: float,
    bend: float,
    points: int = 60,
    angle_rad: float | None = None,
) -> np.ndarray:
    """Draw a curved line through a point; (points, 2) positions in micrometres."""
    start = rng.uniform(0, 6.283) if angle_rad is None else angle_rad
    t = np.linspace(0, 1, points)
    slow = np.sin(t * rng.uniform(2, 6) + rng.uniform(0, 6))
    fast = 0.5 * np.sin(t * rng.uniform(6, 12) + rng.uniform(0, 6))
    angle = start + bend * (slow + fast)
    steps = np.stack([np.cos(angle), np.sin(angle)], 1)
    path = np.cumsum(steps, 0) * length_um / points
    return path - path[points // 2] + [x_um, y_um]


def line_field(canvas: Canvas, path_um: np.ndarray, width_um: float) -> Line | None:
    """Measure distances to a line of (n, 2) points; None if it does not touch the picture."""
    pad = width_um * 1.3 + 8
    x0, y0 = path_um.min(0) - pad
    x1, y1 = path_um.max(0) + pad
    x0, y0 = max(x0, -MARGIN_UM), max(y0, -MARGIN_UM)
    x1, y1 = min(x1, canvas.width_um + MARGIN_UM), min(y1, canvas.height_um + MARGIN_UM)
    if x1 - x0 < 3 or y1 - y0 < 3:
        return None
    pitch_um = canvas.pitch_um
    left, top, right, bottom = (int(edge / pitch_um) for edge in (x0, y0, x1, y1))
    off = np.full((bottom - top, right - left), 255, np.uint8)
    sixteenths = ((path_um / pitch_um - 0.5 - [left, top]) * 16).astype(np.int32)
    cv2.polylines(off, [sixteenths.reshape(-1, 1, 2)], False, 0, 1, cv2.LINE_8, 4)
    away, labels = cv2.distanceTransformWithLabels(
        off, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    # The line was drawn in whole pixels; smoothing takes the steps out of the distances.
    distance_um = cv2.GaussianBlur(away, (0, 0), 0.8) * pitch_um
    return Line(distance_um, labels, off == 0, (left, top, right, bottom))


def strand(
    canvas: Canvas, path_um: np.ndarray, first_width_um: float, last_width_um: float
) -> Strand | None:
    """Give a strand along a line, from one width to another; None if it is out of the picture."""
    line = line_field(canvas, path_um, max(first_width_um, last_width_um))
    if line is None:
        return None
    rows, columns = np.nonzero(line.on_line)
    if len(rows) == 0:
        return None
    x_um = (columns + 0.5 + line.box[0]) * canvas.pitch_um
    y_um = (rows + 0.5 + line.box[1]) * canvas.pitch_um
    _, nearest = cKDTree(path_um).query(np.stack([x_um, y_um], 1))
    along_by_label = np.zeros(line.labels.max() + 1, np.float32)
    along_by_label[line.labels[rows, columns]] = nearest / (len(path_um) - 1)
    along = cv2.GaussianBlur(along_by_label[line.labels], (0, 0), 1.0)
    half_width_um = (first_width_um * (1 - along) + last_width_um * along) / 2
    return Strand(line.distance_um, along, half_width_um, line.box)
