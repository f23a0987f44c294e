"""Collapse in style "profile": coordinates bent and pressed before the outline is read."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.profile_paint import (
    STEPS,
    Field,
    Form,
    Touch,
    bell,
    form_of,
    measured,
    paint,
)


@dataclass(frozen=True, eq=False)
class _Fallen:
    """A collapsed body: its places, depth (um) under the outline, and folds, 0 to 1."""

    place: tuple[Field, Field, Field, Field, Field]
    depth: Field
    folds: Field


def shrivelled(
    rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field
) -> Draft:
    """Let one side fall in, bend, fold, crumple or flatten the body."""
    size = np.float32(0.55 + 0.45 * rng.beta(1.6, 1.0))
    shapes = (_crescent, _boat, _folded, _raisin, _spindle)
    shape = shapes[int(rng.choice(5, p=(0.27, 0.17, 0.13, 0.25, 0.18)))]
    fallen = shape(rng, look, u / size, v / size)
    depth = fallen.depth * size
    # Walls are as thick as before, whatever has shrunk.
    place = (*fallen.place[:3], depth, fallen.place[4])
    manner = rng.random()
    if manner < 0.45:  # dark folds
        touch = Touch(
            tone_gain=float(rng.uniform(0.8, 1.5)),
            core_gain=float(rng.uniform(0.6, 1.1)),
            wrinkles=int(rng.integers(0, 3)),
        )
        marks = fallen.folds * np.float32(look.tone * rng.uniform(0.3, 0.9))
        return paint(rng, bench, look, place, depth, touch, marks)
    if manner < 0.7:  # bright dents
        inside = look.tone * look.core_tone
        marks = fallen.folds * np.float32(-rng.uniform(0.4, 1.0) * inside)
        middle = np.clip((depth - 0.8) / np.float32(rng.uniform(0.5, 1.5)), 0.0, 1.0)
        marks = marks - np.float32(rng.uniform(0.0, 0.5) * inside) * middle
        return paint(rng, bench, look, place, depth, Touch(wall_gain=1.1), marks)
    # Refractile: pale within, a dark edge, a bright line inside it, a halo outside.
    clear = replace(look, rim=float(rng.uniform(0.03, 0.18)), wall_um=min(look.wall_um, 0.8))
    touch = Touch(core_gain=float(rng.uniform(0.05, 0.4)), wall_gain=float(rng.uniform(0.5, 1.2)))
    glint = bell(depth - np.float32(rng.uniform(0.9, 1.4)), float(rng.uniform(0.25, 0.5)))
    lit = 0.6 + 0.4 * np.sin(fallen.place[2] + np.float32(rng.uniform(0, 6.3)))
    marks = np.float32(-rng.uniform(0.02, 0.12)) * glint * lit
    marks = marks + fallen.folds * np.float32(look.tone * rng.uniform(-0.1, 0.4))
    return paint(rng, bench, clear, place, depth, touch, np.maximum(marks, -0.15))


def _line(at: Field, breadth: float) -> Field:
    return bell(at, breadth)


def _crescent(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> _Fallen:
    """Press one side in, to the middle or past it."""
    half = 0.5 * look.length_um
    width = half * look.slenderness
    v = v * np.float32(rng.choice((-1.0, 1.0)))
    form = form_of(rng, look, ripple=float(rng.uniform(0.0, 0.06)))
    theta, depth, share = measured(form, u, v)
    fallen = float(rng.uniform(-0.35, 0.5)) * width
    lean = 1.0 + np.float32(rng.normal(0.0, 0.25)) * u / np.float32(half)
    dome = np.float32(1.0) - np.square(u / np.float32(half))
    floor = np.float32(fallen) * dome * lean + np.float32(rng.normal(0.0, 0.04) * width) * np.sin(
        u * np.float32(rng.uniform(0.6, 1.6))
    )
    dent = (v - floor) / np.sqrt(np.float32(1.0 + (fallen / half) ** 2))
    depth = np.minimum(depth, dent)
    folds = _line(v - floor - np.float32(rng.uniform(0.12, 0.35) * width) * dome, 0.4)
    return _Fallen((u, v, theta, depth, share), depth, folds * float(rng.uniform(0.0, 1.0)))


def _boat(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> _Fallen:
    """Bend a narrowed body, with a keel along it."""
    half = 0.5 * look.length_um
    narrow = float(rng.uniform(0.4, 0.8))
    form = form_of(rng, look, fuller=narrow, ripple=float(rng.uniform(0.0, 0.06)))
    sag = np.float32(rng.choice((-1.0, 1.0)) * rng.uniform(0.1, 0.3) * look.length_um)
    v = v - sag * (np.minimum(np.square(u / np.float32(half)), 1.6) - np.float32(0.33))
    theta, depth, share = measured(form, u, v)
    # The bent ends stand obliquely: what looks deep across them is not.
    slope = 2.0 * sag * np.clip(u / np.float32(half), -1.2, 1.2) / np.float32(half)
    depth = depth / np.sqrt(1.0 + slope * slope)
    lane = np.float32(rng.normal(0.0, 0.3) * half * look.slenderness * narrow)
    folds = _line(v - lane, float(rng.uniform(0.25, 0.6)))
    return _Fallen((u, v, theta, depth, share), depth, folds)


def _folded(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> _Fallen:
    """Turn one part of the body over onto the rest of it."""
    half = 0.5 * look.length_um
    lengthwise = rng.random() < 0.5
    turn = float(rng.normal(np.pi / 2 if lengthwise else 0.0, 0.3))
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    reach = half * look.slenderness if lengthwise else half
    form = form_of(rng, look)
    beyond = u * cos + v * sin - np.float32(reach * rng.uniform(0.0, 0.55))
    theta, depth, share = measured(form, u, v)
    _, flap, _ = measured(form, u - 2.0 * beyond * cos, v - 2.0 * beyond * sin)
    depth = np.minimum(np.maximum(depth, flap), -beyond)
    edge = bell(flap, 0.35) * (beyond < 0)
    folds = np.maximum(edge, 0.6 * np.clip(flap + 0.5, 0.0, 1.0))
    return _Fallen((u, v, theta, depth, share), depth, folds)


def _raisin(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> _Fallen:
    """Draw the outline in to three to six lobes, with valleys running inwards."""
    form = form_of(rng, look, fuller=float(rng.uniform(0.7, 1.05)), ripple=0.12)
    grid = np.linspace(-np.pi, np.pi, STEPS)
    count, phase = int(rng.integers(3, 7)), rng.uniform(0, 6.3)
    wander = rng.normal(0.0, 1.0) * np.sin(grid + rng.uniform(0, 6.3)) / count
    wave = np.square(np.sin(0.5 * count * (grid + phase + wander)))
    # Cusps between round lobes, not equally deep all round.
    uneven = 1.0 + 0.7 * np.sin(grid + rng.uniform(0, 6.3))
    deep = float(rng.uniform(0.08, 0.3))
    valley = np.exp(-wave / rng.uniform(0.12, 0.35))
    radius = form.radius * (1.0 - np.minimum(deep * uneven * valley, 0.62))
    sharp = Form.of(radius)
    # In a valley the nearest wall lies aside, so depth must not fade away there.
    form = replace(sharp, tilt=np.maximum(sharp.tilt, np.float32(0.65)))
    theta, depth, share = measured(form, u, v)
    index = ((theta + np.pi) * (STEPS / (2 * np.pi)) - 0.5).astype(np.int32) % STEPS
    folds = (valley * np.minimum(uneven, 1.3)).astype(np.float32)[index]
    folds = folds * np.clip(share * np.float32(1.3), 0.0, 1.0)
    return _Fallen((u, v, theta, depth, share), depth, folds)


def _spindle(rng: np.random.Generator, look: SporeLook, u: Field, v: Field) -> _Fallen:
    """Flatten the body to a thin spindle."""
    half = 0.5 * look.length_um
    thin = float(rng.uniform(0.25, 0.45)) / look.slenderness
    form = form_of(rng, look, fuller=thin, ripple=float(rng.uniform(0.0, 0.08)))
    wave = np.float32(rng.normal(0.0, 0.025) * look.length_um)
    v = v - wave * np.sin(u * np.float32(3.0 / half))
    theta, depth, share = measured(form, u, v)
    lane = np.float32(rng.normal(0.0, 0.25) * half * look.slenderness * thin)
    folds = _line(v - lane, float(rng.uniform(0.2, 0.45)))
    return _Fallen((u, v, theta, depth, share), depth, folds * float(rng.uniform(0.0, 1.0)))
