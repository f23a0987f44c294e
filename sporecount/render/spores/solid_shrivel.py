"""Collapse in style "solid": a body pressed, bent, folded, crumpled or flattened."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.solid_body import Body, Volume


def shrivelled(rng: np.random.Generator, body: Body, look: SporeLook) -> tuple[Body, SporeLook]:
    """Shrink the body and let it fall in, bend, fold, crumple or flatten."""
    size = float(0.55 + 0.45 * rng.beta(1.6, 1.0))
    shapes = (_crescent, _boat, _folded, _raisin, _spindle)
    shape = shapes[int(rng.choice(5, p=(0.27, 0.17, 0.13, 0.25, 0.18)))]
    small = replace(
        body,
        half_um=body.half_um * size,
        radius_um=body.radius_um * np.float32(size),
        granules=body.granules[:0] if rng.random() < 0.6 else 0.8 * size * body.granules,
    )
    small = shape(rng, small)
    thick = float(small.radius_um.max())
    small = replace(small, shell_um=min(small.shell_um, 0.4 * thick))
    manner = rng.random()
    straight = replace(look, bend=0.4 * look.bend)
    if manner < 0.45:  # dense, with dark folds
        gain = float(rng.uniform(0.8, 1.4))
        seams = tuple((line, abs(strength)) for line, strength in small.seams)
        return replace(small, tone=small.tone * gain, seams=seams), straight
    if manner < 0.7:  # light gathers in the dents
        bright = -float(rng.uniform(0.4, 0.9))
        seams = tuple((line, bright * abs(strength)) for line, strength in small.seams)
        thin = small.content_tone * float(rng.uniform(0.4, 0.9))
        return replace(small, content_tone=thin, seams=seams), straight
    clear = replace(
        small,
        content_tone=small.content_tone * float(rng.uniform(0.0, 0.3)),
        shell_tone=small.shell_tone * float(rng.uniform(0.4, 1.0)),
        shell_um=max(0.3, 0.7 * small.shell_um),
        sheen=float(rng.uniform(0.0, 0.12)),
        refraction=float(rng.uniform(1.0, 1.6)),
    )
    return clear, replace(straight, rim=float(rng.uniform(0.04, 0.17)))


def _crease(rng: np.random.Generator, body: Body, offset: float, sag: float, wave: float) -> Body:
    """Add a line along the body, ``offset`` off its axis and bowed by ``sag``."""
    half, phase = np.float32(body.half_um), np.float32(rng.uniform(0, 6.3))
    pace = np.float32(rng.uniform(0.5, 1.5))
    breadth = np.float32(rng.uniform(0.0, 0.35))

    def line(along: Volume, across: Volume, up: Volume) -> Volume:
        course = np.float32(sag) * (1.0 - np.square(along / half)) + np.float32(offset)
        course = course + np.float32(wave) * np.sin(pace * along + phase)
        return np.abs(across - course) - breadth

    strength = float(body.tone * rng.uniform(0.3, 0.8))
    return replace(body, seams=(*body.seams, (line, strength)))


def _crescent(rng: np.random.Generator, body: Body) -> Body:
    """Press one side in, to the middle or past it."""
    half, thick = np.float32(body.half_um), float(body.radius_um.max())
    side = np.float32(rng.choice((-1.0, 1.0)))
    fallen = float(rng.uniform(-0.35, 0.5)) * thick
    lean, wave = np.float32(rng.normal(0.0, 0.25)), np.float32(rng.normal(0.0, 0.05) * thick)
    pace = np.float32(rng.uniform(0.5, 1.4))

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, Volume]:
        dome = 1.0 - np.square(u / half)
        floor = np.float32(fallen) * dome * (1.0 + lean * u / half) + wave * np.sin(pace * u)
        return u, v, side * v - floor

    pressed = replace(body, warp=warp)
    lip = float(rng.uniform(0.12, 0.3)) * thick
    return _crease(rng, pressed, float(side) * lip, float(side) * fallen, 0.05)


def _boat(rng: np.random.Generator, body: Body) -> Body:
    """Bend a narrowed body, with a keel along it."""
    narrow, half = np.float32(rng.uniform(0.4, 0.8)), np.float32(body.half_um)
    sag = np.float32(rng.choice((-1.0, 1.0)) * rng.uniform(0.2, 0.55) * body.half_um)

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, None]:
        return u, v - sag * (np.minimum(np.square(u / half), 1.6) - np.float32(0.33)), None

    bent = replace(
        body, radius_um=body.radius_um * narrow, warp=warp, reach_um=0.7 * abs(float(sag))
    )
    lane = float(rng.normal(0.0, 0.3) * bent.radius_um.max())
    return _crease(rng, bent, lane, 0.0, 0.1)


def _folded(rng: np.random.Generator, body: Body) -> Body:
    """Turn one part of the body over onto the rest: twice as dense there."""
    half, thick = np.float32(body.half_um), np.float32(body.radius_um.max())
    lengthwise = rng.random() < 0.5
    turn = float(rng.normal(np.pi / 2 if lengthwise else 0.0, 0.25))
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    offset = np.float32((thick if lengthwise else half) * rng.uniform(0.05, 0.55))
    gain = np.float32(rng.uniform(0.4, 1.0))

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, Volume]:
        return u, v, offset - (u * cos + v * sin)

    def veil(u: Volume, v: Volume) -> Volume:
        beyond = u * cos + v * sin - offset
        um, vm = (u - 2.0 * beyond * cos) / half, (v - 2.0 * beyond * sin) / thick
        flap = np.clip((1.0 - np.sqrt(um * um + vm * vm)) * thick * 2.0 + 0.5, 0.0, 1.0)
        return (1.0 + gain * flap).astype(np.float32)

    return replace(body, warp=warp, veil=veil)


def _raisin(rng: np.random.Generator, body: Body) -> Body:
    """Draw the body in to three to six uneven lobes, with valleys running inwards."""
    count = int(rng.integers(3, 7))
    places = (np.arange(count) + rng.uniform(-0.35, 0.35, count)) * 2 * np.pi / count
    places = (places + rng.uniform(0, 6.3)).astype(np.float32)
    depths = rng.uniform(0.08, 0.5, count).astype(np.float32)
    breadths = rng.uniform(0.12, 0.35, count).astype(np.float32)
    steps = 256
    grid = np.linspace(-np.pi, np.pi, steps, dtype=np.float32)
    away = (grid[:, None] - places + np.pi) % (2 * np.pi) - np.pi
    valley = depths * np.exp(-(np.abs(away / breadths) ** 1.5))
    shrink = np.maximum(1.0 - valley.sum(axis=1), 0.4).astype(np.float32)
    # Angles are those of the body squeezed to a circle, so that valleys spread all round.
    flat = np.float32(body.half_um / body.radius_um.max())
    gain = np.float32(rng.uniform(0.0, 2.0) * rng.choice((-0.5, 1.0)))

    def index(u: Volume, v: Volume) -> Volume:
        turn = np.arctan2(v * flat, u)
        return shrink[((turn + np.pi) * (steps / (2 * np.pi))).astype(np.int32) % steps]

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, None]:
        scale = 1.0 / index(u, v)
        return u * scale, v * scale, None

    def veil(u: Volume, v: Volume) -> Volume:
        out = np.minimum(np.hypot(u, v * flat) / np.float32(body.half_um), 1.0)
        return np.maximum(1.0 + gain * (1.0 - index(u, v)) * out, 0.3)

    return replace(body, warp=warp, veil=veil)


def _spindle(rng: np.random.Generator, body: Body) -> Body:
    """Flatten the body to a thin spindle."""
    thick = float(body.radius_um.max())
    share = np.float32(rng.uniform(0.25, 0.45) * body.half_um / thick)
    wave = np.float32(rng.normal(0.0, 0.06) * body.half_um)
    pace = np.float32(3.0 / body.half_um)

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, None]:
        return u, v - wave * np.sin(u * pace), None

    thin = replace(body, radius_um=body.radius_um * share, tilt=0.3 * body.tilt, warp=warp)
    return _crease(rng, thin, float(rng.normal(0.0, 0.2) * thin.radius_um.max()), 0.0, 0.05)
