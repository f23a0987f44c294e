"""The empty picture: the microscope's lamp seen through clear tape."""

from __future__ import annotations

import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.texture import smooth_noise, smooth_step

SHAPE = (HEIGHT_PX, WIDTH_PX)

#: Colours of the light as red, green, blue, and how often each is drawn.
LAMPS = {
    "neutral": ((1, 1, 0.99), 0.32),
    "warm": ((1.02, 0.96, 0.84), 0.25),
    "yellow": ((1.02, 0.95, 0.66), 0.1),
    "blue": ((0.86, 0.96, 1.04), 0.12),
    "green": ((0.9, 0.98, 0.87), 0.05),
    "grey": ((0.84, 0.84, 0.83), 0.13),
    "pink": ((1.0, 0.93, 0.93), 0.03),
}


def centred_grid() -> tuple[np.ndarray, np.ndarray]:
    """x and y of each pixel from the picture's middle, in picture widths; float32."""
    y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    return (x - WIDTH_PX / 2) / WIDTH_PX, (y - HEIGHT_PX / 2) / WIDTH_PX


def lamp_light(rng: np.random.Generator) -> np.ndarray:
    """Light from below that falls off from somewhere near the middle; (height, width, 3)."""
    x, y = centred_grid()
    level = rng.uniform(0.62, 0.97)
    lamp = rng.choice(list(LAMPS), p=[share for _, share in LAMPS.values()])
    base = np.array(LAMPS[lamp][0]) * level * np.exp(rng.normal(0, 0.015, 3))
    middle_x, middle_y = rng.normal(0, 0.12, 2)
    r2 = (x - middle_x) ** 2 + (y - middle_y) ** 2
    light = np.exp(-r2 * rng.uniform(0.05, 1.1)) * (
        1 + x * rng.normal(0, 0.09) + y * rng.normal(0, 0.09)
    )
    if rng.random() < 0.35:  # the edge of the condenser's cone
        depth = 0.5 * rng.uniform(0.3, 1)
        light *= 1 - depth * smooth_step(
            (np.sqrt(r2) - rng.uniform(0.3, 0.5)) / rng.uniform(0.22, 0.6)
        )
    light = np.sqrt(np.maximum(light, 0) ** 2 + 0.16) / 1.077  # never quite dark
    warmer_outwards = np.array([0.5, 0, -0.7]) * (rng.normal(0, 0.12) * r2)[..., None]
    return base * light[..., None] * (1 + warmer_outwards)


def adhesive(rng: np.random.Generator, um_per_px: float) -> np.ndarray:
    """The tape's own texture, as a factor about 1: soft mottling, fine stipple, creases."""
    strength = rng.uniform(0, 1) ** 1.5
    mottling = smooth_noise(rng, SHAPE, rng.uniform(40, 160) / um_per_px, 3) * 0.012 * strength
    stipple_px = max(2.5, rng.uniform(4, 14) / um_per_px)
    texture = mottling + smooth_noise(rng, SHAPE, stipple_px, 2) * 0.011 * strength
    if rng.random() < 0.4:
        # Creases run along the zero line of a noise field: a bright line with a dark one beside it.
        field = smooth_noise(rng, SHAPE, rng.uniform(30, 90) / um_per_px, 2)
        width = rng.uniform(0.03, 0.09)
        crease = np.exp(-((field / width) ** 2))
        crease = crease - 0.7 * np.exp(-(((field - 1.8 * width) / width) ** 2))
        where = rng.uniform(0.02, 0.075) * crease
        texture -= where * smooth_step(smooth_noise(rng, SHAPE, 300 / um_per_px + 50) * 0.5 + 0.5)
    return 1 + texture
