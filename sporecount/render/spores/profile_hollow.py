"""Ghosts in style "profile": a spore emptied wholly or in part, or bleached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.profile_paint import (
    Field,
    Touch,
    bell,
    cloud,
    form_of,
    measured,
    paint,
)

_KINDS = ("uneven", "bright", "wash", "half", "lump", "strand", "pale")
#: A bleached spore is no darker than this, or it would pass for an intact one.
DARKEST_BLEACHED = 0.3
FAINTEST = 0.07


def hollow(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Empty the spore wholly or in part, or bleach it."""
    kind = _KINDS[int(rng.choice(len(_KINDS), p=(0.16, 0.14, 0.1, 0.18, 0.14, 0.08, 0.2)))]
    form = form_of(rng, look, ripple=float(rng.uniform(0.0, 0.05)))
    theta, depth, share = measured(form, u, v)
    place = (u, v, theta, depth, share)
    washed = float(rng.uniform(0.3, 0.95)) if kind == "pale" or rng.random() < 0.35 else 0.0
    red, green, _ = (one * (1.0 - washed) + 0.9 * washed for one in look.hue)
    gray = replace(look, hue=(red, green, 1.0), rim=float(rng.uniform(0.0, 0.6)) * look.rim)
    full = look.tone * look.wall_tone
    if kind == "pale":
        tone = max(FAINTEST, min(DARKEST_BLEACHED, look.tone * float(rng.uniform(0.2, 0.45))))
        return paint(rng, bench, replace(gray, tone=tone), place, depth, Touch())
    if kind == "wash":
        level = max(FAINTEST, min(0.25, look.tone * float(rng.uniform(0.12, 0.35))))
        flat = Touch(wall_gain=0.0, core_gain=0.0)
        sheet = np.clip(depth / np.float32(rng.uniform(0.3, 1.2)), 0.0, 1.0) * np.float32(level)
        sheet = sheet * (1.0 + look.grain * cloud(rng, bench, look.grain_um))
        return paint(rng, bench, replace(gray, rim=0.0), place, depth, flat, sheet)
    left = max(FAINTEST, min(float(rng.uniform(0.07, 0.24)), 0.6 * full)) / full
    core = float(rng.uniform(0.0, 0.2) * left / max(look.core_tone, 0.3))
    thin = replace(gray, wall_um=max(0.35, look.wall_um * float(rng.uniform(0.4, 0.9))))
    if kind == "bright":
        deep = np.float32(rng.uniform(0.3, 0.9))
        lit = 0.75 + 0.25 * np.sin(theta + np.float32(rng.uniform(0, 6.3)))
        glint = bell(depth - deep, float(rng.uniform(0.25, 0.6))) * lit
        marks = np.float32(-rng.uniform(0.06, 0.2)) * glint
        touch = Touch(wall_gain=left * float(rng.uniform(0.0, 0.9)), core_gain=core)
        return paint(rng, bench, thin, place, depth, touch, marks)
    touch = Touch(wall_gain=left, core_gain=core)
    if kind == "uneven":
        draft = paint(rng, bench, thin, place, depth, touch)
        turn, low = np.float32(rng.uniform(0, 6.3)), float(rng.uniform(0.0, 0.5))
        gain = 1.0 + np.float32(rng.uniform(0.5, 1.2)) * share * np.sin(
            theta * rng.integers(1, 3) + turn
        )
        density = draft.density * np.maximum(gain, low)[..., None]
        return Draft(density.astype(np.float32), draft.cover, bench)
    rest = _rest(rng, look, u, v, kind)
    rest = rest * (1.0 + look.grain * cloud(rng, bench, look.grain_um))
    rest = rest * np.clip(depth / 0.4, 0.0, 1.0) * np.float32(look.tone * rng.uniform(0.5, 1.0))
    return paint(rng, bench, thin, place, depth, touch, np.maximum(rest, 0.0))


def _rest(rng: np.random.Generator, look: SporeLook, u: Field, v: Field, kind: str) -> Field:
    """Return the content that is left, 0 to 1: in one end, as a lump or as a strand."""
    half = np.float32(0.5 * look.length_um)
    side = half * np.float32(look.slenderness)
    if kind == "half":
        end = np.float32(rng.choice((-1.0, 1.0)))
        level = np.float32(rng.uniform(-0.4, 0.4)) * half
        bulge = np.float32(rng.normal(0.0, 1.2)) * np.square(v / side)
        edge = end * u - level + bulge + np.float32(0.3) * np.sin(v * rng.uniform(0.8, 2.5))
        return np.clip(edge / np.float32(rng.uniform(0.3, 1.8)) + 0.5, 0.0, 1.0)
    turn = rng.normal(0.0, 0.4)
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    along, across = u * cos + v * sin, v * cos - u * sin
    if kind == "strand":
        sway = np.float32(rng.uniform(0.1, 0.3)) * side
        across = across - sway * np.sin(along * rng.uniform(0.4, 1.2) + rng.uniform(0, 6.3))
        ends = np.clip((half * np.float32(rng.uniform(0.5, 0.9)) - np.abs(along)) / 0.6, 0.0, 1.0)
        return bell(across, float(rng.uniform(0.3, 0.8))) * ends
    along = (along - np.float32(rng.uniform(-0.3, 0.3)) * half) / half
    across = (across - np.float32(rng.uniform(-0.25, 0.25)) * side) / side
    away = np.hypot(along / rng.uniform(0.25, 0.6), across / rng.uniform(0.3, 0.65))
    lobes = 0.15 * np.sin(rng.integers(2, 6) * np.arctan2(across, along) + rng.uniform(0, 6.3))
    return np.clip((1.0 + lobes - away) * rng.uniform(2.0, 6.0), 0.0, 1.0).astype(np.float32)
