"""A spore burst into pieces that lie apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from other_hands.layered.canvas import Box, Canvas, DrawnSpore
from other_hands.layered.chance import smooth_step
from other_hands.layered.spores.placing import Circle, is_clear
from other_hands.layered.spores.shape import Spore, outline_and_height
from other_hands.layered.spores.substance import Fading, Form, density_and_path

#: Sizes of pieces that are drawn: smaller ones nobody could read, larger ones are half a spore.
LENGTHS_UM = (1.9, 7.6)

#: Share of pieces that got lost, where there are more than two.
LOST_SHARE = 0.12

#: Places that are tried for a piece, each further out than the last.
ATTEMPTS = 20


@dataclass(frozen=True)
class Piece:
    """A piece of a spore where it came to lie."""

    inside_um: np.ndarray  # (h, w) distance to its outline, positive inside
    height_um: np.ndarray
    mask: np.ndarray
    box: Box
    x_um: float
    y_um: float
    length_um: float
    width_um: float
    angle_deg: float

    @property
    def radius_um(self) -> float:
        """Mean of half the length and half the width."""
        return (self.length_um + self.width_um) / 4


@dataclass(frozen=True)
class Burst:
    """A spore that bursts at a point; (n, 2) seeds_um, along and across, part it into pieces."""

    canvas: Canvas
    rng: np.random.Generator
    spore: Spore
    x_um: float
    y_um: float
    focus_um: float
    seeds_um: np.ndarray
    spread: float


def draw_fragments(
    canvas: Canvas,
    spore: Spore,
    x_um: float,
    y_um: float,
    focus_um: float,
    taken: Sequence[Circle],
) -> None:
    """Draw the pieces of a spore around a point, off all places that are taken."""
    rng = np.random.default_rng(spore.seed + 9)
    seeds_um = _draw_seeds(rng, spore)
    burst = Burst(canvas, rng, spore, x_um, y_um, focus_um, seeds_um, rng.uniform(1.35, 2.1))
    left = rng.uniform(0.6, 1.1)
    fading = Fading(left, max(left, 0.8))
    done: list[Piece] = []
    for number in range(len(seeds_um)):
        if len(seeds_um) > 2 and rng.random() < LOST_SHARE:
            continue
        piece = _find_place(burst, number, done, taken)
        if piece is None or not LENGTHS_UM[0] <= piece.length_um <= LENGTHS_UM[1]:
            continue
        if not canvas.in_picture(piece.x_um, piece.y_um):
            continue
        done.append(piece)
        _draw_piece(burst, piece, fading)


def _draw_seeds(rng: np.random.Generator, spore: Spore) -> np.ndarray:
    """Draw the points, (n, 2) along and across, to which the pieces lie nearest."""
    a, b = spore.half_length_um, spore.half_width_um
    number = int(rng.integers(2, 6))
    seeds_um = []
    for i in range(number):
        t = (i + 0.5) / number * 2 - 1
        seeds_um.append((t * a * 0.72 + rng.normal(0, 0.5), rng.normal(0, b * 0.45)))
    if number == 2:
        seeds_um = [(-a * 0.5, 0.3), (a * 0.5, -0.3)]
    return np.array(seeds_um)


def _find_place(
    burst: Burst, number: int, done: Sequence[Piece], taken: Sequence[Circle]
) -> Piece | None:
    """Move a piece outwards until it lies by itself; None if it does not or there is no piece."""
    optics = burst.canvas.look.optics
    # A gap that this lens cannot split would make one piece of two.
    gap_um = max(0.6, 0.25 / optics.aperture, optics.um_per_px)
    for attempt in range(ATTEMPTS):
        piece = _cut(burst, number, 1 + 0.12 * attempt)
        if piece is None:
            return None
        apart = all(
            np.hypot(piece.x_um - other.x_um, piece.y_um - other.y_um)
            > 0.92 * (piece.radius_um + other.radius_um) + gap_um
            for other in done
        )
        if apart and is_clear(taken, piece.x_um, piece.y_um, piece.radius_um + 0.3):
            return piece
    return None


def _cut(burst: Burst, number: int, further: float) -> Piece | None:
    """Cut a piece out of the spore and lay it, somewhat turned, where it was thrown."""
    canvas, rng, seed_um = burst.canvas, burst.rng, burst.seeds_um[number]
    thrown_um = seed_um * burst.spread * further + rng.normal(0, 0.7, 2)
    c, s = np.cos(burst.spore.angle_rad), np.sin(burst.spore.angle_rad)
    x_um = burst.x_um + thrown_um[0] * c - thrown_um[1] * s
    y_um = burst.y_um + thrown_um[0] * s + thrown_um[1] * c
    cone = canvas.look.optics.aperture + canvas.look.optics.condenser_aperture
    window = canvas.whole_window(x_um, y_um, 6 + abs(burst.focus_um) * cone + 1 + 2.5)
    u_um, v_um = window.turned(burst.spore.angle_rad + rng.normal(0, 0.6))
    u_um, v_um = u_um + seed_um[0], v_um + seed_um[1]
    inside_um, height_um = outline_and_height(burst.spore, u_um, v_um)
    inside_um = _parted(burst.seeds_um, number, inside_um, u_um, v_um)
    mask = _largest_part(inside_um > 0)
    rows, columns = np.nonzero(mask)
    if len(rows) < 5:
        return None
    nearby = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3))) > 0
    inside_um = np.where(nearby, inside_um, -1.0).astype(np.float32)
    corners = np.stack([columns, rows], 1).astype(np.float32)
    _, (one_px, other_px), angle_deg = cv2.minAreaRect(corners)
    length_um, width_um = (one_px + 1) * canvas.pitch_um, (other_px + 1) * canvas.pitch_um
    if width_um > length_um:
        length_um, width_um, angle_deg = width_um, length_um, angle_deg + 90
    return Piece(
        inside_um,
        height_um,
        mask,
        window.box,
        x_um=(columns.mean() + window.box[0] + 0.5) * canvas.pitch_um,
        y_um=(rows.mean() + window.box[1] + 0.5) * canvas.pitch_um,
        length_um=length_um,
        width_um=width_um,
        angle_deg=angle_deg,
    )


def _parted(
    seeds_um: np.ndarray, number: int, inside_um: np.ndarray, u_um: np.ndarray, v_um: np.ndarray
) -> np.ndarray:
    """Leave of an outline what lies nearer to one seed than to the others, by wavy cuts."""
    for other in range(len(seeds_um)):
        if other == number:
            continue
        middle_um = (seeds_um[number] + seeds_um[other]) / 2
        towards = seeds_um[number] - seeds_um[other]
        towards = towards / np.hypot(*towards)
        off_u_um, off_v_um = u_um - middle_um[0], v_um - middle_um[1]
        away_um = off_u_um * towards[0] + off_v_um * towards[1]
        along_um = -off_u_um * towards[1] + off_v_um * towards[0]
        # Both sides of a cut have the same waves, so that pieces would fit together.
        slow = 0.28 * np.sin(along_um * 1.7 + number * other)
        fast = 0.12 * np.sin(along_um * 4.1 + number + other)
        inside_um = np.minimum(inside_um, away_um - 0.1 + slow + fast)
    return inside_um


def _largest_part(mask: np.ndarray) -> np.ndarray:
    """Give the largest connected part of a mask; nothing if there is none."""
    number, labels, statistics, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if number < 2:
        return np.zeros_like(mask)
    return labels == 1 + int(np.argmax(statistics[1:, cv2.CC_STAT_AREA]))


def _draw_piece(burst: Burst, piece: Piece, fading: Fading) -> None:
    """Draw a piece, its focus somewhat off that of the burst."""
    canvas = burst.canvas
    broken_um = piece.height_um * smooth_step((piece.inside_um + 0.3) / 0.9)
    form = Form(piece.inside_um, broken_um, fading)
    density, path_um = density_and_path(canvas, burst.spore, form)
    focus_um = burst.focus_um + burst.rng.normal(0, canvas.look.optics.focus_sd_um * 0.3)
    shown = canvas.shown(density, path_um, focus_um)
    drawn = DrawnSpore(
        density=shown.astype(np.float16),
        box=piece.box,
        mask=piece.mask,
        x_um=piece.x_um,
        y_um=piece.y_um,
        length_um=piece.length_um,
        width_um=piece.width_um,
        angle_deg=piece.angle_deg % 180,
        state="fragment",
        damage="broken",
        focus_um=focus_um,
    )
    canvas.lay_spore(shown, drawn)
