"""What lights the sample: colour, unevenness, paper, glare and the eyepiece's round field."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.noise import smooth_field


@dataclass(frozen=True)
class RoundField:
    """The bright disc seen through an eyepiece.

    Attributes
    ----------
    radius : float
        As a share of half the picture's shorter side; above 1.4 fills the frame.
    centre : tuple of float
        Place of the middle from the picture's middle, same unit.
    edge_px : float
        Width of the edge.
    fringe : float
        Difference of the radius between red and blue, as a share of it.
    black : float
        Light outside.
    """

    radius: float = 0.95
    centre: tuple[float, float] = (0.0, 0.0)
    edge_px: float = 3.0
    fringe: float = 0.004
    black: float = 0.01


@dataclass(frozen=True)
class LightPlan:
    """All about the light.

    Attributes
    ----------
    cast : tuple of float
        Colour of the clear ground; 1 is neutral.
    gradient : tuple of float
        Relative change of light across the width and the height.
    vignette : float
        Share of light lost in the corners.
    mottle, mottle_px : float
        Strength and size, in canvas pixels, of uneven patches.
    card, card_um : float
        Strength and grain of white card seen behind the tape; 0 for glass.
    haze : float
        Stray light over everything, as a share of white.
    glare_spots : int
        Number of glaring reflections.
    glare : float
        Their brightness.
    sensor_dust : int
        Number of blurred dark spots of dust on the sensor.
    field : RoundField or None
        The eyepiece's round field, where it shows.
    """

    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gradient: tuple[float, float] = (0.0, 0.0)
    vignette: float = 0.1
    mottle: float = 0.01
    mottle_px: float = 100.0
    card: float = 0.0
    card_um: float = 12.0
    haze: float = 0.02
    glare_spots: int = 0
    glare: float = 0.5
    sensor_dust: int = 0
    field: RoundField | None = None


@dataclass(frozen=True, eq=False)
class Lit:
    """The light on one picture.

    Attributes
    ----------
    light : ndarray, shape (h, w, 3), float32
        Factor on the light that the sample lets through.
    glare : ndarray, shape (h, w, 3), float32
        Light added on top.
    inside : ndarray, shape (h, w), bool
        Where the sample is lit at all.
    """

    light: NDArray[np.float32]
    glare: NDArray[np.float32]
    inside: NDArray[np.bool_]


def random_light(rng: np.random.Generator, shape: tuple[int, int]) -> LightPlan:
    """Draw light at random for a picture of (height, width) pixels."""
    on_card = rng.random() < 0.22
    kind = rng.random()
    spread = 0.05 if kind < 0.47 else 0.18 if kind < 0.94 else 0.4
    blotchy = rng.random() < 0.07
    warmth = rng.normal(0.0, spread)
    green = rng.normal(0.0, spread / 2)
    cast = np.exp(np.array([warmth, green, -warmth + rng.normal(0, spread / 2)]))
    cast /= cast.max()
    return LightPlan(
        cast=(float(cast[0]), float(cast[1]), float(cast[2])),
        gradient=(float(rng.normal(0, 0.12)), float(rng.normal(0, 0.12))),
        vignette=float(rng.beta(1.0, 3.0) * 0.7),
        mottle=float(rng.uniform(0.04, 0.12) if blotchy else rng.gamma(1.0, 0.015)),
        mottle_px=float(np.exp(rng.uniform(np.log(8), np.log(max(shape))))),
        card=float(rng.gamma(2.0, 0.03)) if on_card else 0.0,
        card_um=float(np.exp(rng.normal(np.log(12), 0.5))),
        haze=float(rng.beta(1.0, 8.0) * 0.4),
        glare_spots=int(rng.integers(1, 4)) if rng.random() < 0.1 else 0,
        glare=float(rng.uniform(0.1, 0.9)),
        sensor_dust=int(rng.integers(1, 8)) if rng.random() < 0.25 else 0,
        field=random_round_field(rng) if rng.random() < 0.2 else None,
    )


def random_round_field(rng: np.random.Generator) -> RoundField:
    """Draw an eyepiece's field at random; some are larger than the frame."""
    return RoundField(
        radius=float(rng.uniform(0.6, 1.4)),
        centre=(float(rng.normal(0, 0.12)), float(rng.normal(0, 0.12))),
        edge_px=float(np.exp(rng.uniform(np.log(1.0), np.log(30.0)))),
        fringe=float(rng.normal(0, 0.006)),
        black=float(rng.uniform(0.0, 0.04)),
    )


def illuminate(
    rng: np.random.Generator, shape: tuple[int, int], um_per_px: float, plan: LightPlan
) -> Lit:
    """Return the light for a canvas.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    shape : tuple of int
        (height, width).
    um_per_px : float
        Scale of the canvas.
    plan : LightPlan
        What the light is like.
    """
    y, x = _axes(shape)
    grey = 1 + np.float32(plan.gradient[0]) * x + np.float32(plan.gradient[1]) * y
    half = np.float32(plan.vignette / 2)
    grey *= (1 - half * x**2) - half * y**2
    if plan.mottle > 0:
        mottle: NDArray[np.float32] = smooth_field(rng, shape, plan.mottle_px)
        mottle *= np.float32(plan.mottle)
        mottle += np.float32(1.0)
        grey *= mottle
    if plan.card > 0:
        grey *= _card(rng, shape, um_per_px, plan)
    if plan.sensor_dust > 0:
        grey *= _sensor_dust(rng, shape, plan.sensor_dust)
    np.clip(grey, 0.02, 2.0, out=grey)
    cast = np.array(plan.cast, np.float32)
    light = np.asarray(cv2.transform(grey, cast.reshape(3, 1)), np.float32)
    glare = np.empty((*shape, 3), np.float32)
    glare[:] = np.float32(plan.haze) * cast
    for _ in range(plan.glare_spots):
        glare += _glare_spot(rng, shape, plan.glare)[..., None]
    inside = np.ones(shape, bool)
    if plan.field is not None:
        disc, inside = _round_field(shape, plan.field)
        light *= disc
        glare *= disc
    return Lit(light, glare, inside)


def _axes(shape: tuple[int, int]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return y and x from -1 to 1 over the picture, ready to broadcast."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    return y, x


def _card(
    rng: np.random.Generator, shape: tuple[int, int], um_per_px: float, plan: LightPlan
) -> NDArray[np.float32]:
    """Return the texture of card: grain of several sizes and fibres, mean about 1."""
    grain_px = plan.card_um / um_per_px
    texture = 0.6 * smooth_field(rng, shape, grain_px)
    texture += 0.5 * smooth_field(rng, shape, grain_px / 3)
    texture += 0.5 * smooth_field(rng, shape, grain_px * 4)
    area_mm2 = shape[0] * shape[1] * (um_per_px / 1000) ** 2
    fibres = np.zeros(shape, np.float32)
    for _ in range(min(600, rng.poisson(area_mm2 * rng.uniform(50, 400)))):
        length_px = rng.uniform(60, 500) / um_per_px
        heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.15, 12))
        steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * length_px / 12
        start = rng.uniform(-0.1, 1.1, 2) * np.array(shape[::-1])
        points = np.rint(start + np.cumsum(steps, axis=0)).astype(np.int32).reshape(-1, 1, 2)
        thick = max(1, round(rng.uniform(6, 20) / um_per_px))
        cv2.polylines(fibres, [points], False, float(rng.normal(0, 1.5)), thick)
    texture += cv2.GaussianBlur(fibres, (0, 0), max(0.5, 3.0 / um_per_px))
    return np.clip(1 + np.float32(plan.card) * texture, 0.2, 1.8).astype(np.float32)


def _sensor_dust(
    rng: np.random.Generator, shape: tuple[int, int], count: int
) -> NDArray[np.float32]:
    """Return the shadows of dust on the sensor or a lens, far out of focus."""
    shadow = np.zeros(shape, np.float32)
    if count == 0:
        return np.float32(1) - shadow
    y, x = (np.arange(n, dtype=np.float32) for n in shape)
    for _ in range(count):
        radius = float(np.exp(rng.uniform(np.log(4), np.log(min(shape) / 8))))
        cx, cy = rng.uniform(0, shape[1]), rng.uniform(0, shape[0])
        distance = np.hypot(x[None, :] - np.float32(cx), y[:, None] - np.float32(cy))
        edge = max(1.5, radius * rng.uniform(0.1, 0.6))
        shadow += np.float32(rng.uniform(0.02, 0.25)) * np.clip(
            (radius - distance) / np.float32(edge) + 0.5, 0, 1
        )
    return np.clip(1 - shadow, 0.4, 1).astype(np.float32)


def _glare_spot(
    rng: np.random.Generator, shape: tuple[int, int], strength: float
) -> NDArray[np.float32]:
    """Return one blurred reflection of a lamp."""
    y, x = _axes(shape)
    cx, cy = rng.uniform(-1, 1, 2)
    turn = rng.uniform(0, np.pi)
    long, short = np.exp(rng.uniform(np.log(0.08), np.log(0.7), 2))
    u = ((x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)) / long
    v = ((y - cy) * np.cos(turn) - (x - cx) * np.sin(turn)) / short
    sharp = rng.uniform(1.0, 4.0)
    return (strength * np.exp(-((u**2 + v**2) ** sharp))).astype(np.float32)


def _round_field(
    shape: tuple[int, int], field: RoundField
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return the disc's light of each colour, and where it is at least half lit."""
    half = min(shape) / 2
    cx = (shape[1] - 1) / 2 + field.centre[0] * half
    cy = (shape[0] - 1) / 2 + field.centre[1] * half
    y, x = (np.arange(n, dtype=np.float32) for n in shape)
    distance = np.hypot(x[None, :] - np.float32(cx), y[:, None] - np.float32(cy))
    disc = np.empty((*shape, 3), np.float32)
    for channel, side in enumerate((1, 0, -1)):
        radius = half * field.radius * (1 + side * field.fringe / 2)
        t = np.clip((radius - distance) / np.float32(field.edge_px) + 0.5, 0, 1)
        disc[..., channel] = field.black + (1 - field.black) * t * t * (3 - 2 * t)
    return disc, distance <= half * field.radius
