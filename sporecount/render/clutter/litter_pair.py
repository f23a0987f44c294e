"""Spore-sized litter, family P: cells in unlike pairs, boats, shells with an eye, ridged chips."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture
from sporecount.render.clutter.group import Window, canvas_around, length_of, loose_group, window_at
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint

FAMILY = "litter_pair"

COLOURS: dict[str, float] = {
    "grey": 0.26,
    "brown": 0.18,
    "yellow": 0.14,
    "amber": 0.12,
    "olive": 0.10,
    "russet": 0.08,
    "dark brown": 0.07,
    "slate": 0.05,
}
#: Mid lines, eyes and ridges are seen as such up to this scale, um per pixel.
TOLD_UM_PER_PX = 0.5
#: Cells of pairs from this length on are rounder than spores, um.
ROUND_FROM_UM = 6.8


@dataclass(frozen=True)
class _Skin:
    """How the things of one patch are painted; lengths in um, the rest as shares."""

    fill: float
    rim: float
    rim_um: float
    marks: float
    glow: float
    halo: float
    soft_um: float
    uneven: float
    strength: float
    tint: Image


def _random_skin(rng: np.random.Generator) -> _Skin:
    clear = rng.random() < 0.6
    return _Skin(
        fill=rng.uniform(0.0, 0.3) if clear else rng.uniform(0.3, 0.9),
        rim=rng.uniform(0.5, 1.2) if clear else rng.uniform(0.1, 0.8),
        rim_um=rng.uniform(0.25, 0.7),
        marks=rng.uniform(0.4, 1.0),
        glow=rng.uniform(0.0, 0.3) if clear else rng.uniform(0.0, 0.15),
        halo=rng.uniform(0.02, 0.2) if rng.random() < 0.4 else 0.0,
        soft_um=rng.uniform(0.0, 0.3),
        uneven=rng.uniform(0.05, 0.35),
        strength=log_uniform(rng, 0.12, 1.2),
        tint=tint(rng, COLOURS),
    )


def _paint(
    rng: np.random.Generator,
    density: Image,
    window: Window,
    skin: _Skin,
    away: Image,
    marks: Image | None = None,
) -> None:
    """Paint one thing given distances, negative inside, and a map of dark and bright marks."""
    body = inside(away, window.step_um, skin.soft_um)
    rim = bump(away + np.float32(0.8 * skin.rim_um), skin.rim_um)
    deep = np.clip(-away * np.float32(0.5), 0.0, 1.0)
    tone = body * (np.float32(skin.fill) - np.float32(skin.glow) * deep)
    tone = tone + np.float32(skin.rim) * rim
    if skin.halo:
        tone = tone - np.float32(skin.halo) * bump(away - np.float32(0.8), 0.5)
    if marks is not None:
        tone = tone + np.float32(skin.marks) * marks * body
    tone = tone * np.float32(skin.strength * rng.uniform(1.0 - skin.uneven, 1.0))
    window.lay(density, colour(tone, skin.tint))


def _oval(window: Window, half_u: float, half_v: float, egg: float = 0.0) -> Image:
    u: Image
    v: Image
    u, v = window.u_um / np.float32(half_u), window.v_um / np.float32(half_v)
    if egg:
        v = v / (1.0 - np.float32(egg) * np.clip(u, -1.0, 1.0))
    return (length_of(u, v) - np.float32(1.0)) * np.float32(min(half_u, half_v))


def _many(
    rng: np.random.Generator, um_per_px: float, half_um: float, spread: float = 0.15
) -> tuple[Canvas, Image, list[tuple[NDArray[np.float64], float, float]]]:
    """Return a canvas, an empty density, and place, half length and turn of each thing."""
    count = int(rng.choice((1, 1, 1, 2, 3, 5)))
    halves = half_um * rng.lognormal(0.0, spread, count).clip(0.7, 1.35)
    places = loose_group(rng, halves, float(rng.choice((0.0, 0.3, 1.0))))
    canvas, density = canvas_around(rng, um_per_px, places, 1.25 * float(halves.max()) + 3.0)
    turns = rng.uniform(0.0, 2 * np.pi, count)
    return canvas, density, list(zip(places, halves.tolist(), turns.tolist(), strict=True))


def _paired(
    rng: np.random.Generator, um_per_px: float, half_um: float, unlike: float, beside: bool
) -> Picture:
    """Draw cells two by two: end to end or side by side, the second ``unlike`` in size."""
    skin, slim = _random_skin(rng), rng.uniform(0.55, 0.95)
    lean, grain = rng.normal(0.0, 0.35), rng.random() < 0.5
    plump = rng.uniform(0.9, 1.0)
    canvas, density, things = _many(rng, um_per_px, 2.0 * half_um, 0.1)
    for place, pair, turn in things:
        half_u = 0.5 * pair
        small = float(np.clip(unlike * rng.lognormal(0.0, 0.1), 0.25, 1.0))
        way = turn + (np.pi / 2 if beside else 0.0) + (0.0 if beside else rng.normal(0.0, 0.15))
        reach = half_u * (slim if beside else 1.0) * rng.uniform(0.9, 1.0)
        along = np.array([np.cos(way), np.sin(way)])
        spots = ((place - along * reach * small, 1.0), (place + along * reach, small))
        for number, (spot, size) in enumerate(spots):
            own = turn + (rng.normal(0.0, 0.12) + lean * number)
            window = window_at(canvas, spot, own, 1.1 * half_u * size + 2.0)
            width = slim if 2.0 * half_u * size < ROUND_FROM_UM else max(slim, plump)
            away = _oval(window, half_u * size, half_u * size * width)
            marks = None
            if grain:
                off = rng.normal(0.0, 0.25, 2) * half_u * size
                du, dv = window.u_um - np.float32(off[0]), window.v_um - np.float32(off[1])
                marks = bump(length_of(du, dv), 0.28 * half_u * size * slim)
            _paint(rng, density, window, skin, away, marks)
    return canvas.finish(density)


def draw_end_pair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two ovals that touch end to end."""
    return _paired(rng, um_per_px, log_uniform(rng, 2.0, 4.6), rng.uniform(0.6, 1.0), False)


def draw_side_pair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two ovals that lie side by side, like a coffee bean or a diplococcus."""
    return _paired(rng, um_per_px, log_uniform(rng, 2.0, 4.6), rng.uniform(0.6, 1.0), True)


def draw_bud(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw an oval cell with a much smaller one at its end."""
    return _paired(rng, um_per_px, log_uniform(rng, 2.2, 5.5), rng.uniform(0.25, 0.6), False)


def draw_boat(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw small boats of glass: a mid line with a knot, fine ribs, a clear wall."""
    skin = _random_skin(rng)
    skin = replace(skin, fill=min(skin.fill, 0.5), marks=max(skin.marks, 0.7 * skin.rim, 0.6))
    half, slim = rng.uniform(4.0, 14.0), rng.uniform(0.16, 0.4)
    power, ribs = rng.uniform(1.5, 3.0), rng.uniform(1.0, 2.2)
    line, knot = rng.uniform(0.6, 1.0), rng.uniform(0.0, 1.0)
    canvas, density, things = _many(rng, um_per_px, half)
    for place, half_u, turn in things:
        window = window_at(canvas, place, turn, 1.1 * half_u + 2.0)
        u = window.u_um / np.float32(half_u)
        width = np.float32(half_u * slim) * np.clip(1.0 - np.abs(u) ** np.float32(power), 0.0, 1.0)
        away = np.maximum((np.abs(window.v_um) - width) * np.float32(0.92), 0.0) + np.minimum(
            np.abs(window.v_um) - width, 0.0
        )
        away = np.maximum(away, np.abs(window.u_um) - np.float32(half_u))
        middle = bump(window.v_um, 0.35) * (1.0 - np.float32(knot) * bump(u, 0.12))
        stripes = np.cos(window.u_um * np.float32(2 * np.pi / ribs))
        away_from_middle = 1.0 - bump(window.v_um, 0.9)
        marks = np.float32(line) * middle + np.float32(0.25) * stripes * away_from_middle
        _paint(rng, density, window, skin, away.astype(np.float32), marks.astype(np.float32))
    return canvas.finish(density)


def draw_eyed_shell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw egg-shaped starch-like shells with growth lines about an eye near one end."""
    skin = _random_skin(rng)
    skin = replace(skin, fill=min(skin.fill, 0.35), marks=max(skin.marks, 0.8 * skin.rim, 0.6))
    half, slim = log_uniform(rng, 3.5, 11.0), rng.uniform(0.6, 0.95)
    egg, eye = rng.uniform(0.05, 0.3), rng.uniform(0.3, 0.65)
    pitch, rings = rng.uniform(1.4, 2.6), rng.uniform(0.3, 0.6)
    crack = rng.uniform(0.3, 1.0) if rng.random() < 0.5 else 0.0
    canvas, density, things = _many(rng, um_per_px, half)
    for place, half_u, turn in things:
        window = window_at(canvas, place, turn, 1.1 * half_u + 2.0)
        away = _oval(window, half_u, half_u * slim, egg)
        du = window.u_um - np.float32(eye * half_u)
        # Growth lines are round about the eye and take the outline's shape further out.
        far = length_of(du, window.v_um) + np.float32(0.35) * du
        waves = np.cos(far * np.float32(2 * np.pi / pitch)) * np.float32(rings)
        marks = waves + bump(length_of(du, window.v_um), 0.6)
        if crack:
            split = bump(window.v_um - np.float32(0.2) * du, 0.3) * bump(du, 0.3 * half_u)
            marks = marks + np.float32(crack) * split
        _paint(rng, density, window, skin, away, marks.astype(np.float32))
    return canvas.finish(density)


def draw_ridged_chip(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw tiny chips of wing scales, 6 to 20 um: parallel ridges, some ends torn or toothed."""
    skin = _random_skin(rng)
    skin = replace(skin, fill=min(skin.fill, 0.5), marks=max(skin.marks, 0.8 * skin.rim, 0.7))
    half, slim = log_uniform(rng, 3.0, 10.0), rng.uniform(0.35, 0.95)
    pitch, ridge_um = rng.uniform(1.2, 2.6), rng.uniform(0.25, 0.5)
    teeth, rounding = rng.uniform(0.0, 0.2), rng.uniform(0.1, 0.9)
    canvas, density, things = _many(rng, um_per_px, half, 0.25)
    for place, half_u, turn in things:
        window = window_at(canvas, place, turn, 1.25 * half_u + 2.0)
        half_v = half_u * slim
        phase, skew = rng.uniform(0.0, 2 * np.pi), rng.normal(0.0, 0.15)
        v = window.v_um + np.float32(rng.normal(0.0, 0.015)) * np.square(window.u_um)
        wave = np.cos(v * np.float32(2 * np.pi / pitch) + np.float32(phase))
        ragged = np.zeros_like(wave)
        for share in (0.37, 0.61, 1.0):
            turned = v * np.float32(2 * np.pi * share / pitch)
            ragged += np.float32(rng.normal(0.0, 0.6)) * np.cos(turned + rng.uniform(0, 6))
        ragged = np.clip(ragged, -1.0, 1.0) * (window.u_um > 0)
        u = window.u_um + np.float32(skew) * v + np.float32(teeth * half_u) * ragged
        round_um = np.float32(rounding * half_v * 0.9)
        over_u = np.abs(u) - (np.float32(0.8 * half_u) - round_um)
        over_v = np.abs(v) - (np.float32(half_v) - round_um)
        outer = length_of(np.maximum(over_u, 0.0), np.maximum(over_v, 0.0))
        away = outer + np.minimum(np.maximum(over_u, over_v), 0.0) - round_um
        ridges = bump(np.float32(1.0) - wave, ridge_um) * np.float32(0.8)
        _paint(rng, density, window, skin, away.astype(np.float32), ridges)
    return canvas.finish(density)


KINDS = (
    ClutterKind("end pair", FAMILY, draw_end_pair, (0.3, 70.0)),
    ClutterKind("side pair", FAMILY, draw_side_pair, (0.3, 60.0)),
    ClutterKind("bud on a cell", FAMILY, draw_bud, (0.3, 60.0)),
    ClutterKind("glass boat", FAMILY, draw_boat, (0.2, 40.0)),
    ClutterKind("eyed shell", FAMILY, draw_eyed_shell, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("ridged chip", FAMILY, draw_ridged_chip, (0.3, 70.0), TOLD_UM_PER_PX),
)
