"""The empty picture of a tape stuck on a white card: light from above, paper, glare."""

from __future__ import annotations

import math

import cv2
import numpy as np

from other_hands.illustrated.background import SHAPE, centred_grid
from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.geometry import TAU, points
from other_hands.illustrated.texture import smooth_noise


def card_light(rng: np.random.Generator, um_per_px: float, light_rad: float) -> np.ndarray:
    """A card lit from the direction `light_rad`; (height, width, 3)."""
    x, y = centred_grid()
    base = np.array([0.83, 0.81, 0.77]) * rng.uniform(0.78, 1.02) * np.exp(rng.normal(0, 0.02, 3))
    slope = 1 + x * rng.normal(0, 0.28) + y * rng.normal(0, 0.28)
    light = slope - (x * x + y * y) * rng.uniform(0, 0.6)
    picture = base * light[..., None]
    paper = smooth_noise(rng, SHAPE, rng.uniform(12, 30) / um_per_px, 3) * 0.022
    paper = paper + smooth_noise(rng, SHAPE, max(2, 5 / um_per_px), 2) * 0.012
    picture *= (1 + paper * rng.uniform(0.5, 1.6))[..., None]
    picture *= _paper_fibres(rng, um_per_px, light_rad)[..., None]
    if rng.random() < 0.6:
        picture += _glare(rng, x, y)[..., None]
    return picture


def _paper_fibres(rng: np.random.Generator, um_per_px: float, light_rad: float) -> np.ndarray:
    """Fibres of the paper as a factor about 1: their own tone, and light on their flanks."""
    fibres = np.zeros(SHAPE, np.float32)
    steps = 12
    count = int(np.clip(rng.uniform(0.5, 1.5) * 1100 * um_per_px**1.3, 90, 1400))
    for _ in range(count):
        length_px = rng.uniform(80, 500) / um_per_px
        start_rad = rng.uniform(0, TAU)
        turn = np.cumsum(rng.normal(0, 0.13, steps)) + start_rad
        way = np.cumsum(points(np.cos(turn), np.sin(turn)) * length_px / steps, 0)
        way = way + [rng.uniform(-0.1, 1.1) * WIDTH_PX, rng.uniform(-0.1, 1.1) * HEIGHT_PX]
        tone = float(rng.normal(0, 0.6))
        thickness = max(1, int(rng.uniform(8, 22) / um_per_px))
        fixed = [(way * 8).astype(np.int32)]  # three bits below a pixel
        cv2.polylines(fibres, fixed, False, tone, thickness, cv2.LINE_AA, 3)
    soft = cv2.GaussianBlur(fibres, (0, 0), max(1.0, rng.uniform(1.5, 4) / um_per_px))
    flanks = cv2.Sobel(soft, cv2.CV_32F, 1, 0) * math.cos(light_rad)
    flanks = flanks + cv2.Sobel(soft, cv2.CV_32F, 0, 1) * math.sin(light_rad)
    shade = rng.uniform(0.01, 0.045) * soft
    relief = rng.uniform(0.01, 0.045) * flanks * max(1.0, 2 / um_per_px)
    return 1 + shade + np.clip(relief, -0.1, 0.1)


def _glare(rng: np.random.Generator, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A bright patch where the glossy tape reflects the lamp."""
    middle_x, middle_y = rng.uniform(-0.6, 0.6), rng.uniform(-0.45, 0.45)
    spread_x, spread_y = rng.uniform(0.05, 0.3), rng.uniform(0.05, 0.3)
    return rng.uniform(0.05, 0.3) * np.exp(
        -(((x - middle_x) / spread_x) ** 2) - ((y - middle_y) / spread_y) ** 2
    )
