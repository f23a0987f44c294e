"""Spore-sized litter, family K: dark mould spores with walls across and along them.

Ovals, clubs and spindles of two to eight cells, as moulds of leaves and of damp walls
shed them; everything that depends on the place along a spore is looked up in a table.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture
from sporecount.render.clutter.group import canvas_around, loose_group, window_at
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import bump, colour, inside, log_uniform, tint

FAMILY = "litter_septate"

COLOURS: dict[str, float] = {
    "dark brown": 0.34,
    "olive": 0.26,
    "brown": 0.18,
    "black": 0.14,
    "grey": 0.05,
    "amber": 0.03,
}
#: Places along a spore for which its width and walls are tabled.
_STATIONS = 160
#: Cross walls are seen as such up to this scale, um per pixel.
TOLD_UM_PER_PX = 0.62


@dataclass(frozen=True)
class _Look:
    """What the spores of one patch have in common; lengths in um, the rest as shares."""

    half_u: float
    half_v: float
    blunt: float
    point: float
    taper: float
    beak: float
    cells: int
    nip: float
    lengthwise: float
    wall: float
    wall_um: float
    septum: float
    septum_um: float
    uneven: float
    pale_ends: float
    glow: float
    bend: float
    soft_um: float
    strength: float
    tint: Image


def _random_look(rng: np.random.Generator) -> _Look:
    half_u, wall = log_uniform(rng, 5.0, 15.0), rng.uniform(0.2, 0.8)
    half_v = float(np.clip(half_u * rng.uniform(0.28, 0.62), 2.4, 5.2))
    return _Look(
        half_u=half_u,
        half_v=half_v,
        blunt=rng.uniform(1.8, 3.2),
        point=rng.uniform(0.45, 0.7),
        taper=rng.normal(0.0, 0.15),
        beak=0.0,
        cells=int(np.clip(rng.poisson(half_u / 3.2) + 1, 2, 8)),
        nip=float(rng.choice((0.0, 0.06, 0.14, 0.22))),
        lengthwise=0.0,
        wall=wall,
        wall_um=rng.uniform(0.3, 0.6),
        # As clear as the outline, nearly: spores too have dark rims about featureless middles.
        septum=(1.0 + wall) * rng.uniform(0.4, 0.7),
        septum_um=rng.uniform(0.3, 0.5),
        uneven=rng.uniform(0.05, 0.4),
        pale_ends=rng.uniform(0.2, 0.8) if rng.random() < 0.3 else 0.0,
        glow=rng.uniform(0.0, 0.5) if rng.random() < 0.5 else 0.0,
        bend=rng.normal(0.0, 0.08),
        soft_um=rng.uniform(0.0, 0.35),
        strength=log_uniform(rng, 0.3, 0.9),
        tint=tint(rng, COLOURS),
    )


def _tables(rng: np.random.Generator, look: _Look, half_u: float) -> NDArray[np.float32]:
    """Return width, slope's tilt, cross walls, cell tones and lengthwise walls by place."""
    s = np.linspace(-1.0, 1.0, _STATIONS)
    body_end = 1.0 - 2.0 * look.beak
    body = np.clip((s + 1.0) / (1.0 + body_end) * 2.0 - 1.0, -1.0, 1.0)
    width = np.clip(1.0 - np.abs(body) ** look.blunt, 0.0, 1.0) ** look.point
    width = width * (1.0 - look.taper * body)
    width = look.half_v * width / max(float(width.max()), 1e-3)
    if look.beak > 0:
        thin = 0.9 * np.clip((1.0 - s) / 0.1, 0.0, 1.0) ** 0.5
        width = np.maximum(width, np.where(s > 0.0, thin, 0.0))
    even = -1.0 + (1.0 + body_end) * (np.arange(1, look.cells) / look.cells)
    places = even + rng.normal(0.0, 0.16 / look.cells, len(even))
    gone = np.abs(s[:, None] - places) * half_u
    line = np.exp(-0.5 * np.square(gone.min(axis=1) / look.septum_um))
    width = width * (1.0 - look.nip * np.exp(-0.5 * np.square(gone.min(axis=1) / 0.7)))
    cell = np.searchsorted(np.sort(places), s)
    tones = 1.0 - look.uneven * rng.random(look.cells)
    tones[[0, -1]] *= 1.0 - look.pale_ends
    split = rng.random(look.cells) < look.lengthwise
    split[[0, -1]] &= rng.random(2) < 0.4
    tilt = 1.0 / np.sqrt(1.0 + np.gradient(width, 2.0 * half_u / (_STATIONS - 1)) ** 2)
    return np.stack([width, np.maximum(tilt, 0.3), line, tones[cell], split[cell]]).astype(
        np.float32
    )


def _paint_spore(
    rng: np.random.Generator,
    canvas: Canvas,
    density: Image,
    look: _Look,
    place_um: NDArray[np.float64],
    turn: float,
) -> None:
    half_u = look.half_u * float(np.clip(rng.lognormal(0.0, 0.1), 0.8, 1.2))
    table = _tables(rng, look, half_u)
    window = window_at(canvas, place_um, turn, 1.15 * half_u + 1.5)
    sag = np.float32((look.bend + rng.normal(0.0, 0.03)) / half_u)
    v = window.v_um - sag * (np.square(window.u_um) - np.float32(0.4 * half_u**2))
    place = (window.u_um / np.float32(half_u) + 1) * np.float32(0.5 * (_STATIONS - 1))
    width, tilt, line, tones, split = table[:, np.clip(place, 0, _STATIONS - 1).astype(np.intp)]
    away = np.maximum((np.abs(v) - width) * tilt, np.abs(window.u_um) - np.float32(half_u))
    body = inside(away, window.step_um, look.soft_um)
    wall = bump(away + np.float32(look.wall_um * 0.7), look.wall_um)
    tone = body * np.float32(1.0 - look.glow) * tones
    tone = tone + np.float32(look.glow) * body * np.clip(-away / np.float32(look.half_v), 0, 1)
    offset = width * np.float32(rng.uniform(-0.35, 0.35))
    line = np.maximum(line, split * bump(v - offset, look.septum_um))
    tone = tone + np.float32(look.wall) * wall + np.float32(look.septum) * line * body
    tone = tone * np.float32(look.strength * rng.uniform(0.75, 1.2) / 1.4)
    window.lay(density, colour(tone, look.tint))


def _scattered(rng: np.random.Generator, um_per_px: float, look: _Look) -> Picture:
    """Draw one to five spores of one look, loose or touching."""
    count = int(rng.choice((1, 1, 1, 2, 2, 3, 5)))
    radius = 0.5 * (look.half_u + look.half_v)
    places = loose_group(rng, np.full(count, radius), float(rng.choice((0.05, 0.3, 0.8))))
    canvas, density = canvas_around(rng, um_per_px, places, 1.3 * look.half_u + 3.0)
    for place in places:
        _paint_spore(rng, canvas, density, look, place, rng.uniform(0.0, 2 * np.pi))
    return canvas.finish(density)


def draw_septate_oval(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw blunt ovals and barrels with one to seven cross walls."""
    return _scattered(rng, um_per_px, _random_look(rng))


def draw_septate_club(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw clubs, some with a drawn-out beak, whose cells grow smaller to one end."""
    look = _random_look(rng)
    half_u = rng.uniform(7.0, 16.0)
    return _scattered(
        rng,
        um_per_px,
        replace(
            look,
            half_u=half_u,
            half_v=float(np.clip(half_u * rng.uniform(0.25, 0.5), 2.4, 5.5)),
            taper=rng.uniform(0.3, 0.75),
            beak=rng.uniform(0.1, 0.35) if rng.random() < 0.5 else 0.0,
            lengthwise=rng.uniform(0.3, 0.9) if rng.random() < 0.5 else 0.0,
        ),
    )


def draw_septate_spindle(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw spindles pointed at both ends, straight or bent, with cross walls."""
    look = _random_look(rng)
    half_u = rng.uniform(7.0, 16.0)
    return _scattered(
        rng,
        um_per_px,
        replace(
            look,
            half_u=half_u,
            half_v=float(np.clip(half_u * rng.uniform(0.2, 0.42), 2.2, 5.0)),
            point=rng.uniform(0.85, 1.3),
            cells=int(rng.integers(3, 9)),
            bend=rng.normal(0.0, 0.2),
        ),
    )


def draw_walled_brick(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw short broad spores divided across and along, like a ball of bricks."""
    look = _random_look(rng)
    half_u = rng.uniform(5.5, 13.0)
    return _scattered(
        rng,
        um_per_px,
        replace(
            look,
            half_u=half_u,
            half_v=half_u * rng.uniform(0.5, 0.9),
            cells=int(rng.integers(3, 6)),
            lengthwise=rng.uniform(0.7, 1.0),
            nip=float(rng.choice((0.03, 0.1, 0.18))),
        ),
    )


def draw_septate_chain(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw two to five septate spores end to end, the later ones often smaller."""
    look = _random_look(rng)
    look = replace(look, half_u=min(look.half_u, 10.0), half_v=min(look.half_v, 4.2))
    count = int(rng.choice((2, 2, 3, 4, 5)))
    sizes = rng.uniform(0.85, 1.0) ** np.arange(count)
    heading = rng.uniform(0.0, 2 * np.pi) + np.cumsum(rng.normal(0.0, 0.25, count))
    steps = np.stack([np.cos(heading), np.sin(heading)], axis=1) * (look.half_u * sizes)[:, None]
    places = np.cumsum(steps, axis=0) + np.vstack([np.zeros((1, 2)), np.cumsum(steps, axis=0)[:-1]])
    places = places * rng.uniform(0.96, 1.1)
    places -= (places.min(axis=0) + places.max(axis=0)) / 2
    canvas, density = canvas_around(rng, um_per_px, places, 1.3 * look.half_u + 3.0)
    for place, size, turn in zip(places, sizes, heading, strict=True):
        one = replace(look, half_u=look.half_u * size, half_v=look.half_v * size)
        _paint_spore(rng, canvas, density, one, place, float(turn))
    return canvas.finish(density)


KINDS = (
    ClutterKind("septate oval", FAMILY, draw_septate_oval, (0.5, 80.0), TOLD_UM_PER_PX),
    ClutterKind("septate club", FAMILY, draw_septate_club, (0.3, 50.0), TOLD_UM_PER_PX),
    ClutterKind("septate spindle", FAMILY, draw_septate_spindle, (0.3, 50.0), TOLD_UM_PER_PX),
    ClutterKind("walled brick", FAMILY, draw_walled_brick, (0.3, 50.0), TOLD_UM_PER_PX),
    ClutterKind("septate chain", FAMILY, draw_septate_chain, (0.2, 40.0), TOLD_UM_PER_PX),
)
