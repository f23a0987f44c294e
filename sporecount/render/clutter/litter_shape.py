"""Spore-sized litter, family B: drawn outlines, filled, hollow or graded by depth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.curves import along_curve, wandering_curve
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    SPORE_COLOURS,
    bump,
    colour,
    distance_from_mask,
    inside,
    log_uniform,
    noise,
    polygon_mask,
    tint,
)

FAMILY = "litter_shape"


def _paint_distance(
    rng: np.random.Generator, canvas: Canvas, distance: Image, size_um: float
) -> Picture:
    """Fill an outline, given distances negative inside, in one of several manners."""
    fill = inside(distance, canvas.step_um, rng.uniform(0.0, 0.8))
    rim = bump(distance + np.float32(0.4), rng.uniform(0.3, 0.8) + canvas.step_um / 3)
    depth = np.clip(-distance / np.float32(0.2 * size_um), 0.0, 1.0)
    manner = rng.integers(0, 6)
    if manner == 0:
        tone = fill
    elif manner == 1:
        tone = fill * np.float32(rng.uniform(0.0, 0.5)) + rim
    elif manner == 2:
        tone = fill * (np.float32(0.35) + depth)
    elif manner == 3:
        tone = fill * (np.float32(1.1) - np.float32(rng.uniform(0.5, 1.2)) * depth)
    elif manner == 4:
        slope = canvas.u_um * np.float32(rng.uniform(-1.5, 1.5) / size_um)
        tone = fill * np.clip(np.float32(0.7) + slope, 0.05, 1.5)
    else:
        side = canvas.v_um * np.float32(2.0 / size_um)
        tone = fill * np.float32(0.4) + rim * np.clip(np.float32(0.5) + side, -0.4, 1.2)
    if rng.random() < 0.4:
        tone = tone * (1.0 + np.float32(rng.uniform(0.1, 0.4)) * noise(rng, canvas, 1.5, 1))
    if rng.random() < 0.25:
        tone = tone - bump(distance - np.float32(0.8), 0.5) * np.float32(rng.uniform(0.05, 0.3))
    strength = np.float32(log_uniform(rng, 0.08, 1.5))
    return canvas.finish(colour(tone * strength, tint(rng, SPORE_COLOURS)))


def _from_polygon(
    rng: np.random.Generator, um_per_px: float, points: NDArray[np.float64], size_um: float
) -> Picture:
    points = points - (points.min(axis=0) + points.max(axis=0)) / 2
    half_u, half_v = np.abs(points).max(axis=0) + 4.0
    canvas = make_canvas(rng, um_per_px, float(half_u), float(half_v))
    distance = distance_from_mask(polygon_mask(canvas, points), canvas.step_um)
    return _paint_distance(rng, canvas, distance, size_um)


def _from_curve(
    rng: np.random.Generator, um_per_px: float, strokes: list[NDArray[np.float64]], half_um: float
) -> Picture:
    reach = half_um + 4.0
    extent = np.abs(np.vstack(strokes)).max(axis=0) + reach
    canvas = make_canvas(rng, um_per_px, float(extent[0]), float(extent[1]))
    away = np.full(canvas.shape, 1e3, np.float32)
    for stroke in strokes:
        away = np.minimum(away, np.abs(along_curve(canvas, stroke, reach)[0]))
    return _paint_distance(rng, canvas, away - np.float32(half_um), 4.0 * half_um)


def draw_lobed_outline(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw an outline of random waves about a circle."""
    size = log_uniform(rng, 5.0, 25.0)
    theta = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    radius = np.ones_like(theta)
    for order in range(2, 8):
        amount = rng.normal(0.0, rng.uniform(0.15, 0.5) / order)
        radius += amount * np.cos(order * theta + rng.uniform(0, 2 * np.pi))
    radius = np.clip(radius, 0.15, None)
    points = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1)
    points[:, 1] *= rng.uniform(0.35, 1.0)
    points *= size / np.ptp(points, axis=0).max()
    return _from_polygon(rng, um_per_px, points, size)


def draw_angular_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a polygon of three to seven corners."""
    size = log_uniform(rng, 5.0, 25.0)
    corners = int(rng.integers(3, 8))
    theta = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    if np.diff(np.append(theta, theta[0] + 2 * np.pi)).max() > np.pi:
        theta = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    radius = rng.uniform(0.4, 1.0, corners)
    points = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1)
    points[:, 1] *= rng.uniform(0.3, 1.0)
    points *= size / np.ptp(points, axis=0).max()
    return _from_polygon(rng, um_per_px, points, size)


def draw_star(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a star or a burr of three to nine arms."""
    size = log_uniform(rng, 6.0, 25.0)
    arms = int(rng.integers(3, 10))
    theta = np.arange(2 * arms) * np.pi / arms + rng.normal(0.0, 0.25 / arms, 2 * arms)
    radius = np.where(np.arange(2 * arms) % 2 == 0, 1.0, rng.uniform(0.2, 0.65))
    radius = radius * rng.uniform(0.7, 1.0, 2 * arms)
    points = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1) * size / 2
    return _from_polygon(rng, um_per_px, points, size)


def draw_box(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a rectangle or a rod with flat ends, sometimes askew."""
    size = log_uniform(rng, 5.0, 25.0)
    half_u, half_v = size / 2, size / 2 * rng.uniform(0.15, 1.0)
    lean = rng.normal(0.0, 0.25) * half_v
    points = np.array(
        [
            [-half_u + lean, -half_v],
            [half_u + lean, -half_v],
            [half_u - lean, half_v],
            [-half_u - lean, half_v],
        ]
    )
    return _from_polygon(rng, um_per_px, points + rng.normal(0.0, 0.04, (4, 2)) * half_v, size)


def draw_teardrop(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a drop with one drawn-out end, or a pear."""
    size = log_uniform(rng, 6.0, 25.0)
    theta = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    point, bend = rng.uniform(1.0, 3.0), rng.normal(0.0, 0.12)
    u = np.cos(theta)
    v = rng.uniform(0.3, 0.9) * np.sin(theta) * np.sin(theta / 2) ** point
    points = np.stack([u, v + bend * (u**2 - 0.5)], axis=1) * size / 2
    return _from_polygon(rng, um_per_px, points, size)


def draw_crescent(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a disc with a bite taken out by another."""
    size = log_uniform(rng, 6.0, 25.0)
    canvas = make_canvas(rng, um_per_px, size / 2 + 4.0)
    radius = size / 2
    bite = radius * rng.uniform(0.6, 1.3)
    offset = rng.uniform(0.35, 0.9) * radius + 0.5 * max(bite - radius, 0.0)
    outer = np.hypot(canvas.u_um, canvas.v_um) - radius
    inner = bite - np.hypot(canvas.u_um - offset, canvas.v_um)
    return _paint_distance(rng, canvas, np.maximum(outer, inner), size)


def draw_ring(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round or drawn-out ring, whole or open."""
    size = log_uniform(rng, 5.0, 25.0)
    slim, turns = rng.uniform(0.6, 1.0), rng.choice([1.0, 1.0, 0.85, 0.7])
    theta = np.linspace(0.0, 2.0 * np.pi * turns, 25)
    half = max(size * rng.uniform(0.04, 0.14), 0.4)
    points = np.stack([np.cos(theta), slim * np.sin(theta)], axis=1) * (size / 2 - half)
    return _from_curve(rng, um_per_px, [points], half)


def draw_dumbbell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two discs, alike or not, joined by a neck."""
    size = log_uniform(rng, 7.0, 25.0)
    first = size * rng.uniform(0.16, 0.24)
    second = first * rng.uniform(0.5, 1.0)
    gap = size / 2 - first
    canvas = make_canvas(rng, um_per_px, size / 2 + 4.0, first + 4.0)
    u, v = canvas.u_um, canvas.v_um
    left = np.hypot(u + np.float32(gap), v) - np.float32(first)
    right = np.hypot(u - np.float32(size / 2 - second), v) - np.float32(second)
    neck = np.abs(v) - np.float32(second * rng.uniform(0.1, 0.5))
    neck = np.maximum(neck, np.abs(u) - np.float32(gap))
    distance = np.minimum(np.minimum(left, right), neck)
    return _paint_distance(rng, canvas, distance, size)


def draw_letter(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw strokes that meet as in L, T, U, V, X or Y."""
    size = log_uniform(rng, 6.0, 25.0)
    a, b = size / 2, size / 2 * rng.uniform(0.5, 1.0)
    strokes = {
        "L": [[(-a, b), (-a, -b), (a * 0.6, -b)]],
        "T": [[(-a, b), (a, b)], [(0.0, b), (0.0, -b)]],
        "U": [[(-a, b), (-a, -b * 0.6), (-a * 0.5, -b), (a * 0.5, -b), (a, -b * 0.6), (a, b)]],
        "V": [[(-a, b), (0.0, -b), (a, b)]],
        "X": [[(-a, b), (a, -b)], [(-a, -b), (a, b)]],
        "Y": [[(-a, b), (0.0, 0.0), (a, b)], [(0.0, 0.0), (0.0, -b)]],
    }
    name = list(strokes)[int(rng.integers(0, len(strokes)))]
    half = size * rng.uniform(0.05, 0.13)
    shrink = 1.0 - 2.0 * half / size
    lines = [
        np.array(s) * shrink + rng.normal(0.0, 0.03 * size, (len(s), 2)) for s in strokes[name]
    ]
    return _from_curve(rng, um_per_px, lines, half)


def draw_twig(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a crooked stem with up to four side branches, or a worm without."""
    size = log_uniform(rng, 8.0, 25.0)
    stem = wandering_curve(rng, size, rng.uniform(0.3, 1.6), 9)
    strokes = [stem]
    for _ in range(int(rng.integers(0, 5))):
        start = stem[int(rng.integers(1, 8))]
        angle = rng.uniform(0.0, 2.0 * np.pi)
        reach = size * rng.uniform(0.12, 0.35)
        tip = start + reach * np.array([np.cos(angle), np.sin(angle)])
        strokes.append(np.array([start, (start + tip) / 2 + rng.normal(0, 0.1 * reach, 2), tip]))
    return _from_curve(rng, um_per_px, strokes, size * rng.uniform(0.03, 0.09))


def draw_knot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thread that winds over itself, closed or not, or a spiral."""
    size = log_uniform(rng, 8.0, 25.0)
    way = np.linspace(0.0, 2.0 * np.pi, 40)
    if rng.random() < 0.3:
        away = np.linspace(rng.uniform(0.1, 0.3), 1.0, 40)
        turns = rng.uniform(1.2, 2.6)
        points = np.stack([away * np.cos(turns * way), away * np.sin(turns * way)], axis=1)
    else:
        points = np.zeros((40, 2))
        for order in range(1, 5):
            phase = rng.uniform(0.0, 2.0 * np.pi, 2)
            points += rng.normal(0.0, 1.0 / order, 2) * np.cos(order * way[:, None] + phase)
        points = points[: int(rng.integers(24, 41))]
    half = max(size * rng.uniform(0.02, 0.06), 0.35)
    points -= (points.min(axis=0) + points.max(axis=0)) / 2
    points *= (size - 2.0 * half) / np.ptp(points, axis=0).max()
    return _from_curve(rng, um_per_px, [points], half)


def draw_overlapping_pair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two outlines laid over each other, or one cut out of the other."""
    size = log_uniform(rng, 7.0, 25.0)
    canvas = make_canvas(rng, um_per_px, 0.75 * size + 4.0)
    parts = []
    for side in (-1.0, 1.0):
        corners = int(rng.integers(3, 12))
        theta = (np.arange(corners) + rng.uniform(-0.3, 0.3, corners)) * 2 * np.pi / corners
        radius = size * rng.uniform(0.2, 0.36) * rng.uniform(0.7, 1.0, corners)
        points = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1)
        points[:, 0] += side * size * rng.uniform(0.05, 0.25)
        parts.append(distance_from_mask(polygon_mask(canvas, points), canvas.step_um))
    both = np.minimum(*parts) if rng.random() < 0.6 else np.maximum(parts[0], -parts[1])
    return _paint_distance(rng, canvas, both, size)


KINDS = (
    ClutterKind("lobed outline", FAMILY, draw_lobed_outline, (0.5, 100.0)),
    ClutterKind("angular chip", FAMILY, draw_angular_chip, (0.5, 100.0)),
    ClutterKind("star burr", FAMILY, draw_star, (0.1, 30.0)),
    ClutterKind("flat-ended rod", FAMILY, draw_box, (0.5, 60.0)),
    ClutterKind("teardrop", FAMILY, draw_teardrop, (0.2, 40.0)),
    ClutterKind("crescent", FAMILY, draw_crescent, (0.2, 40.0)),
    ClutterKind("small ring", FAMILY, draw_ring, (0.2, 40.0)),
    ClutterKind("dumbbell", FAMILY, draw_dumbbell, (0.2, 40.0)),
    ClutterKind("letter stroke", FAMILY, draw_letter, (0.2, 40.0)),
    ClutterKind("twig", FAMILY, draw_twig, (0.2, 40.0)),
    ClutterKind("knot", FAMILY, draw_knot, (0.2, 30.0)),
    ClutterKind("overlapping pair", FAMILY, draw_overlapping_pair, (0.3, 50.0)),
)
