"""What the camera does with the light: tone, noise, noise reduction, sharpening."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class Tone:
    """A camera's tone curve and colours."""

    gamma: float
    contrast: float
    lift: float  # how bright black comes out
    exposure: float
    saturation: float
    cast: np.ndarray  # (3,)

    def __call__(self, light: np.ndarray) -> np.ndarray:
        """Light (height, width, 3) as it comes out, 0 to 1."""
        value = np.clip(light * self.exposure * self.cast, 0, 1.35)
        value = np.where(value > 0.9, 0.9 + 0.1 * np.tanh((value - 0.9) / 0.1), value)
        value = value**self.gamma
        bent = value * value * (3 - 2 * value)
        value = value * (1 - self.contrast) + self.contrast * bent
        grey = value.mean(-1, keepdims=True)
        value = grey + (value - grey) * self.saturation
        return np.clip(self.lift + (1 - self.lift) * value, 0, 1)


def draw_tone(rng: np.random.Generator, strength: float) -> Tone:
    """Draw a camera's tone; `strength` scales its contrast and colour cast."""
    return Tone(
        gamma=math.exp(rng.normal(0, 0.16)),
        contrast=rng.uniform(0, 0.55) * strength,
        lift=rng.uniform(0, 0.06),
        exposure=math.exp(rng.normal(0, 0.05)),
        saturation=math.exp(rng.normal(0, 0.18)),
        cast=np.exp(rng.normal(0, 0.018 * strength, 3)).astype(np.float32),
    )


def developed(
    rng: np.random.Generator, picture: np.ndarray, *, chat: bool
) -> tuple[np.ndarray, float]:
    """Add noise, reduce it, sharpen; returns the picture, 0 to 1, and the noise that is left."""
    shape = picture.shape[:2]
    level = float(np.exp(rng.uniform(np.log(0.003), np.log(0.028)))) * (0.6 if chat else 1)
    coloured = rng.standard_normal((*shape, 3)).astype(np.float32)
    grey = rng.standard_normal((*shape, 1)).astype(np.float32)
    grain = rng.uniform(0, 1.0)
    if grain > 0.4:
        coloured = cv2.GaussianBlur(coloured, (0, 0), grain) * (1 + grain * 1.6)
    noise = level * (coloured * rng.uniform(0.4, 1) + grey * 0.6)
    picture = picture + noise * (0.4 + 0.8 * np.sqrt(np.clip(picture, 0, 1)))
    if rng.random() < 0.3:
        smoothing = rng.uniform(0.02, 0.06)
        picture = cv2.bilateralFilter(picture.astype(np.float32), 5, smoothing, 2)
        level *= 0.5
    if rng.random() < 0.6:
        radius, strength = rng.uniform(0.8, 2.2), rng.uniform(0.3, 1.5)
        picture = picture + strength * (picture - cv2.GaussianBlur(picture, (0, 0), radius))
        level *= 1.3
    return np.clip(picture, 0, 1).astype(np.float32), level
