"""Spore-sized litter, family G: chips with straight sides, crumbs of scales, shells, flakes.

Outlines are polygons filled on a sheet; what shows inside is laid over them.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import frame_to_px, log_uniform, noise, tint

FAMILY = "litter_chip"

Points = NDArray[np.float64]
COLOURS: dict[str, float] = {
    "amber": 0.26,
    "brown": 0.24,
    "dark brown": 0.07,
    "orange": 0.12,
    "russet": 0.12,
    "yellow": 0.08,
    "grey": 0.09,
    "reddish": 0.02,
    "black": 0.02,
}


def _sheet(
    rng: np.random.Generator, um_per_px: float, outlines: list[Points]
) -> tuple[Canvas, Image]:
    """Return a canvas around the outlines, and the share of each pixel that they cover."""
    every = np.vstack(outlines)
    middle = (every.min(axis=0) + every.max(axis=0)) / 2
    half = np.abs(every - middle).max(axis=0) + 3.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    rows, columns = canvas.shape
    fine = np.zeros((rows * 2, columns * 2), np.uint8)
    for outline in outlines:
        at = (frame_to_px(canvas, outline - middle) + 0.5) * 2 - 0.5
        corners = np.round(at * 16).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(fine, [corners], 255, cv2.LINE_AA, 4)
    cover = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA)
    return canvas, cover.astype(np.float32) / np.float32(255)


def _painted(
    rng: np.random.Generator, canvas: Canvas, cover: Image, inner: Image | None = None
) -> Picture:
    """Paint a covered place flat, graded, mottled or edged, in one or two tints."""
    tone = np.full_like(cover, np.float32(rng.uniform(0.5, 1.0))) if inner is None else inner
    size = max(float(np.ptp(canvas.u_um)), 1.0)
    if rng.random() < 0.5:
        way = canvas.u_um * np.float32(np.cos(3)) + canvas.v_um
        tone = tone * np.clip(1 + np.float32(rng.uniform(-3, 3) / size) * way, 0.1, 2.0)
    if rng.random() < 0.5:
        grain = noise(rng, canvas, log_uniform(rng, 0.8, 4.0), 2)
        tone = tone * np.clip(1 + np.float32(rng.uniform(0.1, 0.4)) * grain, 0.0, 2.5)
    if rng.random() < 0.45:
        wide = cv2.GaussianBlur(cover, (0, 0), max(0.5, rng.uniform(0.4, 1.2) / canvas.step_um))
        tone = tone + np.float32(rng.uniform(-0.6, 1.2)) * (1 - wide)
    body = cover
    if rng.random() < 0.6:
        body = cv2.GaussianBlur(cover, (0, 0), max(0.3, rng.uniform(0.1, 0.9) / canvas.step_um))
    out = np.clip(tone, 0.0, 2.0) * body
    if rng.random() < 0.3:
        halo = cv2.GaussianBlur(cover, (0, 0), 0.8 / canvas.step_um) * (1 - cover)
        out = out - np.float32(rng.uniform(0.1, 0.5)) * halo
    strength = np.float32(log_uniform(rng, 0.12, 1.2))
    first, second = tint(rng, COLOURS), tint(rng, COLOURS)
    hue = first + np.float32(rng.uniform(0.0, 0.5)) * (second - first)
    return canvas.finish(out[:, :, None] * (strength * hue))


def _blob(rng: np.random.Generator, size: float, slim: float, rough: float) -> Points:
    """Return a roundish outline with waves of all orders."""
    theta = np.linspace(0.0, 2 * np.pi, 60, endpoint=False)
    radius = np.ones_like(theta)
    for order in range(2, 12):
        phase = rng.uniform(0, 2 * np.pi)
        radius = radius + rng.normal(0.0, rough / order) * np.cos(order * theta + phase)
    points = np.stack([np.cos(theta), slim * np.sin(theta)], axis=1)
    return points * (np.maximum(radius, 0.3) * size / 2)[:, None]


def _cut(points: Points, way: float, offset: float) -> Points:
    """Move what lies beyond a straight line onto it."""
    normal = np.array([np.cos(way), np.sin(way)])
    beyond = np.maximum(points @ normal - offset, 0.0)
    return points - beyond[:, None] * normal


def draw_cut_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round chip with one straight side, sometimes two or three."""
    size = log_uniform(rng, 5.5, 22.0)
    points = _blob(rng, size, rng.uniform(0.5, 1.0), rng.uniform(0.0, 0.25))
    for _ in range(int(rng.choice((1, 1, 2, 3)))):
        points = _cut(points, rng.uniform(0, 2 * np.pi), size * rng.uniform(0.0, 0.25))
    canvas, cover = _sheet(rng, um_per_px, [points])
    return _painted(rng, canvas, cover)


def draw_shard(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a triangle, kite, lozenge or other sharp polygon."""
    size, corners = log_uniform(rng, 5.5, 22.0), int(rng.choice((3, 4, 4, 5)))
    theta = (np.arange(corners) + rng.uniform(-0.2, 0.2, corners)) * 2 * np.pi / corners
    radius = rng.uniform(0.7, 1.0, corners)
    points = np.stack([radius * np.cos(theta), radius * np.sin(theta)], axis=1) * size / 2
    points[:, 1] *= rng.uniform(0.35, 1.0)
    canvas, cover = _sheet(rng, um_per_px, [points])
    return _painted(rng, canvas, cover)


def draw_scale_crumb(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a ragged crumb of a wing scale, with its ridges, alone or with smaller ones."""
    size = log_uniform(rng, 5.5, 20.0)
    outlines = [_blob(rng, size, rng.uniform(0.35, 0.9), rng.uniform(0.15, 0.5))]
    for _ in range(int(rng.choice((0, 0, 1, 3)))):
        place = rng.normal(0.0, 0.8 * size, 2)
        outlines.append(_blob(rng, size * rng.uniform(0.15, 0.5), 0.6, 0.6) + place)
    if rng.random() < 0.6:
        outlines[0] = _cut(outlines[0], rng.choice((0.0, np.pi / 2)), size * rng.uniform(0.1, 0.3))
    canvas, cover = _sheet(rng, um_per_px, outlines)
    turn, pitch = rng.choice((0.0, rng.uniform(0, np.pi))), rng.uniform(0.8, 2.6)
    across = canvas.v_um * np.float32(np.cos(turn)) + canvas.u_um * np.float32(np.sin(turn))
    ridges = np.cos(across * np.float32(2 * np.pi / pitch))
    # Ridges below two pixels cannot show.
    depth = rng.uniform(0.0, 0.5) * min(1.0, pitch / (2.5 * canvas.step_um))
    return _painted(rng, canvas, cover, np.float32(0.7) + np.float32(depth) * ridges)


def draw_half_grain(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a half, a quarter or a bitten piece of a pollen grain: thick wall, netted face."""
    radius = rng.uniform(4.5, 13.0)
    points = _blob(rng, 2 * radius, rng.uniform(0.8, 1.0), 0.03)
    rough = 1 + rng.normal(0.0, 0.03, len(points))
    points = points * rough[:, None]
    for _ in range(int(rng.choice((1, 1, 2)))):
        points = _cut(points, rng.uniform(0, 2 * np.pi), radius * rng.uniform(-0.2, 0.45))
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    canvas, cover = _sheet(rng, um_per_px, [points])
    rho = np.hypot(canvas.u_um + np.float32(middle[0]), canvas.v_um + np.float32(middle[1]))
    wall = np.exp(-np.square((rho - np.float32(0.93 * radius)) / np.float32(rng.uniform(0.6, 1.6))))
    net = noise(rng, canvas, rng.uniform(1.2, 3.5), 1)
    inner = np.float32(rng.uniform(0.1, 0.7)) + np.float32(rng.uniform(0.2, 0.9)) * wall
    return _painted(rng, canvas, cover, inner * np.clip(1 + np.float32(0.25) * net, 0.2, 2.0))


def draw_torn_flake(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin flake of ragged outline with a fold or two."""
    size = log_uniform(rng, 6.0, 22.0)
    points = _blob(rng, size, rng.uniform(0.4, 1.0), rng.uniform(0.15, 0.5))
    points = points + rng.normal(0.0, 0.02 * size, points.shape)
    canvas, cover = _sheet(rng, um_per_px, [points])
    inner = np.full_like(cover, np.float32(rng.uniform(0.2, 0.6)))
    for _ in range(int(rng.integers(1, 4))):
        turn, away = rng.uniform(0, np.pi), rng.normal(0.0, 0.15 * size)
        line = canvas.u_um * np.float32(np.cos(turn)) + canvas.v_um * np.float32(np.sin(turn))
        line = line - np.float32(away)
        if rng.random() < 0.5:
            inner = inner + np.float32(rng.uniform(0.1, 0.5)) * (line > 0)
        inner = inner + np.float32(rng.uniform(0.2, 0.8)) * np.exp(-np.square(line / 0.5))
    return _painted(rng, canvas, cover, inner)


def draw_branched_bit(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw thick arms that meet in one place: antlers, mitts, crosses."""
    size, arms = log_uniform(rng, 5.0, 22.0), int(rng.integers(3, 7))
    outlines = []
    for turn in rng.uniform(0, 2 * np.pi) + np.arange(arms) * 2 * np.pi / arms:
        turn, reach = turn + rng.normal(0.0, 0.35), size * rng.uniform(0.25, 0.55)
        wide = size * rng.uniform(0.05, 0.13)
        club = rng.uniform(0.5, 1.6)
        s = np.linspace(0.0, np.pi, 10)
        tip = np.stack([reach + club * wide * np.sin(s), club * wide * np.cos(s)], axis=1)
        arm = np.vstack([[[-wide, wide]], tip, [[-wide, -wide]]])
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        outlines.append(arm @ spin.T)
    canvas, cover = _sheet(rng, um_per_px, outlines)
    return _painted(rng, canvas, cover)


def draw_shell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a curved piece of a shell: an arc of even thickness with broken ends."""
    radius, thick = log_uniform(rng, 3.0, 12.0), rng.uniform(0.8, 3.0)
    turn = np.linspace(0.0, rng.uniform(0.8, 4.2), 24)
    outer = radius + rng.normal(0.0, 0.03 * radius, 24)
    inner = np.maximum(radius - thick, 0.2) + rng.normal(0.0, 0.03 * radius, 24)
    around = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    points = np.vstack([around * outer[:, None], (around * inner[:, None])[::-1]])
    canvas, cover = _sheet(rng, um_per_px, [points])
    return _painted(rng, canvas, cover)


def draw_small_crystal(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a prism with facets, each in its own tone, dark or bright edges between them."""
    half, sides = log_uniform(rng, 2.0, 10.0), int(rng.choice((4, 5, 6, 6, 8)))
    theta = (np.arange(sides) + 0.5) * 2 * np.pi / sides
    points = np.stack([np.cos(theta), np.sin(theta) * rng.uniform(0.5, 1.0)], axis=1) * half
    points = points + rng.normal(0.0, 0.05 * half, points.shape)
    canvas, cover = _sheet(rng, um_per_px, [points])
    peak = rng.normal(0.0, 0.2 * half, 2)
    dx, dy = canvas.u_um - np.float32(peak[0]), canvas.v_um - np.float32(peak[1])
    sector = ((np.arctan2(dy, dx) / np.float32(2 * np.pi) + 1) * sides + 0.5).astype(
        np.intp
    ) % sides
    tones = rng.uniform(0.0, 1.0, sides).astype(np.float32)
    return _painted(rng, canvas, cover, tones[sector])


KINDS = (
    ClutterKind("cut chip", FAMILY, draw_cut_chip, (0.5, 100.0)),
    ClutterKind("sharp shard", FAMILY, draw_shard, (0.5, 100.0)),
    ClutterKind("scale crumb", FAMILY, draw_scale_crumb, (0.5, 120.0)),
    ClutterKind("half grain", FAMILY, draw_half_grain, (0.2, 30.0)),
    ClutterKind("torn flake", FAMILY, draw_torn_flake, (0.3, 60.0)),
    ClutterKind("branched bit", FAMILY, draw_branched_bit, (0.3, 50.0)),
    ClutterKind("shell piece", FAMILY, draw_shell, (0.3, 40.0)),
    ClutterKind("small crystal", FAMILY, draw_small_crystal, (0.3, 60.0)),
)
