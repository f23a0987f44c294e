"""Crystals, salt, sugar, sand and glass: facets that shade or brighten, dark edges."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    bump,
    colour,
    distance_from_mask,
    frame_to_px,
    inside,
    log_uniform,
    noise,
    polygon_mask,
    tint,
)

FAMILY = "crystal"

Points = NDArray[np.float64]
COLOURS: dict[str, float] = {
    "grey": 0.75,
    "yellow": 0.08,
    "amber": 0.08,
    "bluish": 0.05,
    "brown": 0.04,
}


def _facets(canvas: Canvas, faces: list[Points], tones: NDArray[np.float64]) -> Image:
    """Fill flat faces, each in its tone, the later over the earlier."""
    flat = np.zeros(canvas.shape, np.float32)
    for face, tone in zip(faces, tones, strict=True):
        points = np.round(frame_to_px(canvas, face) * 16).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(flat, [points], float(tone), cv2.LINE_8, 4)
    return cv2.GaussianBlur(flat, (0, 0), 0.7)


def _bevelled(
    rng: np.random.Generator, um_per_px: float, outline: Points, inner: float, shift: float
) -> Picture:
    """Draw a stone: sloping faces from its outline up to a flat top, dark edges, a bright rim."""
    outline = outline - (outline.min(axis=0) + outline.max(axis=0)) / 2
    size = float(np.ptp(outline, axis=0).max())
    half = np.abs(outline).max(axis=0) + 4.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    top = outline * inner + rng.normal(0.0, shift * size, 2)
    around = np.roll(np.arange(len(outline)), -1)
    faces = [np.array([outline[i], outline[j], top[j], top[i]]) for i, j in enumerate(around)]
    strength = log_uniform(rng, 0.06, 0.9)
    tones = strength * rng.normal(0.35, 0.6, len(faces)).clip(-0.6, 1.6)
    shade = _facets(canvas, [*faces, top], np.append(tones, strength * rng.normal(0.0, 0.15)))
    away = distance_from_mask(polygon_mask(canvas, outline), canvas.step_um)
    body = inside(away, canvas.step_um)
    edge = bump(away + np.float32(0.4), rng.uniform(0.3, 0.8)) * np.float32(rng.uniform(0.0, 0.9))
    halo = bump(away - np.float32(0.9), rng.uniform(0.4, 1.0)) * np.float32(rng.uniform(0.0, 0.15))
    flaws = np.clip(noise(rng, canvas, max(0.12 * size, 1.0), 2) - 0.9, 0.0, None)
    shade = shade * body + body * flaws * np.float32(rng.choice([0.0, 0.3]) * strength)
    cast = colour(body * np.float32(rng.choice([0.0, 0.05, 0.2])), tint(rng, COLOURS))
    return canvas.finish(cast + colour(shade + edge - halo, tint(rng, "grey")))


def draw_rhomb(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a leaning parallelogram."""
    half, slim, lean = log_uniform(rng, 3.0, 30.0), rng.uniform(0.35, 1.0), rng.uniform(0.1, 0.7)
    outline = np.array([[-1 - lean, -1.0], [1 - lean, -1], [1 + lean, 1], [-1 + lean, 1]])
    outline = outline * half * np.array([1.0 / (1.0 + lean), slim])
    return _bevelled(rng, um_per_px, outline, rng.uniform(0.3, 0.9), 0.03)


def draw_salt_cube(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a square or box seen from above, stepped as salt grows."""
    half, slim = log_uniform(rng, 2.5, 35.0), rng.uniform(0.6, 1.0)
    outline = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * half * np.array([1.0, slim])
    outline = outline + rng.normal(0.0, 0.03 * half, (4, 2))
    return _bevelled(rng, um_per_px, outline, rng.uniform(0.1, 0.85), 0.04)


def draw_sugar(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a six- to eight-sided tablet."""
    half, sides = log_uniform(rng, 4.0, 40.0), int(rng.integers(6, 9))
    theta = (np.arange(sides) + rng.uniform(-0.25, 0.25, sides)) * 2 * np.pi / sides
    slim = rng.uniform(0.5, 1.0)
    outline = np.stack([np.cos(theta), slim * np.sin(theta)], axis=1) * half
    return _bevelled(rng, um_per_px, outline, rng.uniform(0.3, 0.8), 0.05)


def draw_sand(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw an angular grain of glass or sand with uneven facets."""
    half, sides = log_uniform(rng, 2.5, 50.0), int(rng.integers(4, 9))
    theta = np.sort((np.arange(sides) + rng.uniform(-0.45, 0.45, sides)) * 2 * np.pi / sides)
    radius = rng.uniform(0.55, 1.0, sides)
    outline = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1) * half
    outline[:, 1] *= rng.uniform(0.5, 1.0)
    return _bevelled(rng, um_per_px, outline, rng.uniform(0.0, 0.7), 0.1)


def draw_splinter(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a long pointed splinter of glass."""
    half = log_uniform(rng, 5.0, 60.0)
    width = half * rng.uniform(0.06, 0.35)
    outline = np.array(
        [[-half, rng.uniform(-1, 1) * width], [rng.uniform(-0.6, 0.6) * half, -width]]
        + [[half, rng.uniform(-1, 1) * width], [rng.uniform(-0.6, 0.6) * half, width]]
    )
    return _bevelled(rng, um_per_px, outline, rng.uniform(0.0, 0.6), 0.02)


def draw_needles(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one needle or a sheaf: dark sides, a bright line inside."""
    half, count = log_uniform(rng, 5.0, 60.0), int(rng.choice([1, 1, 3, 6, 12]))
    width = max(half * rng.uniform(0.02, 0.08), 0.4)
    spread = rng.uniform(0.05, 1.5)
    reach_v = half if count > 1 else width + 1.0
    canvas = make_canvas(rng, um_per_px, half + 3.0, reach_v + 3.0)
    tone = np.zeros(canvas.shape, np.float32)
    bright = rng.uniform(0.0, 1.2)
    for _ in range(count):
        turn = 0.0 if count == 1 else rng.normal(0.0, spread)
        cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        along = cos * canvas.u_um + sin * canvas.v_um
        across = np.abs(cos * canvas.v_um - sin * canvas.u_um)
        length = half * (1.0 if count == 1 else rng.uniform(0.5, 1.0))
        away = np.maximum(across - np.float32(width), np.abs(along) - np.float32(length))
        core = inside(away + np.float32(0.5 * width), canvas.step_um)
        tone += inside(away, canvas.step_um) - np.float32(bright) * core
    strength = np.float32(log_uniform(rng, 0.08, 0.8))
    return canvas.finish(colour(np.clip(tone, -0.4, 2.0) * strength, tint(rng, COLOURS)))


def draw_spherulite(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a ball of needles grown from one point, prickly at its edge."""
    radius, count = log_uniform(rng, 4.0, 35.0), int(rng.integers(12, 50))
    canvas = make_canvas(rng, um_per_px, radius * 1.15 + 3.0)
    rho, angle = np.hypot(canvas.u_um, canvas.v_um), np.arctan2(canvas.v_um, canvas.u_um)
    knots = rng.standard_normal(count)
    place = (angle / np.float32(2 * np.pi) + np.float32(0.5)) * np.float32(count)
    low = np.floor(place).astype(np.intp) % count
    part = (place - np.floor(place)).astype(np.float32)
    wave = (knots[low] * (1 - part) + knots[(low + 1) % count] * part).astype(np.float32)
    away = rho - np.float32(radius) * (np.float32(0.9) + np.float32(0.08) * np.clip(wave, -3, 3))
    body = inside(away, canvas.step_um, 0.3)
    tone = body * np.clip(np.float32(0.5) + np.float32(rng.uniform(0.2, 0.7)) * wave, -0.3, 2.0)
    tone = tone * np.float32(log_uniform(rng, 0.1, 0.9))
    return canvas.finish(colour(tone, tint(rng, COLOURS)))


KINDS = (
    ClutterKind("rhomb crystal", FAMILY, draw_rhomb, (0.1, 30.0)),
    ClutterKind("salt cube", FAMILY, draw_salt_cube, (0.1, 40.0)),
    ClutterKind("sugar tablet", FAMILY, draw_sugar, (0.05, 15.0)),
    ClutterKind("sand grain", FAMILY, draw_sand, (0.2, 40.0)),
    ClutterKind("glass splinter", FAMILY, draw_splinter, (0.1, 15.0)),
    ClutterKind("crystal needles", FAMILY, draw_needles, (0.1, 40.0)),
    ClutterKind("spherulite", FAMILY, draw_spherulite, (0.05, 10.0)),
)
