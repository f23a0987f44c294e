"""Ghosts in style "contour": a spore emptied wholly or in part, or bleached."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from sporecount.render.spores.bench import Bench, Draft, turned
from sporecount.render.spores.contour_paint import Light, Paint, filled, painted, stroked, textured
from sporecount.render.spores.contour_polygon import Polygon, draw_outline, spin
from sporecount.render.spores.look import SporeLook

#: A bleached spore is no darker than this, or it would pass for an intact one.
DARKEST_BLEACHED = 0.3


def hollow(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Empty the spore wholly or in part, or bleach it."""
    half = 0.5 * look.length_um
    outline = draw_outline(rng, look, angle_deg, rough=1.5)
    kinds = ("uneven", "bright", "wash", "half", "lump", "strand", "pale")
    kind = kinds[int(rng.choice(7, p=(0.16, 0.14, 0.1, 0.18, 0.14, 0.08, 0.2)))]
    washed = float(rng.uniform(0.3, 0.95)) if kind == "pale" or rng.random() < 0.35 else 0.0
    hue = [share * (1.0 - washed) + washed * 0.9 for share in look.hue]
    gray = replace(look, hue=(float(hue[0]), float(hue[1]), 1.0))
    if kind == "pale":
        tone = max(0.07, min(DARKEST_BLEACHED, look.tone * float(rng.uniform(0.2, 0.45))))
        return painted(rng, bench, replace(gray, tone=tone, rim=0.5 * look.rim), [outline], paint)
    full = look.tone * look.wall_tone
    faint = float(rng.uniform(0.07, 0.24))
    thin = replace(
        paint,
        fill=float(rng.uniform(0.02, 0.14)) * min(1.0, 0.4 / look.tone),
        stroke=min(faint, 0.6 * full) / full,
        stroke_um=float(rng.uniform(0.25, 0.7)),
        highlight="none",
    )
    if kind == "wash":
        level = max(0.07, min(0.25, float(rng.uniform(0.12, 0.35)) * look.tone))
        flat = replace(thin, stroke=0.0, fill=min(1.0, level / (look.tone * look.core_tone)))
        return painted(rng, bench, replace(gray, rim=0.0), [outline], flat)
    if kind == "bright":
        thin = replace(thin, stroke=thin.stroke * float(rng.uniform(0.2, 0.8)))
        draft = painted(
            rng, bench, replace(gray, rim=float(rng.uniform(-0.06, 0.06))), [outline], thin
        )
        pen = stroked(bench, [outline * 0.96], float(rng.uniform(0.5, 1.1)))
        glint = cv2.GaussianBlur(pen, (0, 0), max(0.4, 0.2 / bench.step_um))
        glint = glint * np.float32(rng.uniform(0.06, 0.2))
        return replace(draft, density=(draft.density - glint[..., None]).astype(np.float32))
    u, v = turned(bench, angle_deg)
    if kind == "uneven":
        draft = painted(rng, bench, replace(gray, rim=0.4 * look.rim), [outline], thin)
        turn, low = rng.uniform(0, 6.3), rng.uniform(0.1, 0.5)
        slope = (u * np.float32(np.cos(turn)) + v * np.float32(np.sin(turn))) / np.float32(half)
        gain = np.clip(1.0 + (1.5 + slope) * np.float32(rng.uniform(0.3, 1.0)) * slope, low, 2.5)
        return replace(draft, density=draft.density * gain[..., None].astype(np.float32))
    rest = _rest(rng, bench, look, u, v, kind)
    marks = (rest * np.maximum(textured(rng, bench, look, paint), 0.2)).astype(np.float32)
    return painted(rng, bench, replace(gray, rim=0.5 * look.rim), [outline], thin, marks=marks)


def _rest(
    rng: np.random.Generator, bench: Bench, look: SporeLook, u: Light, v: Light, kind: str
) -> Light:
    """Return the content that is left: in one end, as a lump or as a strand."""
    half = 0.5 * look.length_um
    side = half * look.slenderness
    strength = np.float32(rng.uniform(0.5, 1.0))
    if kind == "half":
        end = float(rng.choice((-1.0, 1.0)))
        level = float(rng.uniform(-0.4, 0.4)) * half
        wave = float(rng.normal(0.0, 0.5)) * v / np.float32(side) + np.float32(level)
        edge = (end * u - wave) / np.float32(rng.uniform(0.3, 1.4))
        return strength * np.clip(edge + 0.5, 0.0, 1.0).astype(np.float32)
    angle = float(rng.normal(0.0, 0.4))
    along = np.linspace(-1.0, 1.0, 9)
    if kind == "strand":
        bow = rng.normal(0.0, 0.3) * side * (1.0 - along**2) + rng.normal(0.0, 0.2, 9)
        line = np.column_stack([along * half * rng.uniform(0.5, 0.9), bow])
        cover = stroked(
            bench, [_placed(bench, line, u, v)], float(rng.uniform(0.7, 1.8)), closed=False
        )
    else:
        turn = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
        ring = np.exp(rng.normal(0.0, 0.12, 24))[:, None]
        size = np.array([half * rng.uniform(0.2, 0.55), side * rng.uniform(0.25, 0.6)])
        lump = (
            np.column_stack([np.cos(turn), np.sin(turn)]) * ring * size @ spin(np.rad2deg(angle)).T
        )
        lump += rng.uniform(-0.3, 0.3, 2) * (half, side)
        cover = filled(bench, [_placed(bench, lump, u, v)])
    soft = cv2.GaussianBlur(cover, (0, 0), max(0.4, 0.2 / bench.step_um))
    return (strength * soft).astype(np.float32)


def _placed(bench: Bench, line: Polygon, u: Light, v: Light) -> Polygon:
    """Turn a line from the body's axes to the bench's."""
    cos = float(u[0, 1] - u[0, 0]) / bench.step_um
    sin = float(u[1, 0] - u[0, 0]) / bench.step_um
    return line @ np.array([[cos, sin], [-sin, cos]])
