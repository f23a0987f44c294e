"""What lens and eyepiece do to the light: field edge, dust, colour error, blur, motion.

Pictures are (height, width, 3) linear light.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.scene import Eyepiece
from other_hands.illustrated.texture import smooth_step


def _grid() -> tuple[np.ndarray, np.ndarray]:
    y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    return x, y


def with_field_edge(
    rng: np.random.Generator, picture: np.ndarray, eyepiece: Eyepiece
) -> np.ndarray:
    """Darken what lies outside a phone's round field; colours end at slightly different radii."""
    x, y = _grid()
    radius = eyepiece.radius_px
    away = np.hypot(x - eyepiece.x_px, y - eyepiece.y_px)
    dark = np.array([0.012, 0.012, 0.014]) * rng.uniform(0.2, 4)
    falls_from, falls_by = rng.uniform(0.5, 0.85), rng.uniform(0.1, 0.5)
    fall = 1 - falls_by * smooth_step((away / radius - falls_from) / 0.35)
    channels = []
    for channel in range(3):
        reach = radius + (1 - channel) * rng.uniform(0.3, 2.2)
        inside = smooth_step((reach - away) / eyepiece.edge_px + 0.5)
        channels.append(picture[..., channel] * inside * fall + dark[channel] * (1 - inside))
    picture = np.stack(channels, -1)
    if rng.random() < 0.5:  # light scattered at the edge
        strength = rng.uniform(0.005, 0.03)
        picture += (strength * np.exp(-(((away - radius) / rng.uniform(40, 160)) ** 2)))[..., None]
    if rng.random() < 0.4:  # a veil of the room's light
        veil = np.array([0.02, 0.02, 0.03]) * rng.uniform(0, 1)
        off = (x - eyepiece.x_px - rng.normal(0, 200)) ** 2 + (y - eyepiece.y_px) ** 2
        picture = picture + veil * np.exp(-(off / (radius * 0.6) ** 2))[..., None]
    return picture


def with_sensor_dust(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """Large faint soft spots, on some pictures."""
    if rng.random() >= 0.35:
        return picture
    x, y = _grid()
    for _ in range(rng.integers(1, 5)):
        away = np.hypot(x - rng.uniform(0, WIDTH_PX), y - rng.uniform(0, HEIGHT_PX))
        radius, depth = rng.uniform(8, 30), rng.uniform(0.03, 0.12)
        picture = (
            picture * (1 - depth * smooth_step((radius - away) / (radius * 0.8) + 0.3))[..., None]
        )
    return picture


def with_colour_error(rng: np.random.Generator, picture: np.ndarray, *, phone: bool) -> np.ndarray:
    """Red and blue a little larger or smaller than green, and moved against it."""
    growth = rng.normal(0, 0.0006) + (rng.normal(0, 0.0009) if phone else 0)
    shift = rng.normal(0, 0.35, 2)
    picture = picture.copy()
    for channel, sign in ((0, 1), (2, -1)):
        grown = 1 + sign * growth
        matrix = np.array(
            [
                [grown, 0, -sign * growth * WIDTH_PX / 2 + sign * shift[0]],
                [0, grown, -sign * growth * HEIGHT_PX / 2 + sign * shift[1]],
            ],
            np.float32,
        )
        picture[..., channel] = cv2.warpAffine(
            picture[..., channel],
            matrix,
            (WIDTH_PX, HEIGHT_PX),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return picture


def draw_lens_blur_px(rng: np.random.Generator, um_per_px: float) -> float:
    """Draw the blur of the lens; a strong objective magnifies past what it resolves."""
    weak = rng.uniform(0.45, 1.5) * (1 if um_per_px > 0.8 else 1.2)
    return rng.uniform(0.9, 2.6) if um_per_px < 0.3 else weak


def moved(
    rng: np.random.Generator, picture: np.ndarray, um_per_px: float
) -> tuple[np.ndarray, float]:
    """Shake some pictures; returns the picture and how far it moved, in px."""
    if rng.random() >= 0.18:
        return picture, 0.0
    distance = rng.uniform(2, 5 if um_per_px > 0.5 else 9)
    angle = rng.uniform(0, math.pi)
    size = int(distance) * 2 + 3
    fine = np.zeros((size * 8, size * 8), np.uint8)
    middle = (size * 8 - 1) / 2
    dx, dy = math.cos(angle) * distance * 4, math.sin(angle) * distance * 4
    start = (round(middle - dx), round(middle - dy))
    end = (round(middle + dx), round(middle + dy))
    cv2.line(fine, start, end, 255, 8, cv2.LINE_AA)
    both_ways = fine + fine[::-1, ::-1].astype(np.float32)  # so that it moves no centre
    kernel = cv2.resize(both_ways, (size, size), interpolation=cv2.INTER_AREA)
    return cv2.filter2D(picture, -1, kernel / kernel.sum()), distance
