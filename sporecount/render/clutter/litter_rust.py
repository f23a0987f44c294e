"""Spore-sized litter, family L: spores of rusts and smuts: thick dark walls, spines, warts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture
from sporecount.render.clutter.group import Window, canvas_around, length_of, loose_group, window_at
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint, two_tints

FAMILY = "litter_rust"

COLOURS: dict[str, float] = {
    "brown": 0.24,
    "dark brown": 0.22,
    "russet": 0.16,
    "olive": 0.14,
    "amber": 0.10,
    "orange": 0.10,
    "black": 0.04,
}
#: Spines and thick walls are seen as such up to this scale, um per pixel.
TOLD_UM_PER_PX = 0.5
#: Least width over length of a spore whose face has no warts dark enough to tell it by.
PLAIN_SLIM = 0.9
#: Least contrast of such warts, as optical density before strength.
CLEAR_WARTS = 0.4


@dataclass(frozen=True)
class _Look:
    """What the spores of one patch have in common; lengths in um, the rest as shares."""

    radius: float
    spread: float
    slim: float
    spines: int
    spine_um: float
    sharp: float
    wall: float
    wall_um: float
    fill: float
    core: float
    warts: float
    pores: int
    soft_um: float
    strength: float
    wall_tint: Image
    core_tint: Image


def _random_look(rng: np.random.Generator) -> _Look:
    wall_tint = tint(rng, COLOURS)
    share = np.float32(rng.uniform(0.2, 1.0))
    return _Look(
        radius=log_uniform(rng, 4.0, 10.0),
        spread=rng.uniform(0.02, 0.14),
        slim=rng.uniform(0.86, 1.0) if rng.random() < 0.7 else rng.uniform(0.78, 0.86),
        spines=0,
        spine_um=0.0,
        sharp=rng.uniform(0.8, 2.5),
        wall=rng.uniform(0.5, 1.3),
        wall_um=rng.uniform(0.5, 1.5),
        fill=rng.uniform(0.1, 0.6),
        core=rng.uniform(-0.3, 0.4),
        warts=0.0,
        pores=int(rng.choice((0, 0, 0, 2, 3, 4))),
        soft_um=rng.uniform(0.0, 0.3),
        strength=log_uniform(rng, 0.25, 1.4),
        wall_tint=wall_tint,
        core_tint=share * wall_tint + (1 - share) * tint(rng, COLOURS),
    )


def _spots(rng: np.random.Generator, window: Window, pitch_um: float) -> Image:
    """Return unevenly strewn dots, about ``pitch_um`` apart, as of warts seen from above."""
    rows, columns = window.u_um.shape
    cell = max(pitch_um / window.step_um, 1.5)
    size = (int(columns / cell) + 3, int(rows / cell) + 3)
    grid = rng.random((size[1], size[0])).astype(np.float32) - np.float32(0.5)
    matrix = np.array([[1 / cell, 0.0, 0.7], [0.0, 1 / cell, 0.7]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(grid, matrix, (columns, rows), flags=flags, borderMode=cv2.BORDER_REFLECT)


def _paint_spore(
    rng: np.random.Generator,
    canvas: Canvas,
    density: Image,
    look: _Look,
    place_um: NDArray[np.float64],
    radius_um: float,
) -> None:
    slim = float(np.clip(look.slim * rng.lognormal(0.0, 0.04), 0.76, 1.0))
    if look.warts * look.fill < CLEAR_WARTS * look.wall:
        slim = max(slim, PLAIN_SLIM)
    reach = radius_um / np.sqrt(slim) + look.spine_um + 1.2
    window = window_at(canvas, place_um, rng.uniform(0.0, 2 * np.pi), reach)
    long, short = radius_um / np.sqrt(slim), radius_um * np.sqrt(slim)
    share = length_of(window.u_um / np.float32(long), window.v_um / np.float32(short))
    away = (share - np.float32(1.0)) * np.float32(radius_um)
    if look.spines or look.pores:
        angle = np.arctan2(window.v_um, window.u_um)
    outer = away
    if look.spines:
        turn = angle * np.float32(look.spines / (2 * np.pi)) + np.float32(rng.random())
        turn = turn + np.float32(0.25) * np.sin(3.0 * angle + np.float32(rng.uniform(0, 6)))
        saw = np.abs((turn % 1.0) - np.float32(0.5)) * np.float32(2.0)
        outer = away - np.float32(look.spine_um) * saw ** np.float32(look.sharp)
    body = inside(outer, window.step_um, look.soft_um)
    wall = np.clip(1.0 + (away + np.float32(look.wall_um)) / np.float32(0.5), 0.0, 1.0)
    if look.pores:
        turn = angle * np.float32(look.pores) + np.float32(rng.uniform(0, 6))
        wall = wall * (1.0 - np.float32(0.7) * bump(np.cos(turn) - np.float32(1.0), 0.12))
    inner = np.float32(look.fill) * (1.0 + np.float32(look.core) * (1.0 - np.minimum(share, 1.0)))
    if look.warts:
        dots = np.clip(_spots(rng, window, 1.3), -0.5, 0.5)
        inner = inner * (1.0 + np.float32(2.0 * look.warts) * dots)
    tone = body * (np.float32(look.wall) * wall + inner * (1.0 - np.float32(0.5) * wall))
    tone = tone * np.float32(look.strength * rng.uniform(0.7, 1.15))
    window.lay(density, two_tints(tone, wall, look.core_tint, look.wall_tint))


def _grouped(
    rng: np.random.Generator, um_per_px: float, look: _Look, counts: tuple[int, ...], gap: float
) -> Picture:
    count = int(rng.choice(counts))
    # Much in one heap only where each is small: nothing is wider than about 100 um.
    count = min(count, max(1, int((45.0 / look.radius) ** 2 * 0.6)))
    radii = look.radius * rng.lognormal(0.0, look.spread, count).clip(0.75, 1.3)
    places = loose_group(rng, radii, gap)
    reach = float(radii.max()) * 1.15 + look.spine_um + 2.5
    canvas, density = canvas_around(rng, um_per_px, places, reach)
    for place, radius in zip(places, radii, strict=True):
        _paint_spore(rng, canvas, density, look, place, float(radius))
    return canvas.finish(density)


_COUNTS = (1, 1, 2, 3, 3, 4, 6, 9)


def draw_spiny_spores(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw round to oval spores with a thick wall and spines all over."""
    look = replace(
        _random_look(rng),
        spines=int(rng.integers(10, 28)),
        spine_um=rng.uniform(0.7, 1.6),
        warts=rng.uniform(0.1, 0.7),
    )
    return _grouped(rng, um_per_px, look, _COUNTS, float(rng.choice((0.0, 0.2, 0.7))))


def draw_warty_spores(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw spores with a coarse, warty or netted face and an uneven edge."""
    look = replace(
        _random_look(rng),
        spines=int(rng.integers(9, 22)),
        spine_um=rng.uniform(0.25, 0.7),
        sharp=rng.uniform(0.4, 0.9),
        warts=rng.uniform(0.5, 1.0),
        fill=rng.uniform(0.3, 0.8),
    )
    return _grouped(rng, um_per_px, look, _COUNTS, float(rng.choice((0.0, 0.2, 0.7))))


def draw_thick_walled(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw round spores with a smooth, thick, dark wall about a paler middle."""
    look = _random_look(rng)
    look = replace(look, wall_um=rng.uniform(1.0, 2.4), fill=rng.uniform(0.05, 0.6))
    look = replace(look, slim=max(look.slim, rng.uniform(0.84, 0.97)))
    return _grouped(rng, um_per_px, look, _COUNTS, float(rng.choice((0.0, 0.2, 0.7))))


def draw_smut_heap(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a dusty heap of five to forty small dark spores over each other."""
    look = _random_look(rng)
    rough = rng.random() < 0.5
    look = replace(
        look,
        radius=rng.uniform(2.5, 5.5),
        slim=max(look.slim, 0.85),
        spines=int(rng.integers(9, 16)) if rough else 0,
        spine_um=rng.uniform(0.2, 0.6) if rough else 0.0,
        pores=0,
        fill=rng.uniform(0.3, 0.9),
    )
    return _grouped(rng, um_per_px, look, (5, 8, 12, 18, 26, 40), float(rng.uniform(-0.3, 0.15)))


def draw_stalked_pair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a two-celled spore on a pale stalk, thick-walled, often with a thickened tip."""
    look = _random_look(rng)
    # Plump, or too large or too small for spores: the cells touch as two spores may.
    half, fat = rng.uniform(5.0, 10.0), rng.uniform(0.9, 1.0)
    if rng.random() < 0.4:
        fat = rng.uniform(0.6, 0.9)
        half = rng.uniform(13.5, 15.0) if rng.random() < 0.5 else rng.uniform(2.2, 3.0)
    stalk = half * rng.uniform(0.3, 3.0)
    cap, nip = rng.uniform(0.0, 2.0), rng.uniform(0.75, 1.0)
    places = np.array([[-(0.5 * stalk), 0.0], [0.5 * stalk, 0.0]])
    canvas, density = canvas_around(rng, um_per_px, places, 2.2 * half + 3.0, None)
    u, v = canvas.u_um - np.float32(0.5 * stalk), canvas.v_um
    cells = []
    for side, size in ((-1.0, rng.uniform(0.8, 1.0)), (1.0, rng.uniform(0.9, 1.1))):
        long, short = half * size, half * fat * size
        du = (u - np.float32(side * half * nip)) / np.float32(long)
        cells.append((length_of(du, v / np.float32(short)) - 1.0) * np.float32(short))
    away = np.minimum(*cells)
    body = inside(away, canvas.step_um, look.soft_um)
    thick = np.float32(look.wall_um) + np.float32(cap) * np.clip(u / np.float32(half), 0.0, 2.0) / 2
    wall = np.clip(1.0 + (away + thick) / np.float32(0.5), 0.0, 1.0)
    wall = np.maximum(wall, bump(u, rng.uniform(0.4, 0.8)) * body)
    tone = body * (np.float32(look.wall) * wall + np.float32(look.fill))
    width = np.float32(rng.uniform(0.8, 1.8)) * (1.0 + 0.15 * np.sin(u / np.float32(4.0)))
    tube = np.abs(v + np.float32(rng.normal(0.0, 0.01)) * np.square(u + half)) - width
    tube = np.maximum(tube, u + np.float32(1.6 * half))
    tube = np.maximum(tube, -(u + np.float32(1.6 * half + stalk)))
    stem = bump(tube + np.float32(0.3), 0.4) + np.float32(0.4) * inside(tube, canvas.step_um, 0.2)
    pale = stem * (1.0 - body) * np.float32(rng.uniform(0.1, 0.4))
    strength = np.float32(look.strength)
    density += two_tints(tone * strength, wall, look.core_tint, look.wall_tint)
    density += colour(pale * strength, np.float32(0.5) * (look.wall_tint + tint(rng, "yellow")))
    return canvas.finish(np.minimum(density, np.float32(2.4)))


KINDS = (
    ClutterKind("spiny spores", FAMILY, draw_spiny_spores, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("warty spores", FAMILY, draw_warty_spores, (0.3, 60.0), TOLD_UM_PER_PX),
    ClutterKind("thick-walled spores", FAMILY, draw_thick_walled, (0.3, 60.0)),
    ClutterKind("smut heap", FAMILY, draw_smut_heap, (0.2, 25.0)),
    ClutterKind("stalked pair", FAMILY, draw_stalked_pair, (0.2, 30.0)),
)
