"""Outlines of the things on the tape, in um about their middle."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.geometry import TAU, area, jagged, points, rounded
from other_hands.illustrated.look import SporeLook


def lemon(
    rng: np.random.Generator, length_um: float, width_um: float, look: SporeLook
) -> np.ndarray:
    """A spore's outline with its long axis along x: blunt or pointed ends, a slight bend."""
    t = np.cos(np.linspace(0, math.pi, 70))
    right, left = np.clip(look.end_power + rng.normal(0, 0.07, 2), 0.48, 1.0)
    fullness = np.clip(look.fullness + rng.normal(0, 0.1), 1.7, 2.6)
    half = (1 - np.abs(t) ** fullness) ** np.where(t > 0, right, left)
    nub = look.nub * max(0, rng.normal(1, 0.4))
    half = half + nub * (1 - np.abs(t) ** 14) ** 0.5 * 0.25
    half /= half.max()
    angle = np.linspace(0, math.pi, 70)
    upper = half * width_um / 2 * (1 + 0.03 * np.cos(2 * angle + rng.uniform(0, TAU)))
    lower = -half * width_um / 2 * (1 + 0.03 * np.cos(2 * angle + rng.uniform(0, TAU)))
    x = t * length_um / 2
    outline = np.concatenate([points(x, upper), points(x, lower)[::-1][1:-1]])
    bend = rng.normal(0, 0.025) * length_um
    outline[:, 1] += bend * (1 - (2 * outline[:, 0] / length_um) ** 2)
    return outline


def blob(
    rng: np.random.Generator, radius_um: float, irregular: float = 0.2, aspect: float = 1.0
) -> np.ndarray:
    """A round thing whose outline wobbles; 90 points, longer along x by `aspect`."""
    angle = np.linspace(0, TAU, 90, endpoint=False)
    swell = np.ones(90)
    for k in range(2, 7):
        swell += irregular / (k**0.8) * rng.normal() * np.cos(k * angle + rng.uniform(0, TAU))
    swell = np.clip(swell, 0.3, 2.0)
    return points(
        radius_um * swell * np.cos(angle) * math.sqrt(aspect),
        radius_um * swell * np.sin(angle) / math.sqrt(aspect),
    )


def angular(
    rng: np.random.Generator, radius_um: float, aspect: float = 1.3, corners: int | None = None
) -> np.ndarray:
    """A splinter of 4 to 7 corners, or as many as asked for."""
    n = corners or rng.integers(4, 8)
    angle = np.linspace(0, TAU, n, endpoint=False) + rng.uniform(-0.35, 0.35, n) * TAU / n
    angle = np.sort(angle)
    radius = radius_um * rng.uniform(0.65, 1.2, n)
    return points(
        radius * np.cos(angle) * math.sqrt(aspect), radius * np.sin(angle) / math.sqrt(aspect)
    )


def chipped(rng: np.random.Generator, outline: np.ndarray, spread: float = 0.05) -> np.ndarray:
    """Straight sides become chipped, corners slightly rounded."""
    size = math.sqrt(area(outline))
    pieces = []
    for i, corner in enumerate(outline):
        after = outline[(i + 1) % len(outline)]
        n = int(rng.integers(4, 9))
        pieces += [corner[None], jagged(rng, corner, after, n, spread * size * rng.uniform(0.2, 1))]
    return rounded(np.concatenate(pieces))
