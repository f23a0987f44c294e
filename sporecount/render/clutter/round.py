"""Round things: bubbles, droplets, pollen, starch, yeast, blood, algae, mould spores, specks."""

from __future__ import annotations

import numpy as np

from sporecount.render.clutter.canvas import Canvas, Image, Picture, make_canvas
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.paint import (
    bump,
    colour,
    inside,
    log_uniform,
    noise,
    tint,
    two_tints,
)

FAMILY = "round"

ANY_COLOUR: dict[str, float] = {
    "amber": 0.2,
    "brown": 0.2,
    "dark brown": 0.15,
    "grey": 0.2,
    "yellow": 0.1,
    "greenish": 0.1,
    "reddish": 0.05,
}


def _ellipse_away(canvas: Canvas, half_u: float, half_v: float) -> Image:
    """Return roughly the distance to an ellipse, negative inside."""
    share = np.hypot(canvas.u_um / np.float32(half_u), canvas.v_um / np.float32(half_v))
    return (share - np.float32(1.0)) * np.float32(min(half_u, half_v))


def _disc_at(canvas: Canvas, u_um: float, v_um: float, radius_um: float) -> Image:
    away = np.hypot(canvas.u_um - np.float32(u_um), canvas.v_um - np.float32(v_um))
    return away - np.float32(radius_um)


def draw_air_bubble(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a bubble: broad black rim, bright core, often a faint ring outside."""
    radius = log_uniform(rng, 4.0, 60.0)
    canvas = make_canvas(rng, um_per_px, radius + 4.0)
    away = _ellipse_away(canvas, radius, radius * rng.uniform(0.9, 1.0))
    rim = np.clip(1.0 + away / np.float32(radius * rng.uniform(0.12, 0.5)), 0.0, 1.0)
    body = inside(away, canvas.step_um)
    tone = body * (rng.uniform(0.5, 1.6) * rim ** np.float32(rng.uniform(0.6, 2.0)))
    core = bump(away + np.float32(radius), radius * rng.uniform(0.2, 0.45))
    tone = tone - np.float32(rng.uniform(0.02, 0.2)) * core
    tone = tone - np.float32(rng.uniform(0.0, 0.15)) * bump(away - np.float32(1.0), 0.6)
    rings = np.cos(away * np.float32(2 * np.pi / rng.uniform(1.2, 3.0))) * bump(away, 2.5)
    tone = tone + np.float32(rng.uniform(0.0, 0.08)) * rings
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, "grey")))


def draw_oil_droplet(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a pale droplet with a thin dark or bright rim and a bent-light core."""
    radius = log_uniform(rng, 1.5, 30.0)
    canvas = make_canvas(rng, um_per_px, radius + 4.0)
    away = _ellipse_away(canvas, radius, radius * rng.uniform(0.92, 1.0))
    body = inside(away, canvas.step_um)
    rim = bump(away + np.float32(0.5), rng.uniform(0.4, 1.0))
    halo = bump(away - np.float32(0.9), rng.uniform(0.4, 0.9))
    core = bump(away + np.float32(radius), 0.4 * radius) * body
    sign = rng.choice([1.0, 1.0, -0.4])
    dark, bright = rng.uniform(0.08, 0.6), rng.uniform(0.0, 0.18)
    tone = np.float32(sign * dark) * rim - np.float32(sign * bright) * (halo + core)
    fill = colour(body * np.float32(rng.uniform(0.0, 0.25)), tint(rng, {"yellow": 3, "amber": 1}))
    return canvas.finish(fill + colour(tone, tint(rng, "grey")))


def draw_smooth_pollen(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round grain with a thick wall, sometimes with pores in it."""
    radius = rng.uniform(7.5, 26.0)
    canvas = make_canvas(rng, um_per_px, radius + 3.0)
    angle = np.arctan2(canvas.v_um, canvas.u_um)
    away = _ellipse_away(canvas, radius, radius * rng.choice([rng.uniform(0.88, 1.0), 0.95]))
    lobes = int(rng.choice([0, 0, 3, 4, 6]))
    if lobes:
        away = away + np.float32(0.06 * radius) * np.cos(np.float32(lobes) * angle)
    return _paint_pollen(rng, canvas, away, radius)


def draw_spiny_pollen(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a round grain with spines or warts all over."""
    radius = rng.uniform(8.0, 24.0)
    spine, count = radius * rng.uniform(0.1, 0.3), int(rng.integers(10, 26))
    canvas = make_canvas(rng, um_per_px, radius + spine + 2.0)
    rho, angle = np.hypot(canvas.u_um, canvas.v_um), np.arctan2(canvas.v_um, canvas.u_um)
    saw = np.abs(((angle * np.float32(count / (2 * np.pi))) % 1.0) - 0.5) * 2.0
    away = rho - np.float32(radius - spine / 2)
    away = away - np.float32(spine) * saw ** np.float32(rng.uniform(1.2, 3.0))
    return _paint_pollen(rng, canvas, away.astype(np.float32), radius)


def draw_triangular_pollen(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a grain with three blunt corners and a pore in each."""
    radius = rng.uniform(8.0, 22.0)
    canvas = make_canvas(rng, um_per_px, radius * 1.35 + 3.0)
    rho, angle = np.hypot(canvas.u_um, canvas.v_um), np.arctan2(canvas.v_um, canvas.u_um)
    wave = np.cos(3.0 * angle)
    away = rho - np.float32(radius) * (1.0 + rng.uniform(0.08, 0.25) * wave)
    pores = bump(wave - 1.0, 0.06) * bump(away + np.float32(0.08 * radius), 0.12 * radius)
    return _paint_pollen(rng, canvas, away + pores.astype(np.float32) * 1.5, radius)


def draw_folded_pollen(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a drawn-out grain with one to three furrows from pole to pole."""
    half_u = rng.uniform(10.0, 26.0)
    half_v = half_u * rng.uniform(0.45, 0.9)
    canvas = make_canvas(rng, um_per_px, half_u + 3.0, half_v + 3.0)
    away = _ellipse_away(canvas, half_u, half_v)
    across = canvas.v_um / np.sqrt(
        np.maximum(1.0 - np.square(canvas.u_um / np.float32(half_u)), 0.05)
    )
    furrows = np.zeros(canvas.shape, np.float32)
    for place in rng.choice([-0.55, 0.0, 0.5], int(rng.integers(1, 4)), replace=False):
        furrows += bump(across - np.float32(place * half_v), rng.uniform(0.4, 1.3))
    furrows *= inside(away + np.float32(1.5), canvas.step_um, 1.0)
    return _paint_pollen(rng, canvas, away, half_v, np.float32(rng.choice([0.8, -0.5])) * furrows)


def _paint_pollen(
    rng: np.random.Generator,
    canvas: Canvas,
    away: Image,
    radius_um: float,
    marks: Image | None = None,
) -> Picture:
    body = inside(away, canvas.step_um, 0.2)
    wall_um = rng.uniform(0.7, 2.5)
    wall = bump(away + np.float32(wall_um), wall_um * 0.6)
    depth = np.clip(-away / np.float32(radius_um), 0.0, 1.0)
    tone = body * (0.35 + rng.uniform(-0.2, 0.5) * depth) + np.float32(rng.uniform(0.1, 0.7)) * wall
    net = noise(rng, canvas, rng.uniform(1.2, 4.0), 1)
    tone = tone * np.clip(1.0 + np.float32(rng.uniform(0.05, 0.4)) * net, 0.2, 2.0)
    if marks is not None:
        tone = np.clip(tone + np.float32(0.5) * marks, 0.0, None)
    colours = {"yellow": 0.5, "amber": 0.3, "brown": 0.1, "greenish": 0.05, "reddish": 0.05}
    strength = np.float32(log_uniform(rng, 0.2, 1.3))
    wall_tint = tint(rng, colours)
    core_tint = np.float32(0.6) * wall_tint + np.float32(0.4) * tint(rng, colours)
    return canvas.finish(two_tints(tone.astype(np.float32) * strength, depth, wall_tint, core_tint))


def draw_starch(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a clear egg-shaped grain with growth rings about an off-centre eye."""
    half_u = rng.choice([rng.uniform(2.0, 5.0), rng.uniform(9.5, 25.0)])
    half_v = half_u * rng.uniform(0.65, 1.0)
    canvas = make_canvas(rng, um_per_px, half_u + 3.0, half_v + 3.0)
    away = _ellipse_away(canvas, half_u, half_v) + np.float32(0.1) * np.abs(canvas.u_um)
    eye = np.float32(rng.uniform(0.0, 0.6) * half_u)
    rings = np.cos(np.hypot(canvas.u_um - eye, canvas.v_um) * np.float32(2 * np.pi / 2.2))
    body, rim = inside(away, canvas.step_um), bump(away + np.float32(0.5), 0.5)
    tone = rng.uniform(0.1, 0.5) * rim + body * (rng.uniform(-0.08, 0.1) + 0.04 * rings)
    tone = tone + rng.uniform(0.0, 0.3) * bump(_disc_at(canvas, float(eye), 0.0, 0.0), 0.7)
    tone = tone - rng.uniform(0.0, 0.12) * bump(away - np.float32(0.8), 0.5)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, {"grey": 4, "yellow": 1})))


def draw_yeast(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a cell 3 to 8 um long, with a bud or two more often than not."""
    size = rng.uniform(3.0, 8.0)
    canvas = make_canvas(rng, um_per_px, size * 1.5 + 2.0)
    away = _ellipse_away(canvas, size / 2, size / 2 * rng.uniform(0.7, 1.0))
    for _ in range(int(rng.choice([0, 1, 1, 2]))):
        angle, radius = rng.uniform(0, 2 * np.pi), size * rng.uniform(0.18, 0.36)
        place = (size * 0.42 + radius) * np.array([np.cos(angle), np.sin(angle)])
        away = np.minimum(away, _disc_at(canvas, place[0], place[1], radius))
    rim, body = bump(away + np.float32(0.3), 0.4), inside(away, canvas.step_um)
    vacuole = bump(_disc_at(canvas, 0.1 * size, 0.0, 0.0), 0.2 * size)
    tone = rng.uniform(0.1, 0.5) * rim + body * rng.uniform(0.0, 0.3)
    tone = tone + rng.uniform(-0.25, 0.2) * vacuole - rng.uniform(0, 0.1) * bump(away - 0.7, 0.4)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, ANY_COLOUR)))


def draw_blood_disc(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a red disc 6 to 9 um across, paler in its middle, sometimes crenate."""
    radius = rng.uniform(3.0, 4.5)
    canvas = make_canvas(rng, um_per_px, radius + 2.5)
    away = _ellipse_away(canvas, radius, radius * rng.uniform(0.85, 1.0))
    if rng.random() < 0.3:
        angle = np.arctan2(canvas.v_um, canvas.u_um)
        away = away + np.float32(0.3) * np.cos(np.float32(rng.integers(7, 12)) * angle)
    pale = rng.uniform(0.1, 0.9) * bump(away + np.float32(radius), 0.35 * radius)
    tone = inside(away, canvas.step_um, 0.2) * (1.0 - pale) * log_uniform(rng, 0.1, 0.7)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, {"reddish": 4, "amber": 1})))


def draw_alga(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a green cell or a group of two or four in one coat."""
    radius, count = rng.uniform(2.0, 8.0), int(rng.choice([1, 1, 2, 4]))
    canvas = make_canvas(rng, um_per_px, radius * (1.2 if count == 1 else 2.4) + 2.0)
    away = np.full(canvas.shape, 1e3, np.float32)
    for i in range(count):
        angle = 2 * np.pi * i / count
        place = 0.0 if count == 1 else radius * (1.0 if count == 2 else 1.35)
        disc = _disc_at(canvas, place * np.cos(angle), place * np.sin(angle), radius)
        away = np.minimum(away, disc)
    body, wall = inside(away, canvas.step_um, 0.2), bump(away + np.float32(0.4), 0.4)
    lumps = np.clip(0.6 + 0.6 * noise(rng, canvas, radius * 0.6, 2), 0.0, 2.0)
    green = colour(body * lumps * np.float32(log_uniform(rng, 0.15, 0.9)), tint(rng, "greenish"))
    edge = colour(wall * np.float32(rng.uniform(0.05, 0.4)), tint(rng, "grey"))
    return canvas.finish(green + edge)


def draw_nucleated_cell(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a thin pale cell of uneven outline with a darker nucleus and grains."""
    radius = log_uniform(rng, 5.0, 35.0)
    canvas = make_canvas(rng, um_per_px, radius * 1.4 + 2.0)
    rough = noise(rng, canvas, radius * rng.uniform(0.5, 1.2))
    away = _ellipse_away(canvas, radius, radius * rng.uniform(0.85, 1.0))
    away = away + np.float32(0.1 * radius) * rough
    away = np.maximum(away, np.hypot(canvas.u_um, canvas.v_um) - np.float32(1.3 * radius))
    place, core = rng.normal(0.0, 0.2 * radius, 2), radius * rng.uniform(0.2, 0.45)
    core = float(np.clip(core, 1.5, 3.6)) if core < 8.0 else core
    nucleus = inside(_disc_at(canvas, place[0], place[1], core), canvas.step_um, 0.5)
    body, edge = inside(away, canvas.step_um, 0.3), bump(away + np.float32(0.4), 0.5)
    grains = np.clip(noise(rng, canvas, 1.5, 1), 0.0, None)
    tone = body * (0.15 + 0.3 * grains) + rng.uniform(0.2, 0.7) * edge
    tone = tone + nucleus * rng.uniform(0.3, 1.2)
    tone = tone * log_uniform(rng, 0.1, 0.8)
    first, second = tint(rng, ANY_COLOUR), tint(rng, ANY_COLOUR)
    return canvas.finish(two_tints(tone.astype(np.float32), nucleus, first, second))


def draw_insect_egg(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw a piece of egg shell: a net of meshes within a ragged edge."""
    half = log_uniform(rng, 15.0, 60.0)
    canvas = make_canvas(rng, um_per_px, half * 1.35 + 2.0)
    rough = noise(rng, canvas, half * 0.5, 2)
    away = _ellipse_away(canvas, half, half * rng.uniform(0.5, 1.0)) + 0.12 * half * rough
    away = np.maximum(away, np.hypot(canvas.u_um, canvas.v_um) - np.float32(1.3 * half))
    pitch = np.float32(2 * np.pi / rng.uniform(3.0, 9.0))
    waves = [
        np.cos(pitch * (np.float32(np.cos(a)) * canvas.u_um + np.float32(np.sin(a)) * canvas.v_um))
        for a in (0.0, np.pi / 3, 2 * np.pi / 3)
    ]
    net = np.clip(-(waves[0] + waves[1] + waves[2]) / 1.5, 0.0, 1.0)
    body = inside(away.astype(np.float32), canvas.step_um, 0.3)
    tone = body * (rng.uniform(0.1, 0.5) + rng.uniform(0.2, 1.0) * net)
    tone = tone * log_uniform(rng, 0.1, 0.8)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, ANY_COLOUR)))


def draw_water_spot(rng: np.random.Generator, um_per_px: float) -> Picture:
    """Draw the dried rings of a drop, one within another."""
    radius = log_uniform(rng, 10.0, 90.0)
    canvas = make_canvas(rng, um_per_px, radius * 1.3 + 3.0, fine_um=0.6)
    rough = noise(rng, canvas, radius * 0.6, 2)
    rho = np.hypot(canvas.u_um, canvas.v_um) + np.float32(0.05 * radius) * rough
    tone: Image = np.zeros(canvas.shape, np.float32)
    for i in range(int(rng.integers(1, 5))):
        ring = radius * (1.0 if i == 0 else rng.uniform(0.4, 0.97))
        width = rng.uniform(0.5, 2.0)
        tone += np.float32(rng.uniform(0.2, 1.0)) * bump(rho - np.float32(ring), width)
    crust = np.clip(noise(rng, canvas, 2.5, 2) - 0.8, 0.0, None)
    tone = tone * np.clip(1.0 + 0.4 * rough, 0.1, None)
    tone = tone + 0.4 * crust * inside(rho - np.float32(radius), canvas.step_um, 1.0)
    tone = tone * log_uniform(rng, 0.05, 0.5)
    return canvas.finish(colour(tone.astype(np.float32), tint(rng, {"grey": 3, "brown": 1})))


KINDS = (
    ClutterKind("air bubble", FAMILY, draw_air_bubble, (0.2, 30.0)),
    ClutterKind("oil droplet", FAMILY, draw_oil_droplet, (0.2, 60.0)),
    ClutterKind("smooth pollen", FAMILY, draw_smooth_pollen, (0.1, 15.0)),
    ClutterKind("spiny pollen", FAMILY, draw_spiny_pollen, (0.1, 10.0)),
    ClutterKind("triangular pollen", FAMILY, draw_triangular_pollen, (0.1, 8.0)),
    ClutterKind("folded pollen", FAMILY, draw_folded_pollen, (0.1, 12.0)),
    ClutterKind("starch grain", FAMILY, draw_starch, (0.2, 60.0)),
    ClutterKind("yeast cell", FAMILY, draw_yeast, (0.5, 150.0)),
    ClutterKind("blood disc", FAMILY, draw_blood_disc, (0.5, 150.0)),
    ClutterKind("green alga", FAMILY, draw_alga, (0.2, 40.0)),
    ClutterKind("nucleated cell", FAMILY, draw_nucleated_cell, (0.1, 30.0)),
    ClutterKind("egg shell piece", FAMILY, draw_insect_egg, (0.05, 4.0)),
    ClutterKind("water spot", FAMILY, draw_water_spot, (0.05, 5.0)),
)
