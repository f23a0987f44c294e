"""Random numbers and smooth random fields that all parts of a picture draw on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import cv2
import numpy as np

Choice = TypeVar("Choice")


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a number whose logarithm is uniform between those of two bounds."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def pick(
    rng: np.random.Generator,
    choices: Sequence[Choice],
    weights: Sequence[float] | np.ndarray | None = None,
) -> Choice:
    """Draw one of some choices, all alike or by weights that need not add up to one."""
    shares = None if weights is None else np.array(weights) / np.sum(weights)
    return choices[int(rng.choice(len(choices), p=shares))]


def smooth_step(x: np.ndarray) -> np.ndarray:
    """Rise from 0 to 1 as x does, level at both ends."""
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def smooth_field(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> np.ndarray:
    """Draw a smooth field, float32 of a shape, with unit spread and features of cell_px."""
    height, width = shape
    rows = max(int(np.ceil(height / cell_px)) + 3, 4)
    columns = max(int(np.ceil(width / cell_px)) + 3, 4)
    if rows * columns > 1.2 * height * width:
        return rng.standard_normal((height, width)).astype(np.float32)
    knots = rng.standard_normal((rows, columns)).astype(np.float32)
    wide, high = int(columns * cell_px) + 1, int(rows * cell_px) + 1
    field = cv2.resize(knots, (wide, high), interpolation=cv2.INTER_CUBIC)
    # The cut starts anywhere, so that knots do not stand in the same places each time.
    top = int(rng.integers(0, max(1, high - height)))
    left = int(rng.integers(0, max(1, wide - width)))
    field = field[top : top + height, left : left + width]
    return field / (field.std() + 1e-6)


def fractal_field(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int = 3
) -> np.ndarray:
    """Draw smooth fields of ever finer cells and sum them; float32 of unit spread."""
    total = np.zeros(shape, np.float32)
    strength = 1.0
    for _ in range(octaves):
        total += strength * smooth_field(rng, shape, max(cell_px, 1.0))
        strength *= 0.55
        cell_px *= 0.5
    return total / (total.std() + 1e-6)


def wave(
    rng: np.random.Generator, at: np.ndarray, terms: int, strength: float, first: int = 1
) -> np.ndarray:
    """Draw a smooth function of an angle or a position: sines of rising order, falling strength."""
    total = np.zeros_like(at)
    for order in range(first, first + terms):
        height = strength * rng.normal() / (order - first + 1)
        total += height * np.sin(order * at + rng.uniform(0, 6.283))
    return total
