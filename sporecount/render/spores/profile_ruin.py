"""Strong cracks and bites in style "profile": halves that moved, and bodies eaten away."""

from __future__ import annotations

import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.profile_paint import (
    STEPS,
    Field,
    Touch,
    bell,
    form_of,
    measured,
    one_piece,
    paint,
)

#: Share of the body that may be bitten off: with more gone it is a fragment.
MOST_EATEN = 0.36


def broken(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Part the body along a straight, jagged or curved line, and move the halves."""
    half, side = 0.5 * look.length_um, 0.5 * look.length_um * look.slenderness
    form = form_of(rng, look)
    lengthwise = rng.random() < 0.2
    normal = float(rng.normal(np.pi / 2 if lengthwise else 0.0, 0.12 if lengthwise else 0.35))
    cos, sin = np.float32(np.cos(normal)), np.float32(np.sin(normal))
    reach = half if lengthwise else side
    offset = np.float32(rng.uniform(-0.4, 0.4) * (side if lengthwise else half))
    gap = float(np.exp(rng.uniform(np.log(0.4), np.log(1.9))))
    slide = float(rng.uniform(-1.0, 1.0) * min(2.2, 0.7 * reach)) if rng.random() < 0.5 else 0.0
    hinge = float(rng.uniform(3.0, 30.0)) if rng.random() < 0.45 else 0.0
    at = float(rng.choice((-1.0, 1.0)) * reach)
    if hinge:
        gap, hinge = min(gap, 0.6), hinge * (0.5 if lengthwise else 1.0)
    course = _course(rng, reach)
    q, along = u * cos + v * sin - offset, v * cos - u * sin
    near, far = (
        _moved(q, along, sign, gap, slide, np.sign(at) * np.deg2rad(hinge) / 2, at)
        for sign in (-1.0, 1.0)
    )
    beyond = far[0] - _off(course, far[1])
    before = _off(course, near[1]) - near[0]
    q, along = (np.where(beyond > before, b, a) for a, b in zip(near, far))
    cut = np.maximum(beyond, before)
    if rng.random() < 0.25:  # a corner is lost beside the crack
        size = reach * float(rng.uniform(0.25, 0.55))
        one = float(rng.choice((-1.0, 1.0)))
        slope = float(rng.uniform(0.5, 1.2))
        other = float(rng.choice((-1.0, 1.0)))
        corner = (reach - along * one) + slope * np.maximum(q * other, -0.2) - size
        cut = np.minimum(cut, np.where(q * other > -0.2, corner, 99.0))
    place_u = (q + offset) * cos - along * sin
    place_v = (q + offset) * sin + along * cos
    theta, depth, share = measured(form, place_u, place_v)
    fate, marks = rng.random(), np.zeros_like(depth)
    if fate < 0.45 and hinge < 10.0:  # the crack is filled, darker or brighter than the ground
        dark = fate < 0.25
        line = np.clip(0.5 - cut / np.float32(0.25), 0.0, 1.0)
        tone = look.tone * rng.uniform(0.2, 0.9) if dark else -rng.uniform(0.03, 0.14)
        marks = line * np.float32(tone)
        left = depth
    else:
        left, line = np.minimum(depth, cut), np.zeros_like(depth)
    gain = 1.0 - line
    if rng.random() < 0.3:
        gain = gain * np.where(beyond > before, np.float32(rng.uniform(0.25, 0.7)), 1.0)
    touch = Touch(core_gain=float(rng.uniform(0.6, 1.0)), tone_gain=float(rng.uniform(0.75, 1.1)))
    place = (place_u, place_v, theta, depth, share)
    draft = paint(rng, bench, look, place, left, touch)
    inked = (marks * draft.cover)[..., None] * np.array(look.hue, np.float32)
    density = draft.density * gain[..., None] + inked
    return Draft(density.astype(np.float32), draft.cover, bench)


def _moved(
    q: Field, along: Field, sign: float, gap: float, slide: float, turn: float, at: float
) -> tuple[Field, Field]:
    """Return where a half's places were before it moved: off the crack, and along it."""
    q, along = q - np.float32(0.5 * sign * gap), along - np.float32(0.5 * sign * slide + at)
    cos, sin = np.float32(np.cos(sign * turn)), np.float32(np.sin(sign * turn))
    return q * cos + along * sin, along * cos - q * sin + np.float32(at)


def _course(rng: np.random.Generator, reach: float) -> tuple[float, ...]:
    """Choose amplitudes, paces and phases of a crack, and how far it bows."""
    kind = rng.random()
    jag = rng.uniform(0.2, 0.6) if kind < 0.5 else 0.05
    bow = rng.uniform(-0.35, 0.35) * reach if kind > 0.7 else 0.0
    pace, fine = rng.uniform(0.12, 0.4), rng.uniform(2.0, 4.5)
    return jag, pace, rng.uniform(0, 6.3), fine, rng.uniform(0, 6.3), bow / reach**2


def _off(course: tuple[float, ...], along: Field) -> Field:
    jag, pace, phase, fine, fine_phase, bow = (np.float32(one) for one in course)
    # Teeth: a triangle wave, with a finer unevenness on it.
    uneven = along * pace + np.float32(0.3) * np.sin(along * (0.37 * fine) + fine_phase)
    saw = np.abs(np.mod(uneven + phase, np.float32(1.0)) - np.float32(0.5)) * 4 - 1
    return jag * (saw + 0.35 * np.sin(fine * along + fine_phase)) + bow * along * along


def eaten(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Take one to three mouthfuls, round, wedge-shaped or ragged, small or large."""
    form = form_of(rng, look)
    theta, depth, share = measured(form, u, v)
    side = 0.5 * look.length_um * look.slenderness
    whole = float((depth > 0).sum())
    left = depth
    for number in range(int(rng.choice((1, 2, 3), p=(0.6, 0.27, 0.13)))):
        at_end = rng.random() < 0.4
        at = (0.0 if at_end else np.pi / 2) + np.pi * int(rng.integers(2)) + rng.normal(0.0, 0.3)
        at = float((at + np.pi) % (2 * np.pi) - np.pi)
        edge = float(form.radius[int((at + np.pi) / (2 * np.pi) * (STEPS - 1))])
        cos, sin = np.float32(np.cos(at)), np.float32(np.sin(at))
        inwards, across = np.float32(edge) - u * cos - v * sin, v * cos - u * sin
        deep = 2.0 * side * float(rng.uniform(0.2, 0.6 if number == 0 else 0.3))
        bite = _mouthful(rng, inwards, across, deep)
        rest = np.minimum(left, bite)
        if float((rest > 0).sum()) < (1.0 - MOST_EATEN) * whole:
            # Too much: the same mouth bites less deep, further out.
            shift = np.float32(0.45 * deep)
            rest = np.minimum(left, np.where(inwards > 0.55 * deep, 99.0, bite + 0.6 * shift))
            rest = rest if float((rest > 0).sum()) > 0.5 * whole else left
        left = rest
    left = one_piece(left)
    touch = Touch(core_gain=float(rng.uniform(0.6, 1.0)))
    walled = rng.random() < 0.35
    place = (u, v, theta, left if walled else depth, share)
    marks: Field | float = 0.0
    if not walled and rng.random() < 0.3:
        marks = bell(left - np.float32(0.3), 0.35) * np.float32(look.tone * rng.uniform(-0.3, 0.5))
    return paint(rng, bench, look, place, left, touch, marks)


def _mouthful(rng: np.random.Generator, inwards: Field, across: Field, deep: float) -> Field:
    """Return the distance (um) from what one bite takes."""
    kind = rng.random()
    if kind < 0.3:  # a wedge whose point lies deep inside
        opening = float(rng.uniform(0.3, 0.85))
        sway = across + np.float32(rng.normal(0.0, 0.2)) * inwards
        flank = np.abs(sway) * np.float32(np.cos(opening))
        return flank - (np.float32(deep) - inwards) * np.float32(np.sin(opening))
    size = deep * float(rng.uniform(0.45, 1.0))
    down = inwards - np.float32(deep - size)
    turn = np.arctan2(across, down)
    lobes, phase = int(rng.integers(3, 7)), np.float32(rng.uniform(0, 6.3))
    scallop = 1.0 + np.float32(0.04 if kind < 0.6 else 0.12) * np.sin(lobes * turn + phase)
    if kind >= 0.6:
        teeth = int(rng.integers(9, 17))
        scallop = scallop + np.float32(0.09) * np.abs(np.sin(0.5 * teeth * turn + phase)) - 0.05
    # Open outwards: what was bitten through leaves no bridge.
    return np.hypot(across, np.maximum(down, 0.0)) - np.float32(size) * scallop
