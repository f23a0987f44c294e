"""Damaged spores that can still be read as one: cracked, bitten, ghosted, collapsed."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.geometry import TAU, centroid, points, rotated, split
from other_hands.illustrated.layers import Stroke
from other_hands.illustrated.spores.paint import SporeFigure

#: Kinds of damage as the truth names them.
DAMAGES = ("crack", "bite", "ghost", "collapse")


def damaged_figure(
    rng: np.random.Generator,
    damage: str,
    outline: np.ndarray,
    size_um: tuple[float, float],
    density: float,
    um_per_px: float,
) -> SporeFigure | None:
    """Damage a whole spore.

    Parameters
    ----------
    outline, size_um
        The spore with its long axis along x, in um; its length and width.
    density
        How much denser it was than the rest.
    um_per_px
        A crack is at least as wide as can be seen.

    Returns
    -------
    SporeFigure or None
        None where a crack didn't run right across.
    """
    if damage == "crack":
        return _cracked(rng, outline, size_um, density, um_per_px)
    if damage == "bite":
        return _bitten(rng, outline, size_um, density)
    if damage == "ghost":
        return _ghosted(rng, outline, size_um, density)
    return _collapsed(rng, outline, size_um, density)


def _cracked(
    rng: np.random.Generator,
    outline: np.ndarray,
    size_um: tuple[float, float],
    density: float,
    um_per_px: float,
) -> SporeFigure | None:
    length, width = size_um
    through = np.array([rng.uniform(-0.22, 0.22) * length, 0])
    halves = split(rng, outline, through, rng.normal(0, 0.35), 0.3)
    if halves is None:
        return None
    right, left = sorted(halves, key=lambda half: -centroid(half)[0])
    gap = max(rng.uniform(0.25, 0.75), rng.uniform(0.65, 1.15) * um_per_px)
    tilt = rng.normal(0, 0.16)
    hinge = through + np.array([0, width / 2 * np.sign(tilt)])
    right = rotated(right - hinge, tilt) + hinge + [gap / 2, 0]
    left = rotated(left - hinge, -tilt) + hinge - [gap / 2, rng.normal(0, 0.5)]
    return SporeFigure(
        [right, left],
        width,
        density * rng.uniform(0.6, 1.0),
        state="damaged",
        damage="crack",
        wall=rng.uniform(0.8, 1.2),
    )


def _bitten(
    rng: np.random.Generator, outline: np.ndarray, size_um: tuple[float, float], density: float
) -> SporeFigure:
    width = size_um[1]
    rng.random()  # unused: without it all pictures that follow in the series would change
    bites = 1 if rng.random() < 0.75 else 2
    left = outline.copy()
    for _ in range(bites):
        middle = outline[rng.integers(len(outline))] * rng.uniform(0.85, 1.05)
        radius = (rng.uniform(0.2, 0.32) if bites == 2 else rng.uniform(0.27, 0.45)) * width
        offset = left - middle
        # Points within the bite move towards the spore's middle, onto the bite's far arc.
        for j in np.where(np.hypot(offset[:, 0], offset[:, 1]) < radius)[0]:
            inwards = -left[j] / (np.hypot(*left[j]) + 1e-6)
            from_middle = left[j] - middle
            along = from_middle @ inwards
            way = -along + math.sqrt(
                max(along * along - (from_middle @ from_middle - radius * radius), 0)
            )
            left[j] = left[j] + inwards * way * rng.uniform(0.88, 1.06)
    return SporeFigure(
        [left],
        width,
        density * rng.uniform(0.55, 1.0),
        state="damaged",
        damage="bite",
        wall=rng.uniform(0.6, 1.1),
    )


def _ghosted(
    rng: np.random.Generator, outline: np.ndarray, size_um: tuple[float, float], density: float
) -> SporeFigure:
    length, width = size_um
    if rng.random() < 0.65:  # emptied, with its rim
        body, wall = rng.uniform(0.06, 0.25), rng.uniform(0.55, 1.1)
        density = density * rng.uniform(0.7, 1)
    else:  # faint all over
        body, wall = rng.uniform(0.15, 0.3), rng.uniform(0.15, 0.35)
    creases = []
    if rng.random() < 0.4:
        x = np.linspace(-0.35, 0.35, 9) * length
        height = rng.normal(0, 0.08) * width
        wave = rng.normal(0, 0.15) * width * np.cos(x / length * 3)
        line = points(x, height + wave + rng.normal(0, 0.1, 9))
        creases.append(Stroke(line, 0.4, rng.uniform(0.15, 0.4)))
    dented = outline.copy()
    dented[:, 1] *= 1 + 0.04 * np.sin(outline[:, 0] / length * 7 + rng.uniform(0, TAU))
    return SporeFigure(
        [dented], width, density, "damaged", "ghost", wall, body, creases=tuple(creases)
    )


def _collapsed(
    rng: np.random.Generator, outline: np.ndarray, size_um: tuple[float, float], density: float
) -> SporeFigure:
    length, width = size_um
    shrunk = outline.copy()
    shrunk[:, 1] *= rng.uniform(0.7, 0.95)
    shrunk[:, 1] += rng.normal(0, 0.07) * length * (1 - (2 * shrunk[:, 0] / length) ** 2)
    for _ in range(rng.integers(1, 4)):  # dents from above or below
        middle, side = rng.uniform(-0.38, 0.38) * length, rng.choice([-1, 1])
        spread = rng.uniform(0.08, 0.17) * length
        depth = np.exp(-(((shrunk[:, 0] - middle) / spread) ** 2))
        hit = shrunk[:, 1] * side > 0
        shrunk[:, 1] -= hit * side * depth * rng.uniform(0.15, 0.36) * width
    shrunk += rng.normal(0, 0.07, shrunk.shape)
    folds = []
    for _ in range(rng.integers(1, 4)):
        start, end = np.sort(rng.uniform(-0.45, 0.45, 2))
        x = np.linspace(start, end, 8) * length
        height, wave = rng.uniform(-0.25, 0.25) * width, rng.normal(0, 0.2) * width
        line = points(x, height + wave * np.sin(x / length * rng.uniform(2, 6)))
        folds.append(Stroke(line, rng.uniform(0.4, 1.0), rng.uniform(0.3, 1.0)))
    return SporeFigure(
        [shrunk],
        width,
        density * rng.uniform(0.55, 1.15),
        state="damaged",
        damage="collapse",
        wall=rng.uniform(0.7, 1.2),
        body=rng.uniform(0.6, 1.0),
        creases=tuple(folds),
    )
