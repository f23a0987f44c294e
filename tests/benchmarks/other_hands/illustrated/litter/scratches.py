"""Scratches in the tape or slide: a dark line with a bright one beside it."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.geometry import TAU, points
from other_hands.illustrated.layers import lay, patch_around
from other_hands.illustrated.scene import Scene


def paint_scratch(scene: Scene, x_px: float, y_px: float) -> None:
    """A few scratches side by side."""
    rng, um = scene.rng, scene.um_per_px
    common_rad = rng.uniform(0, TAU)
    for _ in range(rng.integers(1, 6)):
        line_px = _line(rng, common_rad) / um
        line_px = line_px + [x_px + rng.normal(0, 40), y_px + rng.normal(0, 40)]
        patch = patch_around([line_px], 6, 1, um)
        if patch is None or patch.width * patch.height > 4e6:
            continue
        dark = patch.stroked(line_px, max(1, rng.uniform(0.5, 2) / um))
        bright = np.roll(dark, (1, 1), (0, 1))
        density = rng.uniform(-0.12, 0.3) * dark - rng.uniform(0, 0.14) * bright
        lay(scene, patch, np.exp(-density), 0.6)


def _line(rng: np.random.Generator, common_rad: float) -> np.ndarray:
    """A slightly wavy line about the origin, (14, 2) in um."""
    length = rng.uniform(60, 700)
    angle = common_rad + rng.normal(0, 0.06)
    along = np.linspace(-length / 2, length / 2, 14)
    straight = points(along * math.cos(angle), along * math.sin(angle))
    wave = np.sin(np.linspace(0, 3, 14) + rng.uniform(0, 6)) * length * rng.normal(0, 0.012)
    across = np.outer(wave, [-math.sin(angle), math.cos(angle)])
    return straight + across + rng.normal(0, 0.25, (14, 2))
