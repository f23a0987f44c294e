"""The conditions a photo can be asked for, and what each of them asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Size of the picture that is painted; a chat program makes it smaller afterwards.
WIDTH_PX, HEIGHT_PX = 1600, 1200

#: Lowest and highest scale, um per pixel, before a chat program shrinks the picture.
SCALES = {
    "4x": (1.0, 1.4),
    "10x": (0.4, 0.7),
    "40x": (0.15, 0.25),
    "phone": (0.32, 1.1),
    "card": (0.35, 1.15),
    "thick": (0.32, 1.1),
    "clumps": (0.33, 1.1),
    "condenser": (0.2, 0.9),
    "chat": (0.22, 0.72),
    "overlay": (0.2, 1.2),
    "trial": (0.22, 0.8),
    "blank": (0.2, 1.3),
}

#: Names of the conditions; phone: a round field on black, thick: many wing scales.
CONDITIONS = tuple(SCALES)


@dataclass(frozen=True)
class Crowd:
    """How the spores of a photo are mixed and grouped."""

    damaged: float  # share of spores
    broken: float  # share of places that hold a spore in pieces
    group: float  # mean spores in a group
    overlap: float  # share of a spore that may lie on others


def draw_spore_count(rng: np.random.Generator, condition: str, area_um2: float) -> int:
    """Draw how many spores a photo shows; no more than find room on it."""
    if condition == "clumps":
        wanted = int(np.exp(rng.uniform(np.log(100), np.log(400))))
    elif condition == "trial":
        wanted = int(rng.uniform(20, 80))
    elif condition == "40x":
        wanted = round(np.exp(rng.uniform(np.log(3), np.log(25))))
    elif condition == "blank":
        wanted = 0
    else:
        wanted = round(np.exp(rng.uniform(np.log(5), np.log(120))))
    room = area_um2 / (230.0 if condition == "clumps" else 260.0)
    return int(min(wanted, max(3, room)))


def draw_crowd(rng: np.random.Generator, condition: str) -> Crowd:
    """Draw how the spores of a photo are mixed and grouped."""
    trial, clumps = condition == "trial", condition == "clumps"
    damaged = rng.uniform(0.18, 0.4) if trial else rng.uniform(0, 0.16)
    broken = rng.uniform(0.08, 0.2) if trial else rng.uniform(0, 0.05)
    group = rng.uniform(8, 60) if clumps else rng.choice([1.0, 1.6, 3.2])
    if condition == "blank":
        return Crowd(damaged, broken, group, overlap=0.0)
    overlap = rng.uniform(0.15, 0.5) if clumps else rng.uniform(0.05, 0.3)
    return Crowd(damaged, broken, group, overlap)


def draw_scale_count(rng: np.random.Generator, condition: str, area_um2: float) -> int:
    """Draw how many wing scales a photo shows."""
    mm2 = area_um2 / 1e6
    density = np.exp(rng.uniform(np.log(4), np.log(26)))
    count = int(rng.poisson(density * mm2 + 0.4))
    if condition == "thick":
        count = int(np.clip(rng.uniform(45, 130) * mm2**0.85, 9, 130))
    if condition == "blank":
        count = int(np.clip(rng.poisson(density * 1.5 * mm2 + 1), 0, 70))
    return min(count, 130)
