"""Style "contour": polygons filled, stroked and painted over on a sheet of paper.

Shading comes from the distance to the polygon, from textures and from highlights
painted on top, in light (0 to 1) rather than in density, the way one would paint it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import Bench, Draft, lay_bench
from sporecount.render.spores.contour_polygon import (
    Polygon,
    area,
    clipped,
    dashes,
    draw_outline,
    ragged,
    strips,
)
from sporecount.render.spores.look import SporeLook

Light = NDArray[np.floating]
_SHIFT = 6
_SUPER = 2
_SHADES = ("flat", "banded", "domed", "lit", "radial")
_HIGHLIGHTS = ("none", "spot", "arc", "core", "dot")


@dataclass(frozen=True)
class _Paint:
    """How one picture is painted, besides the look."""

    fill: float = 1.0
    stroke: float = 1.0
    stroke_um: float = 0.5
    dashed: bool = False
    texture: str = "none"
    shade: str = "flat"
    highlight: str = "none"


def whole(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Paint an intact spore."""
    bench = lay_bench(rng, 0.5 * look.length_um + 2.0, um_per_px)
    return _painted(rng, bench, look, [draw_outline(rng, look, angle_deg)], _paint_of(rng, look))


def damaged(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Paint a faded, cracked, gnawed, crumpled or spilling spore."""
    bench = lay_bench(rng, 0.5 * look.length_um + 5.0, um_per_px)
    paint = _paint_of(rng, look)
    kinds = (_faded, _cracked, _gnawed, _crumpled, _spilling)
    kind = kinds[int(rng.choice(len(kinds), p=(0.24, 0.26, 0.18, 0.21, 0.11)))]
    return kind(rng, bench, look, angle_deg, paint)


def shatter(rng: np.random.Generator, um_per_px: float, look: SporeLook) -> list[Draft]:
    """Clip the polygon into pieces, or leave strips of its edge."""
    outline = draw_outline(rng, look, float(rng.uniform(0.0, 180.0)))
    paint = _paint_of(rng, look)
    pieces = strips(rng, look, outline) if rng.random() < 0.25 else [outline]
    wanted = int(rng.integers(2, 8)) if len(pieces) == 1 else len(pieces)
    for _ in range(12):
        if len(pieces) >= wanted:
            break
        pieces.sort(key=area)
        biggest = pieces.pop()
        normal = rng.uniform(0.0, 2 * np.pi)
        way = np.array([np.cos(normal), np.sin(normal)])
        point = biggest.mean(axis=0) + rng.normal(0.0, 0.8, 2)
        halves = [clipped(biggest, point, way), clipped(biggest, point, -way)]
        if min(area(half) for half in halves) < 2.5:
            pieces.append(biggest)
            continue
        pieces += halves
    if rng.random() < 0.4:
        paint = replace(paint, fill=paint.fill * float(rng.uniform(0.25, 0.7)))
    drafts = []
    for piece in pieces:
        middle = piece.mean(axis=0)
        turn = float(rng.normal(0.0, 0.6))
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        torn = ragged(rng, (piece - middle) @ spin.T)
        bench = lay_bench(rng, float(np.abs(torn).max()) + 1.8, um_per_px)
        draft = _painted(rng, bench, look, [torn], paint)
        if float(draft.cover.sum()) * bench.step_um**2 >= 2.2:
            drafts.append(replace(draft, home_um=(float(middle[0]), float(middle[1]))))
    return drafts if len(drafts) > 1 else shatter(rng, um_per_px, look)


def _paint_of(rng: np.random.Generator, look: SporeLook) -> _Paint:
    return _Paint(
        stroke_um=float(np.clip(look.wall_um * rng.uniform(0.4, 0.9), 0.25, 1.1)),
        texture=str(rng.choice(("none", "speckle", "blotch", "hatch"), p=(0.3, 0.3, 0.25, 0.15))),
        shade=str(rng.choice(_SHADES, p=(0.2, 0.2, 0.2, 0.15, 0.25))),
        highlight=str(rng.choice(_HIGHLIGHTS, p=(0.36, 0.18, 0.13, 0.21, 0.12))),
    )


def _filled(bench: Bench, polygons: list[Polygon]) -> Light:
    """Return the cover of polygons, averaged from a finer sheet."""
    size = bench.x_um.shape[0]
    sheet = np.zeros((size * _SUPER, size * _SUPER), np.uint8)
    for polygon in polygons:
        cv2.fillPoly(sheet, [_on_sheet(bench, polygon)], 255, cv2.LINE_AA, _SHIFT)
    return cv2.resize(sheet, (size, size), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def _stroked(bench: Bench, lines: list[Polygon], width_um: float, closed: bool = True) -> Light:
    """Return the cover of a pen's strokes."""
    size = bench.x_um.shape[0]
    sheet = np.zeros((size * _SUPER, size * _SUPER), np.uint8)
    width_px = width_um / bench.step_um * _SUPER
    pen = max(1, round(width_px))
    for line in lines:
        corners = [_on_sheet(bench, line)]
        cv2.polylines(sheet, corners, closed, 255, pen, cv2.LINE_AA, _SHIFT)
    cover = cv2.resize(sheet, (size, size), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return cover * np.float32(min(1.0, width_px / pen))


def _on_sheet(bench: Bench, polygon: Polygon) -> NDArray[np.int32]:
    at = polygon / bench.step_um + np.array(bench.origin_px)
    finer = at * _SUPER + (_SUPER - 1) / 2.0
    return np.rint(finer * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)


def _painted(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    polygons: list[Polygon],
    paint: _Paint,
    marks: Light | None = None,
    gaps: Light | None = None,
) -> Draft:
    """Paint fill, shade, texture, highlight, folds and outline, in that order."""
    cover = _filled(bench, polygons)
    if gaps is not None:
        cover = cover * (1.0 - gaps)
    inside = (cover > 0.5).astype(np.uint8)
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 3) * np.float32(bench.step_um)
    body = look.core_tone * paint.fill * _shaded(rng, bench, look, depth, paint)
    body = np.maximum(body * _textured(rng, bench, look, paint), 0.0)
    body = body * _highlit(rng, bench, look, depth, paint)
    if marks is not None:
        body = body + marks
    hue = np.array(look.hue, np.float32)
    tint = hue ** np.float32(rng.uniform(0.8, 1.25))
    body = np.minimum(body, 1.3).astype(np.float32, copy=False)
    absorbed = cv2.transform(body, np.float32(-2.302585 * look.tone) * hue.reshape(3, 1))
    light: Light = np.asarray(cv2.exp(absorbed), np.float32)
    light -= np.float32(1.0)
    light *= cover[..., None]
    light += np.float32(1.0)
    light = _inked(rng, bench, look, polygons, paint, light, cover, tint)
    halo = _glow(bench, cover, float(rng.uniform(0.35, 0.7)))
    density = np.asarray(cv2.log(np.maximum(light, np.float32(0.01))), np.float32)
    density *= np.float32(-1.0 / np.log(10.0))
    density -= (np.float32(look.rim) * halo)[..., None]
    return Draft(density, cover, bench)


def _inked(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    polygons: list[Polygon],
    paint: _Paint,
    light: Light,
    cover: Light,
    tint: NDArray[np.float32],
) -> Light:
    """Draw the outline over the light, kept within the cover."""
    ink = np.power(np.float32(10.0), -look.tone * look.wall_tone * paint.stroke * tint)
    ink = ink.astype(np.float32)
    lines = polygons
    if paint.dashed:
        lines = [part for polygon in polygons for part in dashes(rng, polygon)]
    # The pen straddles the outline, and its outer half falls away.
    pen = _stroked(bench, lines, 2.0 * paint.stroke_um, closed=not paint.dashed)
    if rng.random() < 0.5:
        blurred = cv2.GaussianBlur(pen, (0, 0), max(0.3, 0.2 / bench.step_um))
        pen = blurred.astype(np.float32, copy=False)
    pen = np.minimum(pen, cover)[..., None]
    return np.minimum(light, light + pen * (ink - light))


def _shaded(
    rng: np.random.Generator, bench: Bench, look: SporeLook, depth: Light, paint: _Paint
) -> Light:
    """Return tones by distance to the edge, or by side, about 1."""
    deepest = max(float(depth.max()), 0.3)
    share = depth / deepest
    if paint.shade == "banded":
        edge = min(0.45, look.wall_um / deepest)
        return np.where(share < edge, 1.0 + 0.5 * rng.random(), 1.0 - 0.4 * rng.random())
    if paint.shade == "domed":
        return 1.0 + rng.uniform(-0.5, 0.6) * (share - 0.5)
    if paint.shade == "radial":
        # From the middle outwards, to the edge or beyond it, either end the darker.
        away = np.hypot(bench.x_um, bench.y_um) / np.float32(0.5 * look.length_um)
        return 1.0 + rng.uniform(-0.7, 0.7) * (np.minimum(away, 1.0) ** rng.uniform(1, 3) - 0.4)
    if paint.shade == "lit":
        turn = rng.uniform(0, 6.3)
        slope = bench.x_um * np.float32(np.cos(turn)) + bench.y_um * np.float32(np.sin(turn))
        return np.clip(1.0 + rng.uniform(0.2, 0.6) * slope / (0.5 * look.length_um), 0.2, 1.6)
    return np.ones_like(depth)


def _textured(rng: np.random.Generator, bench: Bench, look: SporeLook, paint: _Paint) -> Light:
    """Return speckles, blotches or strokes about 1."""
    shape = bench.x_um.shape
    amount = np.float32(0.08 + look.grain)
    if paint.texture == "speckle":
        dots = (rng.random(shape, np.float32) < 0.10 * bench.step_um).astype(np.float32)
        spread = cv2.GaussianBlur(dots, (0, 0), 0.35 * look.grain_um / bench.step_um)
        return 1.0 + rng.choice((-1.0, 1.2)) * amount * np.minimum(spread * 9.0, 1.0)
    if paint.texture == "blotch":
        noise = rng.standard_normal(shape, np.float32)
        smooth = cv2.GaussianBlur(noise, (0, 0), 0.7 * look.grain_um / bench.step_um)
        return 1.0 + amount * np.where(smooth > float(np.std(smooth)) * 0.3, 1.0, -0.5)
    if paint.texture == "hatch":
        turn, pace = rng.uniform(0, 3.2), rng.uniform(2.0, 5.0)
        lines = bench.x_um * np.float32(np.cos(turn)) + bench.y_um * np.float32(np.sin(turn))
        return 1.0 + 0.7 * amount * np.sin(lines * np.float32(pace))
    return np.ones(shape, np.float32)


def _highlit(
    rng: np.random.Generator, bench: Bench, look: SporeLook, depth: Light, paint: _Paint
) -> Light:
    """Return painted highlights: factors below 1 where light is laid on."""
    side = 0.5 * look.length_um * look.slenderness
    strength = np.float32(rng.uniform(0.3, 0.9))
    if paint.highlight == "core":
        inner = np.clip((depth - 0.45 * side) / (0.3 * side), 0.0, 1.0)
        return 1.0 - strength * inner
    if paint.highlight == "dot":
        spread = side * rng.uniform(0.12, 0.4)
        away = (bench.x_um - rng.normal(0, 0.15 * side)) ** 2 + bench.y_um**2
        return 1.0 + strength * np.exp(away * np.float32(-1.0 / spread**2))
    if paint.highlight == "spot":
        middle = rng.normal(0.0, 0.25 * side, 2)
        radius = side * rng.uniform(0.15, 0.45)
        circle = np.linspace(0.0, 2 * np.pi, 20)
        stretch = rng.uniform(1.0, 1.8)
        spot = middle + radius * np.column_stack([np.cos(circle) * stretch, np.sin(circle)])
        cover = _filled(bench, [spot])
    elif paint.highlight == "arc":
        turn = rng.uniform(0, 6.3) + np.linspace(0.0, rng.uniform(0.8, 1.8), 14)
        arc = 0.55 * side * np.column_stack([np.cos(turn), np.sin(turn)])
        cover = _stroked(bench, [arc], float(rng.uniform(0.4, 1.0)), closed=False)
    else:
        return np.ones_like(depth)
    return 1.0 - strength * cv2.GaussianBlur(cover, (0, 0), max(0.4, 0.25 / bench.step_um))


def _glow(bench: Bench, cover: Light, width_um: float) -> Light:
    """Return a band just outside the outline."""
    reach = 2 * round(width_um / bench.step_um) + 1
    grown = cv2.dilate(cover, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach)))
    grown = cv2.GaussianBlur(grown, (0, 0), max(0.5, 0.2 / bench.step_um))
    return np.clip(grown - cover, 0.0, 1.0)


def _faded(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: _Paint
) -> Draft:
    """Leave a pale outline, whole or broken, sometimes with a rest of its filling."""
    full = look.tone * look.wall_tone
    pale = replace(
        paint,
        fill=float(rng.uniform(0.02, 0.12)) * min(1.0, 0.4 / look.tone),
        stroke=max(0.07, min(float(rng.uniform(0.07, 0.26)), 0.5 * full)) / full,
        stroke_um=min(paint.stroke_um, 0.6),
        dashed=bool(rng.random() < 0.4),
        highlight="none",
    )
    faint = replace(look, rim=0.4 * look.rim)
    outline = draw_outline(rng, look, angle_deg, rough=1.5)
    marks = None
    if rng.random() < 0.35:
        circle = np.linspace(0.0, 2 * np.pi, 18, endpoint=False)
        wide = 0.25 * look.length_um * look.slenderness * rng.uniform(0.4, 1.0)
        ring = np.column_stack([np.cos(circle) * rng.uniform(1.0, 1.8), np.sin(circle)])
        ring = ring * wide * np.exp(rng.normal(0.0, 0.18, (18, 1)))
        rest = outline[int(rng.integers(len(outline)))] * rng.uniform(0.0, 0.5) + ring
        marks = _filled(bench, [rest]) * np.float32(rng.uniform(0.3, 0.9))
        marks = marks * np.maximum(_textured(rng, bench, look, paint), 0.2)
    return _painted(rng, bench, faint, [outline], pale, marks=marks)


def _cracked(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: _Paint
) -> Draft:
    """Draw one or two zigzags, bright or dark; the two sides may have slid."""
    polygons = [draw_outline(rng, look, angle_deg)]
    half, side = 0.5 * look.length_um, 0.5 * look.length_um * look.slenderness
    lines = np.zeros_like(bench.x_um)
    dark, pens = rng.random() < 0.4, []
    for number in range(1 + int(rng.random() < 0.35)):
        lengthwise = rng.random() < 0.2
        turn = np.deg2rad(angle_deg) + (0.0 if lengthwise else np.pi / 2) + rng.normal(0.0, 0.3)
        way = np.array([np.cos(turn), np.sin(turn)])
        normal = np.array([-way[1], way[0]])
        reach = (half if lengthwise else side) + 1.5
        short = rng.random() < (0.25 if number == 0 else 0.6)
        start = rng.uniform(-0.5, 0.1) * reach if short else -reach
        along = np.linspace(start, reach, int(rng.integers(5, 10)))
        middle = rng.normal(0.0, 0.25) * (side if lengthwise else half)
        off = rng.normal(0.0, 0.3, len(along)) + middle
        crack = along[:, None] * way + off[:, None] * normal
        gap = float(rng.uniform(0.5, 0.8) if dark else rng.uniform(0.6, 1.3))
        pens.append(_stroked(bench, [crack], gap, closed=False))
        if number == 0 and not short and rng.random() < 0.5:
            slide = rng.choice((-0.5, 0.5)) * rng.uniform(0.4, 1.8) * way
            point = middle * normal
            polygons = [
                clipped(polygons[0], point - 0.1 * normal, normal) + slide,
                clipped(polygons[0], point + 0.1 * normal, -normal) - slide,
            ]
            polygons = [part for part in polygons if len(part) > 2]
    for pen in pens:
        lines = np.maximum(lines, pen)
    if dark:
        marks = lines * np.float32(rng.uniform(0.6, 1.1))
        return _painted(rng, bench, look, polygons, paint, marks=marks)
    return _painted(rng, bench, look, polygons, paint, gaps=lines)


def _gnawed(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: _Paint
) -> Draft:
    """Pull a run of the outline's corners in towards the middle."""
    outline = draw_outline(rng, look, angle_deg)
    count = len(outline)
    run = int(count * rng.uniform(0.12, 0.3))
    first = int(rng.integers(0, count))
    index = np.arange(first, first + run) % count
    depth = rng.uniform(0.5, 0.8)
    profile = np.minimum(1.0, 3.0 * np.sin(np.linspace(0.05, np.pi - 0.05, run)))
    profile = profile * depth * rng.uniform(0.8, 1.1, run)
    bitten = outline.copy()
    bitten[index] *= np.clip(1.0 - profile, 0.08, 1.0)[:, None]
    return _painted(rng, bench, look, [bitten], paint)


def _crumpled(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: _Paint
) -> Draft:
    """Fold the outline in at a few places and draw the folds dark."""
    small = replace(look, length_um=look.length_um * float(rng.uniform(0.86, 1.0)))
    outline = draw_outline(rng, small, 0.0, rough=2.5, wide=float(rng.uniform(0.82, 1.02)))
    turn = np.arctan2(outline[:, 1], outline[:, 0])
    factor = np.ones(len(outline))
    for number in range(int(rng.integers(2, 5))):
        side = rng.choice((-1.0, 1.0)) * np.pi / 2
        at = side + rng.normal(0.0, 0.5) if number < 2 else rng.uniform(0, 6.3)
        away = (turn - at + np.pi) % (2 * np.pi) - np.pi
        depth = rng.uniform(0.2, 0.6) if number == 0 else rng.uniform(0.05, 0.25)
        factor = factor * (1.0 - depth * np.exp(-((away / rng.uniform(0.2, 0.6)) ** 2)))
    outline = outline * np.maximum(factor, 0.3)[:, None]
    outline = outline + rng.normal(0.0, 0.12, outline.shape)
    outline[:, 1] += (
        rng.normal(0.0, 0.05) * look.length_um * (outline[:, 0] / look.length_um * 2) ** 2
    )
    angle = np.deg2rad(angle_deg)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    outline = outline @ spin.T
    outline -= outline.mean(axis=0)
    folds = np.zeros_like(bench.x_um)
    for _ in range(int(rng.integers(2, 6))):
        ends = outline[rng.choice(len(outline), 2, replace=False)] * rng.uniform(0.4, 1.0, (2, 1))
        middle = ends.mean(axis=0) + rng.normal(0.0, 0.8, 2)
        share = np.linspace(0.0, 1.0, 8)[:, None]
        curve = (1 - share) ** 2 * ends[0] + 2 * share * (1 - share) * middle + share**2 * ends[1]
        pen = _stroked(bench, [curve], float(rng.uniform(0.3, 0.8)), closed=False)
        folds = np.maximum(folds, pen * np.float32(rng.uniform(0.3, 0.8)))
    return _painted(rng, bench, look, [outline], paint, marks=folds)


def _spilling(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: _Paint
) -> Draft:
    """Swell the outline and paint a ragged puddle beside it."""
    wide = min(float(rng.uniform(0.95, 1.2)), 0.88 / look.slenderness)
    plump = replace(look, tip=0.3 * look.tip)
    outline = draw_outline(rng, plump, angle_deg, rough=2.5, wide=wide)
    mouth = outline[int(rng.integers(0, len(outline)))]
    out = mouth / np.hypot(*mouth)
    circle = np.linspace(0.0, 2 * np.pi, 26, endpoint=False)
    radius = rng.uniform(1.4, 2.4) * (1.0 + 0.22 * rng.standard_normal(26))
    stretch = np.column_stack([np.cos(circle) * rng.uniform(1.0, 1.5), np.sin(circle)])
    spin = np.array([[out[0], -out[1]], [out[1], out[0]]])
    puddle = mouth + out * 0.9 + (np.maximum(radius, 0.6)[:, None] * stretch) @ spin.T
    thin = replace(
        paint,
        fill=float(rng.uniform(0.35, 0.8)),
        stroke=float(rng.uniform(0.4, 0.9)),
        dashed=True,
        highlight="none",
    )
    body = _painted(rng, bench, plump, [outline], thin)
    wash = _filled(bench, [puddle]) * (1.0 - body.cover)
    wash = wash * np.maximum(0.2, _textured(rng, bench, look, replace(thin, texture="speckle")))
    strength = np.float32(max(0.07, look.tone * rng.uniform(0.25, 0.7)))
    density = body.density + (strength * wash)[..., None] * np.array(look.hue, np.float32)
    cover = np.maximum(body.cover, _filled(bench, [puddle]))
    return Draft(density.astype(np.float32), cover, bench)
