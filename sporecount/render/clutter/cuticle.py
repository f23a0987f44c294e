"""Bits of the insect and the dirt on it: flakes, bristles, plates, leg parts, dirt, soot."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.curves import along_curve, wandering_curve
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    bump,
    colour,
    frame_to_px,
    inside,
    log_uniform,
    noise,
    tint,
    two_tints,
)

FAMILY = "cuticle"

COLOURS: dict[str, float] = {
    "amber": 0.3,
    "brown": 0.3,
    "dark brown": 0.2,
    "yellow": 0.1,
    "grey": 0.05,
    "black": 0.05,
}


def _torn_away(rng: np.random.Generator, canvas: Canvas, half_u: float, half_v: float) -> Image:
    """Return the distance to the edge of a torn piece: straight cracks with ragged sides."""
    ragged = noise(rng, canvas, half_u * rng.uniform(0.15, 0.6), 3)
    ragged = np.clip(ragged, -2.0, 2.0) * np.float32(rng.uniform(0.01, 0.07) * half_u)
    away = np.hypot(canvas.u_um, canvas.v_um) - np.float32(half_u)
    count = int(rng.integers(3, 8))
    for i in range(count):
        angle = 2 * np.pi * (i + rng.uniform(-0.4, 0.4)) / count
        cos, sin = np.cos(angle), np.sin(angle)
        reach = np.hypot(half_u * cos, half_v * sin) * rng.uniform(0.55, 1.0)
        line = np.float32(cos) * canvas.u_um + np.float32(sin) * canvas.v_um
        away = np.maximum(away, line - np.float32(reach) + ragged)
    return np.asarray(away, np.float32)


def _cells(rng: np.random.Generator, canvas: Canvas, pitch_um: float) -> tuple[Image, Image]:
    """Return distance to the walls of a random net of cells, um, and a tone for each cell."""
    rows, columns = canvas.shape
    pitch = max(pitch_um / canvas.step_um, 3.0)
    seeds = np.ones(canvas.shape, np.uint8)
    grid_y, grid_x = np.mgrid[0 : rows + pitch : pitch, 0 : columns + pitch : pitch]
    places = np.stack([grid_y.ravel(), grid_x.ravel()]) + rng.normal(
        0, 0.28 * pitch, (2, grid_x.size)
    )
    y, x = np.round(places).astype(int)
    seeds[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)] = 0
    _, labels = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    same = np.ones(canvas.shape, np.uint8)
    same[:, 1:] &= (labels[:, 1:] == labels[:, :-1]).astype(np.uint8)
    same[1:] &= (labels[1:] == labels[:-1]).astype(np.uint8)
    away = cv2.distanceTransform(same, cv2.DIST_L2, 3) * np.float32(canvas.step_um)
    tones = rng.standard_normal(int(labels.max()) + 1).astype(np.float32)
    return cv2.GaussianBlur(away, (0, 0), 0.6), tones[labels]


def draw_cuticle_flake(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin torn flake, wrinkled, darker at its rim."""
    half_u = log_uniform(rng, 3.5, 60.0)
    canvas = make_canvas(rng, um_per_px, half_u + 3.0)
    away = _torn_away(rng, canvas, half_u, half_u * rng.uniform(0.3, 1.0))
    body, rim = inside(away, canvas.step_um), bump(away + np.float32(0.5), rng.uniform(0.3, 1.0))
    folds = noise(rng, canvas, half_u * rng.uniform(0.3, 1.0), 3)
    creases = bump(folds - np.float32(rng.uniform(-0.5, 0.5)), rng.uniform(0.04, 0.2))
    tone = body * np.clip(
        0.6 + rng.uniform(0, 0.4) * folds + rng.uniform(0, 0.7) * creases, 0.05, 2
    )
    tone = tone + rng.uniform(0.0, 0.7) * rim
    tone = (tone * log_uniform(rng, 0.08, 1.2)).astype(np.float32)
    share = np.clip(0.5 + 0.4 * folds, 0.0, 1.0)
    return canvas.finish(two_tints(tone, share, tint(rng, COLOURS), tint(rng, COLOURS)))


def draw_polygon_plate(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a piece of plate whose surface is a net of cells, or a net of bristle sockets."""
    half_u = log_uniform(rng, 8.0, 70.0)
    canvas = make_canvas(rng, um_per_px, half_u + 3.0)
    away = _torn_away(rng, canvas, half_u, half_u * rng.uniform(0.4, 1.0))
    walls, tones = _cells(rng, canvas, rng.uniform(3.0, min(14.0, 0.7 * half_u)))
    net = bump(walls, rng.uniform(0.4, 1.2))
    dots = bump(walls - np.float32(rng.uniform(2.0, 4.0)), 0.7)
    tone = rng.uniform(0.2, 0.8) + rng.uniform(-0.3, 0.8) * net + rng.uniform(0, 0.25) * tones
    tone = tone + rng.choice([0.0, 0.0, 0.5]) * dots
    tone = np.clip(tone, 0.03, 2.0) * inside(away, canvas.step_um)
    tone = (tone * log_uniform(rng, 0.1, 1.2)).astype(np.float32)
    return canvas.finish(colour(tone, tint(rng, COLOURS)))


def draw_bristle(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bristle: thick at its socket, pointed, brown to black."""
    length, half = log_uniform(rng, 15.0, 250.0), rng.uniform(0.6, 3.5)
    half = min(half, length / 12.0)
    points = wandering_curve(rng, length, rng.uniform(0.02, 0.7), 12)
    extent = np.abs(points).max(axis=0) + half + 4.0
    canvas = make_canvas(rng, um_per_px, float(extent[0]), float(extent[1]), 0.7)
    across, along = along_curve(canvas, points, half + 2.5)
    near = np.abs(across) < half + 2.4
    away, place = np.abs(across[near]), along[near] / np.float32(length)
    width = np.float32(half) * np.clip(1.0 - place, 0.03, 1.0) ** np.float32(rng.uniform(0.4, 1.2))
    socket = np.exp(-np.square(along[near] / np.float32(half))) * np.float32(0.5 * half)
    cover = inside(away - width - socket, canvas.step_um)
    shade = 1.0 - np.float32(rng.uniform(0.0, 0.7)) * bump(away / width, 0.4)
    density = np.zeros((*canvas.shape, 3), np.float32)
    tone = cover * shade * np.float32(log_uniform(rng, 0.2, 1.5))
    density[near] = tone[:, None] * tint(rng, COLOURS)
    return canvas.finish(density)


def draw_leg_part(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one to three tube-like segments with joints, and hairs along their sides."""
    length, count = log_uniform(rng, 40.0, 220.0), int(rng.integers(1, 4))
    half = length * rng.uniform(0.06, 0.16)
    canvas = make_canvas(rng, um_per_px, length / 2 + 4.0, half * 2.2 + 4.0, 0.7)
    u, v = canvas.u_um, canvas.v_um
    place = (u / np.float32(length) + np.float32(0.5)) * np.float32(count)
    part = np.clip(place - np.floor(place), 0.0, 1.0)
    swell = np.float32(0.55) + np.float32(0.45) * np.sin(part * np.float32(np.pi)) ** np.float32(
        0.5
    )
    away = np.maximum(np.abs(v) - np.float32(half) * swell, np.abs(u) - np.float32(length / 2))
    body = inside(away.astype(np.float32), canvas.step_um)
    edge = np.clip(np.abs(v) / (np.float32(half) * swell), 0.0, 1.0) ** np.float32(4.0)
    tone = body * (0.5 + rng.uniform(0.1, 0.6) * edge + 0.06 * noise(rng, canvas, 6.0, 2))
    hairs = np.zeros(canvas.shape, np.float32)
    for _ in range(int(rng.integers(0, 16))):
        root = np.array([rng.uniform(-0.45, 0.45) * length, rng.choice([-1.0, 1.0]) * 0.6 * half])
        tip = (
            root + np.array([rng.uniform(0.3, 1.2), np.sign(root[1])]) * rng.uniform(0.3, 1) * half
        )
        way = along_curve(canvas, np.stack([root, tip]), 2.5)[0]
        hairs = np.maximum(hairs, inside(np.abs(way) - np.float32(0.6), canvas.step_um))
    tone = np.clip(np.maximum(tone, 0.9 * hairs), 0.0, 2.0) * log_uniform(rng, 0.3, 1.5)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, COLOURS)))


def draw_dirt_clump(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a dark clump of mixed dirt, ragged, with bits in several colours."""
    half = log_uniform(rng, 3.0, 45.0)
    canvas = make_canvas(rng, um_per_px, 1.3 * half + 3.0)
    rough = noise(rng, canvas, half * rng.uniform(0.4, 0.9), 4, 0.65)
    rho = np.hypot(canvas.u_um, canvas.v_um * np.float32(rng.uniform(1.0, 1.8)))
    away = rho - np.float32(0.75 * half) + np.float32(0.22 * half) * rough
    away = np.maximum(away, np.hypot(canvas.u_um, canvas.v_um) - np.float32(1.25 * half))
    grains = noise(rng, canvas, rng.uniform(1.5, 6.0), 2)
    tone = inside(away, canvas.step_um, rng.uniform(0.1, 0.8)) * np.clip(
        0.8 + 0.25 * grains, 0.3, 2
    )
    tone = (tone * log_uniform(rng, 0.2, 1.6)).astype(np.float32)
    share = np.clip(0.5 + 0.6 * noise(rng, canvas, rng.uniform(3.0, 8.0)), 0.0, 1.0)
    return canvas.finish(two_tints(tone, share, tint(rng, COLOURS), tint(rng, COLOURS)))


def draw_soot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a black branching heap that grew from balls sticking where they touch."""
    count, radius = int(rng.integers(8, 70)), rng.uniform(0.35, 1.3)
    places = np.zeros((count, 2))
    heads = rng.uniform(0.0, 2 * np.pi, count)
    for i in range(1, count):
        # Younger balls catch more: that makes arms rather than a ball.
        host = i - 1 - int(min(rng.exponential(1.0), i - 1))
        places[i] = places[host] + 1.7 * radius * np.array([np.cos(heads[i]), np.sin(heads[i])])
    return _paint_balls(rng, um_per_px, places, radius)


def _paint_balls(
    rng: np.random.Generator, um_per_px: float, places: NDArray[np.float64], radius: float
) -> Picture:
    places = places - (places.min(axis=0) + places.max(axis=0)) / 2
    half = np.abs(places).max(axis=0) + radius + 2.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    from_seeds = np.full(canvas.shape, 1, np.uint8)
    reach = round(radius / canvas.step_um * 8)
    for x, y in np.round(frame_to_px(canvas, places) * 8).astype(int):
        cv2.circle(from_seeds, (int(x), int(y)), reach, 0, -1, cv2.LINE_8, 3)
    solid = cv2.GaussianBlur((1 - from_seeds).astype(np.float32), (0, 0), 0.8)
    tone = solid * np.float32(log_uniform(rng, 0.4, 2.0))
    return canvas.finish(colour(tone, tint(rng, {"black": 4, "grey": 1, "dark brown": 1})))


KINDS = (
    ClutterKind("cuticle flake", FAMILY, draw_cuticle_flake, (0.3, 40.0)),
    ClutterKind("polygon plate", FAMILY, draw_polygon_plate, (0.1, 10.0)),
    ClutterKind("bristle", FAMILY, draw_bristle, (0.1, 20.0)),
    ClutterKind("leg part", FAMILY, draw_leg_part, (0.02, 1.0)),
    ClutterKind("dirt clump", FAMILY, draw_dirt_clump, (0.3, 40.0)),
    ClutterKind("soot", FAMILY, draw_soot, (0.2, 40.0)),
)
