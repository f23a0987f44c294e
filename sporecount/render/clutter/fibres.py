"""Long thin things: textile fibres, hairs, fungal threads, scratches, glue lines, ink."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.curves import along_curve, wandering_curve
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import inside, log_uniform, tint

FAMILY = "fibres"

#: Coarsest grid for fibres, um, and the longest patch, pixels: both hold the cost down.
FIBRE_FINE_UM = 1.0
LONGEST_PX = 2600.0

COLOURS: dict[str, float] = {
    "grey": 0.4,
    "brown": 0.15,
    "dark brown": 0.1,
    "black": 0.1,
    "bluish": 0.1,
    "reddish": 0.06,
    "amber": 0.06,
    "greenish": 0.03,
}


@dataclass(frozen=True, eq=False)
class _Strand:
    """The pixels near a curve, as flat lists: signed distance across, way along, um."""

    canvas: Canvas
    near: NDArray[np.bool_]
    across_um: Image
    along_um: Image
    length_um: float

    def inside(self, half_um: Image | float) -> Image:
        """Return the cover of a strand of the given half width."""
        half = np.asarray(half_um, np.float32)
        step = np.float32(self.canvas.step_um)
        outer = inside(np.abs(self.across_um) - half, self.canvas.step_um)
        # A strand thinner than a pixel covers only a part of it.
        return outer * np.clip(np.float32(2.0) * half / step, 0.0, 1.0)

    def line(self, at_um: Image | float, sigma_um: float) -> Image:
        """Return a soft line that runs beside the curve, faded when below a pixel."""
        wide = max(sigma_um, 0.45 * self.canvas.step_um)
        away = self.across_um - np.asarray(at_um, np.float32)
        return np.float32(sigma_um / wide) * np.exp(np.square(away) * np.float32(-0.5 / wide**2))

    def ends(self, fade_um: float) -> Image:
        """Return a window that fades over the given way at both ends."""
        way = np.minimum(self.along_um, np.float32(self.length_um) - self.along_um)
        return np.clip(way / np.float32(max(fade_um, 1e-3)), 0.0, 1.0)

    def wave(self, rng: np.random.Generator, every_um: float) -> Image:
        """Return smooth noise of unit spread along the way."""
        count = max(int(np.ceil(self.length_um / every_um)), 1) + 2
        knots = rng.standard_normal(count)
        where = np.arange(count) * every_um
        return (1.3 * np.interp(self.along_um, where, knots)).astype(np.float32)

    def paint(self, tone: Image, tint_rgb: Image) -> Image:
        """Return the density of the whole canvas."""
        density = np.zeros((*self.canvas.shape, 3), np.float32)
        density[self.near] = np.asarray(tone, np.float32)[:, None] * tint_rgb
        return density


def _strand(
    rng: np.random.Generator, um_per_px: float, length_um: float, bend: float, reach_um: float
) -> _Strand:
    length_um = min(length_um, LONGEST_PX * um_per_px)
    points = wandering_curve(rng, length_um, bend, int(np.clip(length_um / 8.0, 14, 60)))
    angle = rng.uniform(0.0, 2.0 * np.pi)
    points = points @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    points -= (points.min(axis=0) + points.max(axis=0)) / 2
    half = np.abs(points).max(axis=0) + reach_um + 1.0
    canvas = make_canvas(rng, um_per_px, float(half[0]), float(half[1]), FIBRE_FINE_UM, angle=0.0)
    return _lay(canvas, points, reach_um, length_um)


def _lay(canvas: Canvas, points: NDArray[np.float64], reach_um: float, length_um: float) -> _Strand:
    across, along = along_curve(canvas, points, reach_um)
    near = np.abs(across) < reach_um
    return _Strand(canvas, near, across[near], along[near], length_um)


def draw_cotton(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a flat ribbon that twists: wide, then narrow and dark, and again."""
    half = rng.uniform(4.0, 11.0)
    strand = _strand(rng, um_per_px, log_uniform(rng, 80, 700), rng.uniform(0.4, 2.2), half + 3)
    twist = np.abs(np.cos(strand.along_um * np.float32(np.pi / rng.uniform(40, 160))))
    width = np.float32(half) * (np.float32(0.3) + np.float32(0.7) * twist)
    body = strand.inside(width) * (np.float32(rng.uniform(0.1, 0.4)) + 0.5 * (1 - twist))
    edges = strand.line(width - 0.6, 0.7) + strand.line(0.6 - width, 0.7)
    bright = strand.inside(0.3 * width) * np.float32(rng.uniform(0.0, 0.4))
    tone = (body + np.float32(rng.uniform(0.2, 0.9)) * edges - bright) * strand.ends(4.0)
    tone = tone * np.float32(log_uniform(rng, 0.1, 0.8))
    return strand.canvas.finish(strand.paint(tone, tint(rng, COLOURS)))


def draw_synthetic(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw an even, glassy cylinder: dark sides and a bright line in the middle."""
    half = rng.uniform(3.0, 12.0)
    strand = _strand(rng, um_per_px, log_uniform(rng, 100, 800), rng.uniform(0.0, 1.2), half + 3)
    share = np.clip(np.abs(strand.across_um) / np.float32(half), 0.0, 1.0)
    profile = share ** np.float32(rng.uniform(1.5, 6.0)) - np.float32(rng.uniform(0, 0.5)) * (
        share < 0.4
    )
    tone = strand.inside(half) * (profile + np.float32(rng.uniform(0.0, 0.7)))
    if rng.random() < 0.4:
        tone = tone + 0.4 * np.clip(strand.wave(rng, 1.5) - 1.4, 0, 1) * strand.inside(half)
    tone = tone * np.float32(log_uniform(rng, 0.1, 1.2)) * strand.ends(1.0)
    return strand.canvas.finish(strand.paint(tone, tint(rng, COLOURS)))


def draw_hair(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw an animal hair: dark, a broken core, steps of tiny scales along its sides."""
    half = rng.uniform(5.0, 30.0)
    strand = _strand(rng, um_per_px, log_uniform(rng, 150, 800), rng.uniform(0.1, 0.9), half + 4)
    place = strand.along_um / np.float32(strand.length_um)
    taper = np.clip(1.0 - np.float32(rng.uniform(0.0, 0.95)) * place, 0.05, 1.0)
    steps = (strand.along_um / np.float32(rng.uniform(4, 12))) % 1.0
    width = np.float32(half) * taper + np.float32(rng.uniform(0.0, 0.6)) * steps
    gaps = np.clip(strand.wave(rng, rng.uniform(3, 15)) - rng.uniform(-1.5, 0.3), 0.0, 1.0)
    core = strand.inside(np.float32(rng.uniform(0.1, 0.4)) * width * np.sqrt(gaps))
    share = np.clip(np.abs(strand.across_um) / width, 0.0, 1.0)
    tone = strand.inside(width) * (np.float32(0.5) + np.float32(rng.uniform(0, 0.8)) * share**4)
    tone = (tone + np.float32(rng.uniform(-0.3, 0.8)) * core) * strand.ends(2.0)
    tone = tone * np.float32(log_uniform(rng, 0.2, 1.4))
    colours = {"dark brown": 0.4, "brown": 0.25, "black": 0.15, "amber": 0.1, "grey": 0.1}
    return strand.canvas.finish(strand.paint(tone, tint(rng, colours)))


def draw_hypha(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a fungal thread 2 to 6 um wide with cross walls and side branches."""
    half = rng.uniform(1.0, 3.0)
    reach = half + 2.0
    strand = _strand(rng, um_per_px, log_uniform(rng, 40, 350), rng.uniform(0.6, 2.5), reach)
    colours = {"grey": 0.45, "brown": 0.2, "dark brown": 0.2, "greenish": 0.1, "amber": 0.05}
    first, strength = tint(rng, colours), log_uniform(rng, 0.1, 0.9)
    wall, cell_um = rng.uniform(0.2, 1.0), rng.uniform(6.0, 40.0)
    fill = rng.uniform(0.0, 0.7)
    density = strand.paint(_hypha_tone(strand, half, wall, fill, cell_um) * strength, first)
    room = 0.9 * min(strand.canvas.shape) * strand.canvas.step_um
    for _ in range(int(rng.integers(0, 4))):
        length = min(rng.uniform(0.1, 0.4) * strand.length_um, 0.5 * room)
        if length < 6.0 * half:
            continue
        side = _side_branch(rng, strand, length, reach)
        layer = side.paint(_hypha_tone(side, 0.85 * half, wall, fill, cell_um) * strength, first)
        density = np.maximum(density, layer)
    return strand.canvas.finish(density)


def _hypha_tone(strand: _Strand, half: float, wall: float, fill: float, cell_um: float) -> Image:
    edges = strand.line(half - 0.3, 0.4) + strand.line(0.3 - half, 0.4)
    septa = np.exp(-np.square(((strand.along_um + 3.0) % cell_um) / np.float32(0.6)))
    tone = np.float32(wall) * edges + strand.inside(half) * (
        np.float32(fill) + np.float32(wall) * septa
    )
    return np.asarray(tone * strand.ends(1.0), np.float32)


def _side_branch(
    rng: np.random.Generator, strand: _Strand, length_um: float, reach_um: float
) -> _Strand:
    """Lay a branch that leaves the strand at a random pixel of it and ends within the patch."""
    canvas = strand.canvas
    rows, columns = np.nonzero(strand.near)
    at = int(rng.integers(0, len(rows)))
    start = np.array([canvas.u_um[0, columns[at]], canvas.v_um[rows[at], 0]], np.float64)
    points = wandering_curve(rng, length_um, 0.8, 9)
    points = points - points[0]
    # Of two ways from there, the one towards the middle stays on the patch.
    heading = np.arctan2(-start[1], -start[0]) + rng.normal(0.0, 0.7)
    turn = np.array([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
    # The patch is upright: a branch that would leave it runs along its side instead.
    low = np.array([canvas.u_um[0, 0], canvas.v_um[0, 0]], np.float64) + reach_um
    high = np.array([canvas.u_um[-1, -1], canvas.v_um[-1, -1]], np.float64) - reach_um
    points = np.clip(start + points @ turn, low, high)
    laid_um = float(np.hypot(*np.diff(points, axis=0).T).sum())
    return _lay(canvas, points, reach_um, laid_um)


def draw_scratch(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a nearly straight scratch, bright or dark or both, that breaks off and on."""
    sigma = rng.uniform(0.3, 2.0)
    strand = _strand(rng, um_per_px, log_uniform(rng, 40, 700), rng.uniform(0, 0.15), 5 * sigma + 2)
    on = np.clip(strand.wave(rng, rng.uniform(5, 60)) + rng.uniform(0.0, 2.0), 0.0, 1.2)
    shift = rng.uniform(0.0, 1.5) * sigma
    dark, bright = rng.uniform(0.0, 0.7), rng.uniform(0.0, 0.2)
    tone: Image = np.float32(dark + 0.05) * strand.line(shift, sigma)
    tone = tone - np.float32(bright) * strand.line(-shift, sigma)
    return strand.canvas.finish(strand.paint(tone * on * strand.ends(10.0), tint(rng, "grey")))


def draw_tape_edge(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a stretch of the tape's edge: parallel dark and bright lines, faint haze beside."""
    sigma = rng.uniform(0.8, 4.0)
    reach = 8.0 * sigma + 6.0
    strand = _strand(rng, um_per_px, rng.uniform(300, 1000), rng.uniform(0.0, 0.08), reach)
    waver = 0.5 * sigma * strand.wave(rng, rng.uniform(20, 90))
    tone: Image = np.float32(rng.uniform(0.2, 1.0)) * strand.line(waver, sigma)
    tone = tone - np.float32(rng.uniform(0.0, 0.2)) * strand.line(waver + 2.5 * sigma, sigma)
    tone = tone + np.float32(rng.uniform(0, 0.4)) * strand.line(waver - 3.5 * sigma, 0.6 * sigma)
    haze = np.exp(-np.abs(strand.across_um) / np.float32(2.0 * sigma)) * (strand.across_um < 0)
    tone = tone + np.float32(rng.uniform(0.0, 0.12)) * haze
    return strand.canvas.finish(strand.paint(tone * strand.ends(30.0), tint(rng, "grey")))


def draw_glue_line(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a wavy thread of glue that beads up into droplets."""
    half = rng.uniform(1.0, 6.0)
    strand = _strand(rng, um_per_px, log_uniform(rng, 60, 500), rng.uniform(0.5, 2.5), 2 * half + 4)
    beads = np.clip(strand.wave(rng, rng.uniform(6, 30)), -1.0, 2.0)
    width = np.float32(half) * (np.float32(0.6) + np.float32(0.45) * beads).clip(0.1, 1.8)
    edges = strand.line(width, 0.6) + strand.line(-width, 0.6)
    halo = strand.line(width + 1.2, 0.6) + strand.line(-width - 1.2, 0.6)
    tone: Image = (
        np.float32(rng.uniform(0.1, 0.6)) * edges - np.float32(rng.uniform(0.0, 0.15)) * halo
    )
    tone = tone - np.float32(rng.uniform(0.0, 0.15)) * strand.inside(0.5 * width)
    return strand.canvas.finish(
        strand.paint(tone * strand.ends(6.0), tint(rng, {"grey": 4, "yellow": 1}))
    )


def draw_ink_stroke(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a piece of a pen's stroke: broad, rough-edged, starved in places."""
    half = rng.uniform(10.0, 45.0)
    strand = _strand(rng, um_per_px, rng.uniform(150, 500), rng.uniform(0.1, 1.5), 1.3 * half + 3)
    # Each side of the stroke has an edge of its own.
    left, right = (strand.wave(rng, 3.0) + strand.wave(rng, 14.0) for _ in range(2))
    ragged = np.clip(np.where(strand.across_um < 0, left, right), -2.0, 2.0)
    away = np.abs(strand.across_um) - np.float32(half) - rng.uniform(0.01, 0.05) * half * ragged
    lanes = np.arange(-1.5 * half, 1.5 * half, rng.uniform(1.0, 6.0))
    tip = np.interp(strand.across_um, lanes, np.clip(rng.standard_normal(len(lanes)), -2, 2))
    ends = inside(8.0 + 3.0 * tip - 40.0 * strand.ends(40.0), strand.canvas.step_um, 1.0)
    lane_ink = np.interp(strand.across_um, lanes, rng.standard_normal(len(lanes)))
    grain = rng.standard_normal(away.shape).astype(np.float32)
    starved = 1.0 + rng.uniform(0, 0.5) * lane_ink * strand.wave(rng, 60.0) + 0.15 * grain
    tone = inside(away, strand.canvas.step_um, 0.8) * ends * np.clip(starved, 0.05, 1.6)
    tone = tone * np.float32(log_uniform(rng, 0.3, 1.6))
    colours = {"black": 0.5, "bluish": 0.35, "reddish": 0.1, "greenish": 0.05}
    return strand.canvas.finish(strand.paint(tone, tint(rng, colours)))


KINDS = (
    ClutterKind("cotton fibre", FAMILY, draw_cotton, (0.1, 6.0)),
    ClutterKind("synthetic fibre", FAMILY, draw_synthetic, (0.1, 5.0)),
    ClutterKind("animal hair", FAMILY, draw_hair, (0.05, 3.0)),
    ClutterKind("hypha", FAMILY, draw_hypha, (0.1, 15.0)),
    ClutterKind("scratch", FAMILY, draw_scratch, (0.1, 8.0)),
    ClutterKind("tape edge", FAMILY, draw_tape_edge, (0.01, 0.5)),
    ClutterKind("glue line", FAMILY, draw_glue_line, (0.05, 4.0)),
    ClutterKind("ink stroke", FAMILY, draw_ink_stroke, (0.01, 1.0)),
)
