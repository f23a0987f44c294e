"""A spore that broke into pieces which lie apart."""

from __future__ import annotations

import math

import numpy as np

from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.geometry import TAU, centroid, extents, rotated, split
from other_hands.illustrated.look import tinted
from other_hands.illustrated.outlines import lemon
from other_hands.illustrated.scene import Pose, Scene
from other_hands.illustrated.spores.paint import SporeFigure, paint_spore

#: A piece shorter or longer is no fragment that anybody would count.
SHORTEST_UM, LONGEST_UM = 2, 7

#: A piece thinner is a sliver.
THINNEST_UM = 1.2

#: Places that are tried for a piece before it is given up.
TRIES = 30


def break_spore(scene: Scene, x_px: float, y_px: float, most: int) -> int:
    """Paint the pieces of one spore around a place; return how many there are, at most `most`."""
    rng, look = scene.rng, scene.look
    pieces = _pieces(rng, lemon(rng, *look.size_um(rng), look))
    spread, jitter_um = rng.uniform(1.15, 2.2), rng.uniform(0.4, 2.4)
    angle = rng.uniform(0, TAU)
    depth = scene.depth_at(x_px, y_px) * 0.8
    density = look.own_density(rng) * rng.uniform(0.6, 1.0)
    pigment = tinted(rng, look.pigment, look.hue_sd)
    painted = 0
    for piece in pieces:
        if painted >= most:
            break
        offset = centroid(piece)
        piece = piece - offset
        measured = extents([piece])
        if not SHORTEST_UM <= measured.length <= LONGEST_UM or measured.width < THINNEST_UM:
            continue
        piece = _turned(rng, piece)
        middle = Pose(x_px, y_px, angle)
        place = _free_place(scene, piece, middle, offset, spread, jitter_um)
        if place is None:
            continue
        piece_depth = depth + rng.normal(0, 0.1)
        figure = SporeFigure(
            [piece],
            max(measured.width, 2.0),
            density * np.exp(rng.normal(0, 0.15)),
            state="fragment",
            damage="broken",
            wall=rng.uniform(0.5, 1.1),
            pigment=pigment,
        )
        paint_spore(scene, figure, place, piece_depth)
        painted += 1
    return painted


def _pieces(rng: np.random.Generator, outline: np.ndarray) -> list[np.ndarray]:
    """Break the longest piece again and again, until all are short enough; one may be lost."""
    pieces = [outline]
    for _ in range(8):
        longest = int(np.argmax([extents([piece]).length for piece in pieces]))
        measured = extents([pieces[longest]])
        long_enough = 6.9 if len(pieces) > 1 and rng.random() < 0.75 else 6.0
        if measured.length <= long_enough:
            break
        through = centroid(pieces[longest]) + rng.normal(0, 0.5, 2)
        across = math.radians(measured.angle_deg) + rng.normal(0, 0.4)
        parts = split(rng, pieces[longest], through, across, 0.2)
        if parts is None:
            break
        pieces[longest : longest + 1] = list(parts)
    if len(pieces) > 2 and rng.random() < 0.4:
        pieces.pop(rng.integers(len(pieces)))
    return pieces


def _turned(rng: np.random.Generator, piece: np.ndarray) -> np.ndarray:
    """Turn a piece a little or anyhow; some lie tilted and look thinner."""
    little = rng.random() < 0.5
    piece = rotated(piece, rng.normal(0, 0.4) if little else rng.uniform(0, TAU))
    if rng.random() < 0.2:
        piece[:, 1] *= rng.uniform(0.6, 0.9)
    return piece


def _free_place(
    scene: Scene,
    piece: np.ndarray,
    middle: Pose,
    offset_um: np.ndarray,
    spread: float,
    jitter_um: float,
) -> Pose | None:
    """Find room for a piece about where it broke off, ever further out; None where there is none.

    `offset_um` is its place in the whole spore, which lay as `middle` says.
    """
    um = scene.um_per_px
    for trial in range(TRIES):
        drift = scene.rng.normal(0, jitter_um + 0.1 * trial, 2)
        away = offset_um * (spread + trial * 0.06) + drift
        centre = middle.place(away[None], um)[0]
        x, y = centre
        if not (0 <= x < WIDTH_PX and 0 <= y < HEIGHT_PX and scene.in_field(x, y)):
            continue
        outline = rotated(piece, middle.angle_rad) + centre * um
        if scene.floor.claim(outline, overlap=0.0, distance_um=0.8):
            return Pose(x, y, middle.angle_rad)
    return None
