"""Ghosts in style "solid": a body emptied wholly or in part, or bleached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.solid_body import Body, Plane, Volume

_KINDS = ("uneven", "bright", "wash", "half", "lump", "strand", "pale")
#: A bleached spore is no darker than this, or it would pass for an intact one.
DARKEST_BLEACHED = 0.3
FAINTEST = 0.08


def hollow(rng: np.random.Generator, body: Body, look: SporeLook) -> tuple[Body, SporeLook]:
    """Empty the body wholly or in part, or bleach it."""
    kind = _KINDS[int(rng.choice(len(_KINDS), p=(0.16, 0.14, 0.1, 0.18, 0.14, 0.08, 0.2)))]
    washed = float(rng.uniform(0.3, 0.95)) if kind == "pale" or rng.random() < 0.35 else 0.0
    red, green, _ = (one * (1.0 - washed) + 0.9 * washed for one in look.hue)
    gray = replace(look, hue=(red, green, 1.0))
    if kind == "pale":
        tone = max(FAINTEST, min(DARKEST_BLEACHED, body.tone * float(rng.uniform(0.2, 0.45))))
        return replace(body, tone=tone, refraction=float(rng.uniform(0.2, 0.7))), gray
    if kind == "wash":
        level = max(FAINTEST, min(0.25, body.tone * float(rng.uniform(0.12, 0.35))))
        flat = replace(
            body,
            shell_um=0.1,
            shell_tone=0.0,
            content_tone=level / body.tone,
            granules=body.granules[:0],
            refraction=float(rng.uniform(0.0, 0.15)),
        )
        return flat, gray
    left = max(FAINTEST, min(float(rng.uniform(0.07, 0.24)), 0.6 * body.tone)) / body.tone
    empty = replace(
        body,
        shell_um=max(0.35, body.shell_um * float(rng.uniform(0.5, 0.9))),
        shell_tone=min(left, body.shell_tone),
        content_tone=float(rng.choice((0.0, 0.1, 0.25))) * left,
        refraction=float(rng.uniform(0.1, 0.5)),
        granules=body.granules[:0],
    )
    if kind == "bright":
        shining = replace(
            empty,
            shell_tone=empty.shell_tone * float(rng.uniform(0.0, 0.5)),
            glint=float(rng.uniform(0.06, 0.2)),
        )
        return shining, replace(gray, rim=float(rng.uniform(-0.1, 0.1)))
    if kind == "uneven":
        return replace(empty, veil=_uneven(rng, body)), gray
    kept = body.content_tone if kind == "half" else max(0.5, body.content_tone)
    kept = max(kept * float(rng.uniform(0.5, 1.0)), 0.1 / body.tone)
    rest = _rest(rng, body, kind)
    return replace(empty, content_tone=kept, filling=rest, granules=body.granules), gray


def _uneven(rng: np.random.Generator, body: Body) -> Plane:
    """Return a gain that differs from side to side."""
    turn, strength = float(rng.uniform(0, 6.3)), np.float32(rng.uniform(0.5, 1.2))
    cos = np.float32(np.cos(turn) / body.half_um)
    sin = np.float32(np.sin(turn) / body.radius_um.max())
    low = np.float32(rng.uniform(0.0, 0.5))
    twice = rng.random() < 0.4

    def gain(u: Volume, v: Volume) -> Volume:
        slope = u * cos + v * sin
        slope = 2.0 * np.square(slope) - 1.0 if twice else slope
        return np.maximum(1.0 + strength * np.clip(slope, -1.2, 1.2), low)

    return gain


def _rest(rng: np.random.Generator, body: Body, kind: str) -> Plane:
    """Return the content that is left, 0 to 1: in one end, as a lump or as a strand."""
    half, side = np.float32(body.half_um), np.float32(body.radius_um.max())
    if kind == "half":
        end, level = np.float32(rng.choice((-1.0, 1.0))), np.float32(rng.uniform(-0.4, 0.4)) * half
        slant = np.float32(rng.normal(0.0, 0.4))
        bulge = np.float32(rng.normal(0.0, 1.0))
        soft = np.float32(rng.uniform(0.3, 1.8))

        def part(u: Volume, v: Volume) -> Volume:
            edge = end * u - level + slant * v + bulge * np.square(v / side)
            return np.clip(edge / soft + 0.5, 0.0, 1.0)

        return part
    turn = rng.normal(0.0, 0.4)
    cos, sin = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    if kind == "strand":
        sway = np.float32(rng.uniform(0.1, 0.3)) * side
        pace, phase = np.float32(rng.uniform(0.4, 1.2)), np.float32(rng.uniform(0, 6.3))
        long, broad = half * np.float32(rng.uniform(0.5, 0.9)), np.float32(rng.uniform(0.3, 0.9))

        def strand(u: Volume, v: Volume) -> Volume:
            along, across = u * cos + v * sin, v * cos - u * sin
            across = across - sway * np.sin(pace * along + phase)
            ends = np.clip((long - np.abs(along)) / np.float32(0.6), 0.0, 1.0)
            return ends * np.clip(1.3 - np.abs(across) / broad, 0.0, 1.0)

        return strand
    x = np.float32(rng.uniform(-0.3, 0.3)) * half
    y = np.float32(rng.uniform(-0.25, 0.25)) * side
    long, broad = (
        half * np.float32(rng.uniform(0.25, 0.6)),
        side * np.float32(rng.uniform(0.3, 0.65)),
    )
    lobes, phase = int(rng.integers(2, 6)), np.float32(rng.uniform(0, 6.3))
    sharp = np.float32(rng.uniform(2.0, 6.0))

    def lump(u: Volume, v: Volume) -> Volume:
        along, across = (u - x) * cos + (v - y) * sin, (v - y) * cos - (u - x) * sin
        away = np.hypot(along / long, across / broad)
        edge = np.float32(0.12) * np.sin(lobes * np.arctan2(across, along) + phase)
        return np.clip((1.0 + edge - away) * sharp, 0.0, 1.0)

    return lump
