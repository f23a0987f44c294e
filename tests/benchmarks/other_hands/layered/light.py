"""Light on the photograph: fall-off, the eyepiece's round field, glare and specks on glass."""

from __future__ import annotations

import cv2
import numpy as np

from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX
from other_hands.layered.chance import log_uniform, smooth_field, smooth_step
from other_hands.layered.look import Eyepiece, Look

#: Half the side of the window in which a speck is drawn.
SPECK_REACH_PX = 90


def illumination(rng: np.random.Generator, look: Look) -> np.ndarray:
    """Draw how bright the field is by colour, (HEIGHT_PX, WIDTH_PX, 3), about 1 in its middle."""
    rows, columns = np.mgrid[0:150, 0:200].astype(np.float32)
    x, y = (columns - 99.5) / 100, (rows - 74.5) / 100
    off_x, off_y = rng.normal(0, 0.25, 2)
    flatness = rng.uniform(1.0, 1.3)
    away = np.hypot(x - off_x, (y - off_y) * flatness)
    fall = np.clip(away / 1.45, 0, 1.15) ** rng.uniform(1.6, 3)
    light = 1 - look.camera.vignette * fall
    slope = 1 + rng.normal(0, 0.07) * x + rng.normal(0, 0.07) * y
    light = light * slope * (1 + 0.015 * smooth_field(rng, light.shape, 45))
    tints = rng.normal(0, 0.03, 3)
    coloured = np.stack([light * (1 + tint * (away - 0.5)) for tint in tints], -1)
    size = (WIDTH_PX, HEIGHT_PX)
    return cv2.resize(coloured.astype(np.float32), size, interpolation=cv2.INTER_CUBIC)


def eyepiece_field(
    rng: np.random.Generator, eyepiece: Eyepiece, colour_magnification: float
) -> tuple[np.ndarray, np.ndarray]:
    """Draw the share of light within the round field, and the glow outside; both (h, w, 3)."""
    rows, columns = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    away_px = np.hypot(columns - eyepiece.x_px, rows - eyepiece.y_px)
    radius_px = eyepiece.radius_px
    edges = []
    for colour in range(3):
        edge_px = radius_px * (1 + colour_magnification * 2 * (colour - 1))
        edges.append(smooth_step((edge_px - away_px) / eyepiece.softness_px + 0.5))
    fall = 1 - rng.uniform(0.1, 0.45) * np.clip(away_px / radius_px, 0, 1) ** 4
    share = np.stack(edges, -1) * fall[..., None]
    glow = np.exp(-np.maximum(away_px - radius_px, 0) / rng.uniform(20, 90))
    glow = glow * rng.uniform(0.002, 0.02) + rng.uniform(0, 0.004)
    return share, glow[..., None] * np.array([1, 0.95, 0.85], np.float32)


def with_specks(rng: np.random.Generator, light: np.ndarray) -> np.ndarray:
    """Draw soft specks on glass near the sensor over light (h, w, 3)."""
    light = light.copy()
    for _ in range(int(rng.integers(1, 6))):
        radius_px = rng.uniform(6, 30)
        x_px, y_px = int(rng.uniform(0, WIDTH_PX)), int(rng.uniform(0, HEIGHT_PX))
        top, left = max(0, y_px - SPECK_REACH_PX), max(0, x_px - SPECK_REACH_PX)
        piece = light[top : y_px + SPECK_REACH_PX, left : x_px + SPECK_REACH_PX]
        rows, columns = np.mgrid[top : top + piece.shape[0], left : left + piece.shape[1]]
        away_px = np.hypot(columns - x_px, rows - y_px)
        spot = smooth_step((radius_px - away_px) / (radius_px * 0.5) + 0.5)
        piece *= (1 - rng.uniform(0.02, 0.12) * spot)[..., None]
    return light


def glare(rng: np.random.Generator) -> np.ndarray:
    """Draw the lamp as the tape reflects it: a soft patch of light, (HEIGHT_PX, WIDTH_PX)."""
    x_px, y_px = rng.uniform(0, WIDTH_PX), rng.uniform(0, HEIGHT_PX)
    length_px, width_px = log_uniform(rng, 80, 420), log_uniform(rng, 30, 160)
    angle_rad = rng.uniform(0, 3.14)
    rows, columns = np.mgrid[0:HEIGHT_PX:4, 0:WIDTH_PX:4].astype(np.float32)
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    u_px = (columns - x_px) * c + (rows - y_px) * s
    v_px = -(columns - x_px) * s + (rows - y_px) * c
    away = (u_px / length_px) ** 2 + (v_px / width_px) ** 2
    patch = np.exp(-(away ** rng.uniform(0.7, 1.3))) * rng.uniform(0.05, 0.22)
    patch = patch * np.clip(1 + 0.25 * smooth_field(rng, u_px.shape, 12), 0, 2)
    return cv2.resize(patch, (WIDTH_PX, HEIGHT_PX))
