"""Strong cracks and bites in style "solid": halves that moved, and bodies eaten away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.solid_body import Body, Volume

Line = Callable[[Volume], Volume]
Hole = Callable[[Volume, Volume], Volume]

#: Share of the projected body that may be bitten off: with more gone it is a fragment.
MOST_EATEN = 0.36


def broken(rng: np.random.Generator, body: Body, look: SporeLook) -> tuple[Body, SporeLook]:
    """Part the body along a plane that may be jagged or curved, and move the halves."""
    half, thick = body.half_um, float(body.radius_um.max())
    lengthwise = rng.random() < 0.2
    normal = float(rng.normal(np.pi / 2 if lengthwise else 0.0, 0.12 if lengthwise else 0.35))
    cos, sin = np.float32(np.cos(normal)), np.float32(np.sin(normal))
    reach = half if lengthwise else thick
    offset = np.float32(rng.uniform(-0.4, 0.4) * (thick if lengthwise else half))
    gap = float(np.exp(rng.uniform(np.log(0.4), np.log(1.9))))
    slide = float(rng.uniform(-1.0, 1.0) * min(2.2, 0.7 * reach)) if rng.random() < 0.5 else 0.0
    hinge = float(rng.uniform(3.0, 30.0)) if rng.random() < 0.45 else 0.0
    at = float(rng.choice((-1.0, 1.0)) * reach)
    if hinge:
        gap, hinge = min(gap, 0.6), hinge * (0.5 if lengthwise else 1.0)
    turn = float(np.sign(at) * np.deg2rad(hinge) / 2)
    off = _course(rng, reach)
    chip = _chip(rng, reach) if rng.random() < 0.25 else None

    def halves(u: Volume, v: Volume) -> tuple[Volume, Volume, Volume, NDArray[np.bool_]]:
        q, along = u * cos + v * sin - offset, v * cos - u * sin
        near_q, near_a = _moved(q, along, -1.0, gap, slide, turn, at)
        far_q, far_a = _moved(q, along, 1.0, gap, slide, turn, at)
        beyond, before = far_q - off(far_a), off(near_a) - near_q
        far = beyond > before
        q, along = np.where(far, far_q, near_q), np.where(far, far_a, near_a)
        return q, along, np.maximum(beyond, before), far

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, Volume]:
        q, along, left, _ = halves(u, v)
        if chip is not None:
            left = np.minimum(left, chip(q, along))
        q = q + offset
        return q * cos - along * sin, q * sin + along * cos, left

    room = 0.5 * gap + abs(slide) + reach * abs(np.sin(np.deg2rad(hinge)))
    parted = replace(body, warp=warp, reach_um=float(room))
    if rng.random() < 0.3:
        paler = np.float32(rng.uniform(0.25, 0.7))
        one = rng.random() < 0.5

        def veil(u: Volume, v: Volume) -> Volume:
            return np.where(halves(u, v)[3] == one, paler, np.float32(1.0))

        parted = replace(parted, veil=veil)
    if rng.random() < 0.35 and hinge < 10.0:  # filled, darker or brighter than the ground
        strength = body.tone * rng.uniform(0.3, 0.9) if rng.random() < 0.6 else -0.12
        parted = replace(parted, filled_crack=float(strength))
    return parted, look


def _moved(
    q: Volume, along: Volume, sign: float, gap: float, slide: float, turn: float, at: float
) -> tuple[Volume, Volume]:
    """Return where a half's places were before it moved: off the crack, and along it."""
    q, along = q - np.float32(0.5 * sign * gap), along - np.float32(0.5 * sign * slide + at)
    cos, sin = np.float32(np.cos(sign * turn)), np.float32(np.sin(sign * turn))
    return q * cos + along * sin, along * cos - q * sin + np.float32(at)


def _course(rng: np.random.Generator, reach: float) -> Line:
    """Choose how far off its plane a crack runs: straight, in steps or in a bow."""
    kind = rng.random()
    knots = np.linspace(-reach - 2.0, reach + 2.0, int(rng.integers(7, 15)))
    heights = rng.normal(0.0, 0.4 if kind < 0.5 else 0.05, len(knots))
    if kind > 0.7:
        heights += rng.uniform(-0.35, 0.35) * reach * (1.0 - (knots / reach) ** 2)

    def off(along: Volume) -> Volume:
        return np.interp(along, knots, heights).astype(np.float32)

    return off


def _chip(rng: np.random.Generator, reach: float) -> Hole:
    """Return the distance from a corner that is lost beside the crack."""
    size, slope = np.float32(reach * rng.uniform(0.25, 0.55)), np.float32(rng.uniform(0.5, 1.2))
    one, other = (np.float32(side) for side in rng.choice((-1.0, 1.0), 2))

    def chip(q: Volume, along: Volume) -> Volume:
        corner = (np.float32(reach) - along * one) + slope * np.maximum(q * other, -0.2) - size
        return np.where(q * other > -0.2, corner, np.float32(99.0))

    return chip


def eaten(rng: np.random.Generator, body: Body, look: SporeLook) -> tuple[Body, SporeLook]:
    """Bite one to three times: round, wedge-shaped or ragged, small or a third of the body."""
    half, thick = body.half_um, float(body.radius_um.max())
    # A coarse ellipse stands for the body when the bites are weighed.
    u, v = np.meshgrid(np.linspace(-half, half, 32), np.linspace(-thick, thick, 24))
    inside = (u / half) ** 2 + (v / thick) ** 2 < 0.97
    u, v = u[inside].astype(np.float32), v[inside].astype(np.float32)
    left, holes = np.full_like(u, 99.0), []
    for number in range(int(rng.choice((1, 2, 3), p=(0.6, 0.27, 0.13)))):
        at_end = rng.random() < 0.4
        at = (0.0 if at_end else np.pi / 2) + np.pi * int(rng.integers(2)) + rng.normal(0.0, 0.35)
        turn, seed = float(at), int(rng.integers(2**31))
        deep = 2.0 * thick * float(rng.uniform(0.2, 0.6 if number == 0 else 0.3))
        for _ in range(4):
            hole = _mouthful(np.random.default_rng(seed), half, thick, turn, deep)
            rest = np.minimum(left, hole(u, v))
            if np.mean(rest < 0) < MOST_EATEN:
                left = rest
                holes.append(hole)
                break
            deep *= 0.75

    def warp(u: Volume, v: Volume) -> tuple[Volume, Volume, Volume]:
        left = holes[0](u, v)
        for hole in holes[1:]:
            left = np.minimum(left, hole(u, v))
        return u, v, left

    bitten = replace(body, content_tone=body.content_tone * float(rng.uniform(0.5, 1.0)))
    return replace(bitten, warp=warp) if holes else bitten, look


def _mouthful(
    rng: np.random.Generator, half: float, thick: float, turn: float, deep: float
) -> Hole:
    """Return the distance (um) from what one bite takes."""
    # Where the ray meets an ellipse, and the way into the body from there.
    x, y = half * np.cos(turn), thick * np.sin(turn)
    way = np.array([x / half**2, y / thick**2])
    cos, sin = (np.float32(one) for one in way / np.hypot(*way))
    edge = np.float32(x * cos + y * sin)
    middle = np.float32(y * cos - x * sin)
    kind = rng.random()
    opening, skew = float(rng.uniform(0.3, 0.85)), np.float32(rng.normal(0.0, 0.2))
    size = np.float32(deep * rng.uniform(0.45, 1.0))
    knots = np.linspace(-np.pi, np.pi, 25)
    rough = rng.normal(0.0, 0.03 if kind < 0.6 else 0.16, 25)
    rough[-1] = rough[0]

    def hole(u: Volume, v: Volume) -> Volume:
        inwards, across = edge - u * cos - v * sin, v * cos - u * sin - middle
        if kind < 0.3:
            flank = np.abs(across + skew * inwards) * np.float32(np.cos(opening))
            return flank - (np.float32(deep) - inwards) * np.float32(np.sin(opening))
        down = inwards - (np.float32(deep) - size)
        ragged = 1.0 + np.interp(np.arctan2(across, down), knots, rough).astype(np.float32)
        # Open outwards: what was bitten through leaves no bridge.
        return np.hypot(across, np.maximum(down, 0.0)) - size * ragged

    return hole
