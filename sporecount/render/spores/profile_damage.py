"""Milder damage in style "profile": a spore that keeps nearly its whole outline."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.profile_paint import (
    STEPS,
    Field,
    Touch,
    cloud,
    form_of,
    measured,
    paint,
)

_FAINTEST_GHOST = 0.07


def ghost(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Empty the spore, leaving a pale outline and sometimes a remnant of content."""
    theta, depth, share = measured(form_of(rng, look, ripple=0.03), u, v)
    thin = replace(look, wall_um=max(0.4, look.wall_um * rng.uniform(0.5, 0.9)), rim=look.rim / 2)
    full = look.tone * look.wall_tone
    # Paler than any intact spore, or it could not be told from one.
    left = min(float(rng.uniform(_FAINTEST_GHOST, 0.24)), 0.5 * full, 0.2) / full
    touch = Touch(
        wall_gain=max(left, _FAINTEST_GHOST / full),
        core_gain=float(rng.uniform(0.0, 0.15) * left / max(look.core_tone, 0.3)),
        open_at=float(rng.uniform(-np.pi, np.pi)) if rng.random() < 0.4 else None,
        open_width=float(rng.uniform(0.3, 0.8)),
    )
    marks: Field | float = 0.0
    if rng.random() < 0.35:
        half = 0.5 * look.length_um
        x, y = rng.uniform(-0.45, 0.45) * half, rng.uniform(-0.4, 0.4) * half * look.slenderness
        size = half * rng.uniform(0.12, 0.38)
        stretch = rng.uniform(0.5, 1.0)
        lump = 1.2 - np.hypot((u - x) / size, (v - y) / (size * stretch))
        lump = lump + 0.35 * cloud(rng, bench, float(rng.uniform(0.8, 2.0)))
        strength = look.tone * rng.uniform(0.3, 0.9)
        marks = np.clip(lump, 0.0, 1.0) * np.float32(strength) * np.clip(depth - 0.4, 0.0, 1.0)
    return paint(rng, bench, thin, (u, v, theta, depth, share), depth, touch, marks)


def crack(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Run one or two jagged lines through, bright or dark; the sides may have slid."""
    form = form_of(rng, look)
    half = 0.5 * look.length_um
    keep, marks = np.full_like(u, 99.0), np.zeros_like(u)
    dark = rng.random() < 0.4
    for number in range(1 + int(rng.random() < 0.3)):
        along_axis = rng.random() < 0.2 and number == 0
        normal = rng.normal(np.pi / 2, 0.1) if along_axis else rng.normal(0.0, 0.4)
        gap = 0.0 if dark else float(rng.uniform(0.6, 1.3))
        cos, sin = float(np.cos(normal)), float(np.sin(normal))
        spread = 0.1 if along_axis else 0.3
        course = u * -sin + v * cos
        q = u * cos + v * sin - float(np.clip(rng.normal(0.0, spread), -0.6, 0.6)) * half
        jag = rng.uniform(0.1, 0.45)
        q = q + jag * np.sin(rng.uniform(0.8, 2.0) * course + rng.uniform(0, 6.3))
        q = q + 0.5 * jag * np.sin(rng.uniform(2.5, 4.0) * course + rng.uniform(0, 6.3))
        away = np.abs(q)
        short = rng.random() < (0.25 if number == 0 else 0.6)
        if short:  # the crack ends within the body
            end = rng.uniform(-0.3, 0.5) * half * look.slenderness
            away = np.hypot(away, np.maximum(course - end, 0.0))
        if dark:
            line = np.exp(-((away / rng.uniform(0.25, 0.45)) ** 2))
            marks = np.maximum(marks, line * (look.tone * rng.uniform(0.5, 1.1) + 0.1))
        else:
            keep = np.minimum(keep, away - gap / 2)
        if number > 0 or short:
            continue
        side = np.clip(q / max(0.5 * gap, 0.2), -1.0, 1.0)
        slide = float(rng.uniform(0.0, 0.9) * rng.choice((-1.0, 1.0)))
        hinge = float(rng.normal(0.0, 0.05))
        apart = 0.4 * gap + hinge * course * 0.5
        u, v = u - side * (apart * cos - slide * sin), v - side * (apart * sin + slide * cos)
    theta, depth, share = measured(form, u, v)
    touch = Touch(core_gain=float(rng.uniform(0.5, 1.0)), tone_gain=float(rng.uniform(0.75, 1.05)))
    place = (u, v, theta, depth, share)
    return paint(rng, bench, look, place, np.minimum(depth, keep), touch, marks)


def bite(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Take round mouthfuls out of the edge."""
    form = form_of(rng, look)
    theta, depth, share = measured(form, u, v)
    width = 0.5 * look.length_um * look.slenderness
    cut = depth
    for number in range(1 + int(rng.random() < 0.35)):
        at = float(rng.uniform(-np.pi, np.pi))
        reach = float(form.radius[int((at + np.pi) / (2 * np.pi) * (STEPS - 1))])
        reach *= float(rng.uniform(0.85, 1.05))
        size = width * float(rng.uniform(0.5, 0.9) if number == 0 else rng.uniform(0.25, 0.45))
        du, dv = u - reach * np.cos(at), v - reach * np.sin(at)
        lobes = int(rng.integers(3, 7))
        scallop = 1.0 + 0.13 * np.sin(lobes * np.arctan2(dv, du) + rng.uniform(0, 6.3))
        cut = np.minimum(cut, np.sqrt(du * du + dv * dv) - size * scallop)
    touch = Touch(core_gain=float(rng.uniform(0.6, 1.0)))
    return paint(rng, bench, look, (u, v, theta, depth, share), cut, touch)


def collapse(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Let the body shrink and fall in at its side, with dark folds."""
    grown = float(rng.uniform(1.0, 1.12))
    u, v = u * np.float32(grown), v * np.float32(grown * rng.uniform(1.0, 1.3))
    form = form_of(rng, look, ripple=float(rng.uniform(0.05, 0.17)))
    theta, depth, share = measured(form, u, v)
    width = 0.5 * look.length_um * look.slenderness
    for number in range(int(rng.integers(0, 3))):
        long, broad = 0.5 * look.length_um * rng.uniform(0.3, 0.8), width * rng.uniform(0.5, 1.1)
        sunk = width * rng.uniform(0.2, 0.6 if number == 0 else 0.35)
        shift = (width + broad - sunk) * rng.choice((-1.0, 1.0))
        du, dv = u - rng.normal(0.0, 0.3) * 0.5 * look.length_um, v - shift
        dent = (np.sqrt((du / long) ** 2 + (dv / broad) ** 2) - 1.0) * broad
        # The wall runs along the dent as well: it is pushed in, not torn off.
        depth = np.minimum(depth, dent)
    touch = Touch(
        wrinkles=int(rng.integers(1, 5)), tone_gain=float(rng.uniform(0.8, 1.4)), core_gain=0.8
    )
    return paint(rng, bench, look, (u, v, theta, depth, share), depth, touch)


def leak(rng: np.random.Generator, bench: Bench, look: SporeLook, u: Field, v: Field) -> Draft:
    """Swell the body and let its content run out at one place."""
    swollen = min(float(rng.uniform(0.95, 1.2)), 0.88 / look.slenderness)
    form = form_of(rng, replace(look, tip=look.tip * 0.3), fuller=swollen, ripple=0.05)
    theta, depth, share = measured(form, u, v)
    at = float(rng.uniform(-np.pi, np.pi))
    edge = float(form.radius[int((at + np.pi) / (2 * np.pi) * (STEPS - 1))])
    spill = np.full_like(u, -99.0)
    for _ in range(int(rng.integers(5, 12))):
        size = float(rng.uniform(0.7, 2.1))
        far = edge - 0.3 + float(rng.uniform(0.0, 3.0))
        turn = at + float(rng.normal(0.0, 0.24))
        blob = size - np.hypot(u - far * np.cos(turn), v - far * np.sin(turn))
        spill = np.maximum(spill, blob)
    touch = Touch(
        tone_gain=float(rng.uniform(0.5, 0.9)),
        core_gain=float(rng.uniform(0.4, 0.9)),
        open_at=at,
        open_width=float(rng.uniform(0.35, 0.8)),
    )
    swollen_body = paint(rng, bench, look, (u, v, theta, depth, share), depth, touch)
    thickness = np.clip(spill / 0.9, 0.0, 1.0) * (1.0 - swollen_body.cover)
    strength = max(0.07, look.tone * touch.tone_gain * rng.uniform(0.45, 0.9))
    thickness = thickness * (1.0 + look.grain * cloud(rng, bench, 0.7)) * strength
    density = swollen_body.density + thickness[..., None] * np.array(look.hue, np.float32)
    both = np.clip(np.maximum(depth, spill) / bench.step_um + 0.5, 0.0, 1.0).astype(np.float32)
    return Draft(density.astype(np.float32), both, bench)
