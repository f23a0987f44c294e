"""Spore-sized litter, family E: round cells alone, budding, in chains and in sheets.

Cells are painted one by one, each on its own small window of the patch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import frame_to_px, log_uniform, tint

FAMILY = "litter_cell"

COLOURS: dict[str, float] = {
    "amber": 0.22,
    "brown": 0.20,
    "russet": 0.12,
    "orange": 0.10,
    "reddish": 0.05,
    "yellow": 0.10,
    "grey": 0.14,
    "dark brown": 0.06,
    "greenish": 0.01,
}


@dataclass(frozen=True)
class _Paint:
    """How the cells of one patch are painted; widths and strengths as shares.

    ``core`` is negative where the middle is pale or bright, positive where dark.
    """

    body: float
    rim: float
    rim_um: float
    core: float
    core_size: float
    off_centre: float
    halo: float
    soft_um: float
    uneven: float


def _random_paint(rng: np.random.Generator) -> _Paint:
    body = float(rng.choice((0.0, 0.25, 0.6, 1.0)))
    return _Paint(
        body=body,
        rim=float(rng.uniform(0.0, 1.0) if body > 0.5 else rng.uniform(0.4, 1.2)),
        rim_um=float(rng.uniform(0.25, 0.9)),
        core=float(rng.choice((0.0, -0.5, -0.9, 0.6)) * rng.uniform(0.4, 1.0)),
        core_size=float(rng.uniform(0.2, 0.6)),
        off_centre=float(rng.uniform(0.0, 0.35) if rng.random() < 0.5 else 0.0),
        halo=float(rng.uniform(0.0, 0.4) if rng.random() < 0.4 else 0.0),
        soft_um=float(rng.uniform(0.0, 0.8)),
        uneven=float(rng.uniform(0.0, 0.35)),
    )


def _paint_cells(
    rng: np.random.Generator,
    um_per_px: float,
    places_um: NDArray[np.float64],
    halves_um: NDArray[np.float64],
    paint: _Paint | None = None,
) -> Picture:
    """Paint ellipses (places (n, 2), half axes (n, 2)), all in one manner."""
    paint = _random_paint(rng) if paint is None else paint
    places_um = places_um - (places_um.min(axis=0) + places_um.max(axis=0)) / 2
    half = np.abs(places_um).max(axis=0) + halves_um.max() + 2.5
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]))
    density = np.zeros((*canvas.shape, 3), np.float32)
    hue, strength = tint(rng, COLOURS), log_uniform(rng, 0.12, 1.2)
    adds = rng.random() < 0.5
    for (x, y), halves in zip(frame_to_px(canvas, places_um), halves_um, strict=True):
        tone = strength * rng.uniform(1.0 - paint.uneven, 1.0)
        turn = float(rng.uniform(0.0, np.pi))
        box, layer = _cell(canvas, float(x), float(y), halves, turn, paint)
        part = density[box]
        layer = layer[:, :, None] * (np.float32(tone) * hue)
        part[:] = (
            np.minimum(part + layer, 2.0)
            if adds
            else np.maximum(part, layer) + np.minimum(layer, 0.0)
        )
    return canvas.finish(density)


def _cell(
    canvas: Canvas, x: float, y: float, halves: NDArray[np.float64], turn: float, paint: _Paint
) -> tuple[tuple[slice, slice], Image]:
    """Return the window of one cell, and its tone there."""
    step = canvas.step_um
    reach = (float(halves.max()) + 2.0) / step
    rows, columns = canvas.shape
    left, right = max(int(x - reach), 0), min(int(x + reach) + 2, columns)
    top, bottom = max(int(y - reach), 0), min(int(y + reach) + 2, rows)
    dx = (np.arange(left, right, dtype=np.float32) - np.float32(x)) * np.float32(step)
    dy = ((np.arange(top, bottom, dtype=np.float32) - np.float32(y)) * np.float32(step))[:, None]
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    share = np.hypot((dx * cos + dy * sin) / halves[0], (dy * cos - dx * sin) / halves[1])
    share = share.astype(np.float32)
    small = np.float32(halves.min())
    away = (share - 1) * small
    body = np.clip(0.5 - away / np.float32(step + paint.soft_um), 0.0, 1.0)
    rim = np.exp(-np.square((away + np.float32(paint.rim_um)) / np.float32(paint.rim_um + step)))
    shift = np.float32(paint.off_centre) * small
    core = np.exp(
        -(np.square(dx - shift) + dy * dy) / np.square(np.float32(paint.core_size) * small)
    )
    halo = np.exp(-np.square((away - np.float32(0.8)) / np.float32(0.45 + step / 2)))
    tone = body * (
        np.float32(paint.body) + np.float32(paint.rim) * rim + np.float32(paint.core) * core
    )
    tone = np.maximum(tone, np.float32(-0.35)) - np.float32(paint.halo) * halo * (1 - body)
    return (slice(top, bottom), slice(left, right)), tone.astype(np.float32)


def _discs(
    rng: np.random.Generator, count: int, radius: float, unlike: float
) -> NDArray[np.float64]:
    """Return half axes of nearly round cells of nearly one size."""
    halves = radius * np.exp(rng.normal(0.0, unlike, (count, 1)))
    return halves * np.hstack([np.ones((count, 1)), rng.uniform(0.88, 1.0, (count, 1))])


def draw_disc(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one disc 4 to 9 um across, flat, hollow in its middle or with a bright core."""
    return _paint_cells(rng, um_per_px, np.zeros((1, 2)), _discs(rng, 1, rng.uniform(2.0, 4.5), 0))


def draw_disc_sheet(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw discs of 5 to 9 um that touch their neighbours: a pair, a raft or a sheet."""
    count, radius = int(np.exp(rng.uniform(np.log(2), np.log(28)))), rng.uniform(2.4, 4.4)
    turn, loose = rng.uniform(0.0, np.pi), rng.uniform(0.95, 1.25)
    grid = np.array([(i + 0.5 * (j % 2), j * 0.87) for i in range(-7, 8) for j in range(-7, 8)])
    grid = grid * 2.0 * radius * loose + rng.normal(0.0, 0.25 * radius * loose, grid.shape)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    grid = grid @ spin.T
    stretch = np.array([1.0, rng.uniform(1.0, 3.0)])
    order = np.argsort(np.hypot(*(grid * stretch).T) + rng.uniform(0, 2 * radius, len(grid)))
    return _paint_cells(rng, um_per_px, grid[order[:count]], _discs(rng, count, radius, 0.08))


def draw_budding_cell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a cell with a smaller one on its side, or two twins."""
    first = rng.uniform(1.8, 3.8)
    second = first * rng.uniform(0.4, 1.0)
    places = np.array([[0.0, 0.0], [(first + second) * rng.uniform(0.85, 1.0), 0.0]])
    halves = np.array([[first, first * rng.uniform(0.85, 1)], [second, second]])
    return _paint_cells(rng, um_per_px, places, halves)


def draw_cell_chain(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a short bent chain of round cells of 4 to 7 um."""
    count, radius = int(rng.integers(3, 9)), rng.uniform(2.0, 3.5)
    heading = np.cumsum(rng.normal(0.0, rng.uniform(0.05, 0.6), count))
    pitch = 2.0 * radius * rng.uniform(0.85, 1.05)
    places = np.cumsum(np.stack([np.cos(heading), np.sin(heading)], axis=1), axis=0) * pitch
    return _paint_cells(rng, um_per_px, places, _discs(rng, count, radius, 0.08))


def draw_cell_group(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw three to seven cells pressed together as in a tetrad or a rosette."""
    count, radius = int(rng.integers(3, 8)), rng.uniform(1.5, 3.8)
    turn = rng.uniform(0, 2 * np.pi) + np.arange(count) * 2 * np.pi / count
    away = radius * rng.uniform(0.85, 1.05) / np.sin(np.pi / count)
    places = np.stack([np.cos(turn), np.sin(turn)], axis=1) * away
    return _paint_cells(rng, um_per_px, places, _discs(rng, count, radius, 0.1))


def draw_thick_ring(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round ring with a thick wall, 5 to 15 um across."""
    radius = rng.uniform(2.5, 7.5)
    paint = _Paint(
        body=float(rng.uniform(0.0, 0.25)),
        rim=float(rng.uniform(0.7, 1.2)),
        rim_um=float(radius * rng.uniform(0.12, 0.3)),
        core=float(rng.uniform(-0.4, 0.0)),
        core_size=float(rng.uniform(0.3, 0.6)),
        off_centre=0.0,
        halo=float(rng.choice((0.0, 0.3))),
        soft_um=float(rng.uniform(0.0, 0.6)),
        uneven=0.0,
    )
    halves = np.array([[radius, radius * rng.uniform(0.84, 1.0)]])
    return _paint_cells(rng, um_per_px, np.zeros((1, 2)), halves, paint)


def draw_bright_droplet(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw one to four droplets with dark edges and bright cores, 3 to 16 um across."""
    count = int(rng.choice((1, 1, 1, 2, 4)))
    radius = log_uniform(rng, 1.5, 8.0)
    paint = _Paint(
        body=float(rng.uniform(0.05, 0.5)),
        rim=float(rng.uniform(0.5, 1.2)),
        rim_um=float(np.clip(radius * rng.uniform(0.1, 0.45), 0.3, 2.5)),
        core=float(rng.uniform(-1.2, -0.5)),
        core_size=float(rng.uniform(0.2, 0.55)),
        off_centre=float(rng.uniform(0.0, 0.4)),
        halo=float(rng.uniform(0.0, 0.4)),
        soft_um=float(rng.uniform(0.0, 0.5)),
        uneven=0.1,
    )
    places = np.cumsum(rng.normal(0.0, 2.2 * radius, (count, 2)), axis=0)
    return _paint_cells(rng, um_per_px, places, _discs(rng, count, radius, 0.25), paint)


KINDS = (
    ClutterKind("flat disc", FAMILY, draw_disc, (0.5, 120.0)),
    ClutterKind("disc sheet", FAMILY, draw_disc_sheet, (0.2, 40.0)),
    ClutterKind("budding cell", FAMILY, draw_budding_cell, (0.5, 100.0)),
    ClutterKind("cell chain", FAMILY, draw_cell_chain, (0.2, 40.0)),
    ClutterKind("cell group", FAMILY, draw_cell_group, (0.2, 40.0)),
    ClutterKind("thick ring", FAMILY, draw_thick_ring, (0.2, 40.0)),
    ClutterKind("bright droplet", FAMILY, draw_bright_droplet, (0.3, 60.0)),
)
