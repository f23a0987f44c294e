"""Mould spores and bacteria: small, dark or clear, single, in chains, of several cells."""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint

FAMILY = "mould"

COLOURS: dict[str, float] = {
    "dark brown": 0.28,
    "brown": 0.25,
    "greenish": 0.17,
    "grey": 0.15,
    "amber": 0.07,
    "black": 0.08,
}


def _paint_wall(rng: np.random.Generator, canvas: Canvas, away: Image, septa: Image) -> Picture:
    """Tint cells given the distance to their wall and a map of cross walls."""
    body = inside(away, canvas.step_um, 0.15)
    wall = bump(away + np.float32(0.3), rng.uniform(0.3, 0.55))
    tone = rng.uniform(0.0, 0.8) * body + rng.uniform(0.2, 0.8) * wall
    tone = tone + rng.uniform(0.2, 0.9) * septa * body
    tone = tone - rng.uniform(0.0, 0.15) * bump(away - np.float32(0.7), 0.4)
    tone = tone * log_uniform(rng, 0.12, 1.3)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, COLOURS)))


def _ellipse(canvas: Canvas, u_um: float, v_um: float, half_u: float, half_v: float) -> Image:
    du = (canvas.u_um - np.float32(u_um)) / np.float32(half_u)
    dv = (canvas.v_um - np.float32(v_um)) / np.float32(half_v)
    return (np.hypot(du, dv) - np.float32(1.0)) * np.float32(min(half_u, half_v))


def draw_round_conidia(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one to eight loose round spores of 3 to 6 um."""
    count, radius = int(rng.choice([1, 1, 2, 3, 5, 8])), rng.uniform(1.5, 3.0)
    spread = radius * (0.0 if count == 1 else 1.1 * np.sqrt(count))
    canvas = make_canvas(rng, um_per_px, 2.2 * spread + radius + 2.0)
    away = np.full(canvas.shape, 1e3, np.float32)
    for _ in range(count):
        place = np.clip(rng.normal(0.0, spread, 2), -1.5 * spread, 1.5 * spread)
        size = radius * rng.uniform(0.85, 1.1)
        away = np.minimum(away, _ellipse(canvas, place[0], place[1], size, size))
    return _paint_wall(rng, canvas, away, np.zeros(canvas.shape, np.float32))


def draw_conidia_chain(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bent chain of round or barrel-shaped spores."""
    count, half_v = int(rng.integers(3, 12)), rng.uniform(1.0, 2.6)
    half_u = half_v * rng.uniform(0.9, 1.5)
    heading = np.cumsum(rng.normal(0.0, 0.22, count))
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * 1.9 * half_u
    places = np.cumsum(steps, axis=0)
    places -= (places.min(axis=0) + places.max(axis=0)) / 2
    half = np.abs(places).max(axis=0) + half_u + 2.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    away = np.full(canvas.shape, 1e3, np.float32)
    for (u, v), turn in zip(places, heading, strict=True):
        du, dv = canvas.u_um - np.float32(u), canvas.v_um - np.float32(v)
        cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        share = np.hypot((cos * du + sin * dv) / np.float32(half_u), (cos * dv - sin * du) / half_v)
        away = np.minimum(away, (share - np.float32(1.0)) * np.float32(half_v))
    return _paint_wall(rng, canvas, away.astype(np.float32), np.zeros(canvas.shape, np.float32))


def draw_two_celled(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a dark spore of two cells, nipped at the wall between them."""
    size, unlike = rng.uniform(7.0, 22.0), rng.uniform(0.8, 1.0)
    half_u = size / 4 * 1.1
    half_v = half_u * rng.uniform(0.65, 0.95)
    canvas = make_canvas(rng, um_per_px, size / 2 + 2.0, half_v + 2.0)
    left = _ellipse(canvas, -size / 4 * 0.92, 0.0, half_u, half_v)
    right = _ellipse(canvas, size / 4 * 0.92, 0.0, half_u * unlike, half_v * unlike)
    septum = bump(canvas.u_um, rng.uniform(0.3, 0.6))
    return _paint_wall(rng, canvas, np.minimum(left, right), septum)


def draw_banana_conidium(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bent, pointed spore with up to five cross walls."""
    half_u = rng.uniform(8.0, 25.0)
    half_v = half_u * rng.uniform(0.08, 0.16)
    sag = half_u * rng.uniform(0.1, 0.4)
    canvas = make_canvas(rng, um_per_px, half_u + 2.0, half_v + sag + 2.0)
    place = canvas.u_um / np.float32(half_u)
    bent = canvas.v_um - np.float32(sag) * (place * place - np.float32(0.5))
    width = np.float32(half_v) * (1.0 - np.abs(place) ** np.float32(rng.uniform(1.8, 3.5)))
    away = np.maximum(np.abs(bent) - width, np.abs(canvas.u_um) - np.float32(half_u))
    septa = _cross_walls(rng, canvas, half_u, int(rng.integers(0, 6)))
    return _paint_wall(rng, canvas, away.astype(np.float32), septa)


def draw_septate_conidium(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a club with cross walls and some lengthwise ones, as on bread and leaves."""
    half_u = rng.uniform(9.5, 28.0)
    half_v = half_u * rng.uniform(0.25, 0.45)
    canvas = make_canvas(rng, um_per_px, half_u + 2.0, half_v * 1.5 + 2.0)
    place = canvas.u_um / np.float32(half_u)
    taper = rng.uniform(0.0, 0.7)
    width = np.sqrt(np.clip(1.0 - place * place, 0.0, 1.0)) * (1.0 - np.float32(taper) * place)
    away = np.abs(canvas.v_um) - np.float32(half_v) * width
    away = np.maximum(away, np.abs(canvas.u_um) - np.float32(half_u))
    septa = _cross_walls(rng, canvas, half_u, int(rng.integers(2, 8)))
    if rng.random() < 0.6:
        part = (np.abs(place - np.float32(rng.uniform(-0.5, 0.5))) < 0.3).astype(np.float32)
        septa = np.maximum(septa, part * bump(canvas.v_um, 0.35))
    return _paint_wall(rng, canvas, away.astype(np.float32), septa)


def _cross_walls(rng: np.random.Generator, canvas: Canvas, half_u: float, count: int) -> Image:
    septa = np.zeros(canvas.shape, np.float32)
    for i in range(count):
        place = half_u * (-1.0 + 2.0 * (i + 1) / (count + 1)) + rng.normal(0.0, 0.04 * half_u)
        septa = np.maximum(septa, bump(canvas.u_um - np.float32(place), 0.35))
    return septa


def draw_small_ellipsoid(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a smooth ellipsoid spore 4 to 7 um long."""
    half_u = rng.uniform(2.0, 3.5)
    half_v = half_u * rng.uniform(0.4, 0.8)
    canvas = make_canvas(rng, um_per_px, half_u + 2.0, half_v + 2.0)
    drops = np.zeros(canvas.shape, np.float32)
    for side in rng.choice([-1.0, 1.0], int(rng.integers(0, 3)), replace=False):
        drops += bump(_ellipse(canvas, side * half_u * 0.45, 0.0, 0.5, 0.5), 0.3)
    return _paint_wall(rng, canvas, _ellipse(canvas, 0.0, 0.0, half_u, half_v), drops)


def draw_bacteria(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a few specks or short rods of about 1 um."""
    count, spread = int(rng.integers(2, 16)), rng.uniform(2.0, 8.0)
    canvas = make_canvas(rng, um_per_px, 2.0 * spread + 4.0)
    half_u = rng.choice([0.5, rng.uniform(0.8, 2.0)])
    density = np.zeros(canvas.shape, np.float32)
    for _ in range(count):
        u, v = np.clip(rng.normal(0.0, spread, 2), -1.9 * spread, 1.9 * spread)
        turn = rng.uniform(0.0, np.pi)
        du, dv = canvas.u_um - np.float32(u), canvas.v_um - np.float32(v)
        cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
        way = np.maximum(np.abs(cos * du + sin * dv) - np.float32(half_u - 0.4), 0.0)
        density = np.maximum(density, bump(np.hypot(way, cos * dv - sin * du), 0.35))
    tone = density * np.float32(log_uniform(rng, 0.1, 0.8))
    return canvas.finish(colour(tone, tint(rng, {"grey": 3, "dark brown": 1, "bluish": 0.5})))


KINDS = (
    ClutterKind("round conidia", FAMILY, draw_round_conidia, (0.5, 120.0)),
    ClutterKind("conidia chain", FAMILY, draw_conidia_chain, (0.1, 20.0)),
    ClutterKind("two-celled spore", FAMILY, draw_two_celled, (0.1, 20.0)),
    ClutterKind("banana conidium", FAMILY, draw_banana_conidium, (0.1, 20.0)),
    ClutterKind("septate conidium", FAMILY, draw_septate_conidium, (0.1, 15.0)),
    ClutterKind("small ellipsoid spore", FAMILY, draw_small_ellipsoid, (0.5, 100.0)),
    ClutterKind("bacteria", FAMILY, draw_bacteria, (0.2, 40.0)),
)
