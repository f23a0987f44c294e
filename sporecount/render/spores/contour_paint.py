"""How style "contour" fills, strokes, shades and paints over its polygons."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.contour_polygon import Polygon, dashes
from sporecount.render.spores.look import SporeLook

Light = NDArray[np.floating]
_SHIFT = 6
_SUPER = 2
_SHADES = ("flat", "banded", "domed", "lit", "radial")
_HIGHLIGHTS = ("none", "spot", "arc", "core", "dot")


@dataclass(frozen=True)
class Paint:
    """How one picture is painted, besides the look."""

    fill: float = 1.0
    stroke: float = 1.0
    stroke_um: float = 0.5
    dashed: bool = False
    texture: str = "none"
    shade: str = "flat"
    highlight: str = "none"


def paint_of(rng: np.random.Generator, look: SporeLook) -> Paint:
    """Choose pen, texture, shade and highlight for one picture."""
    return Paint(
        stroke_um=float(np.clip(look.wall_um * rng.uniform(0.4, 0.9), 0.25, 1.1)),
        texture=str(rng.choice(("none", "speckle", "blotch", "hatch"), p=(0.3, 0.3, 0.25, 0.15))),
        shade=str(rng.choice(_SHADES, p=(0.2, 0.2, 0.2, 0.15, 0.25))),
        highlight=str(rng.choice(_HIGHLIGHTS, p=(0.36, 0.18, 0.13, 0.21, 0.12))),
    )


def filled(bench: Bench, polygons: list[Polygon]) -> Light:
    """Return the cover of polygons, averaged from a finer sheet."""
    size = bench.x_um.shape[0]
    sheet = np.zeros((size * _SUPER, size * _SUPER), np.uint8)
    for polygon in polygons:
        cv2.fillPoly(sheet, [_on_sheet(bench, polygon)], 255, cv2.LINE_AA, _SHIFT)
    return cv2.resize(sheet, (size, size), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def stroked(bench: Bench, lines: list[Polygon], width_um: float, closed: bool = True) -> Light:
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


def painted(
    rng: np.random.Generator,
    bench: Bench,
    look: SporeLook,
    polygons: list[Polygon],
    paint: Paint,
    marks: Light | None = None,
    gaps: Light | None = None,
) -> Draft:
    """Paint fill, shade, texture, highlight, folds and outline, in that order."""
    cover = filled(bench, polygons)
    if gaps is not None:
        cover = cover * (1.0 - gaps)
    inside = (cover > 0.5).astype(np.uint8)
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 3) * np.float32(bench.step_um)
    body = look.core_tone * paint.fill * _shaded(rng, bench, look, depth, paint)
    body = np.maximum(body * textured(rng, bench, look, paint), 0.0)
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
    paint: Paint,
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
    pen = stroked(bench, lines, 2.0 * paint.stroke_um, closed=not paint.dashed)
    if rng.random() < 0.5:
        blurred = cv2.GaussianBlur(pen, (0, 0), max(0.3, 0.2 / bench.step_um))
        pen = blurred.astype(np.float32, copy=False)
    pen = np.minimum(pen, cover)[..., None]
    return np.minimum(light, light + pen * (ink - light))


def _shaded(
    rng: np.random.Generator, bench: Bench, look: SporeLook, depth: Light, paint: Paint
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


def textured(rng: np.random.Generator, bench: Bench, look: SporeLook, paint: Paint) -> Light:
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
    rng: np.random.Generator, bench: Bench, look: SporeLook, depth: Light, paint: Paint
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
        cover = filled(bench, [spot])
    elif paint.highlight == "arc":
        turn = rng.uniform(0, 6.3) + np.linspace(0.0, rng.uniform(0.8, 1.8), 14)
        arc = 0.55 * side * np.column_stack([np.cos(turn), np.sin(turn)])
        cover = stroked(bench, [arc], float(rng.uniform(0.4, 1.0)), closed=False)
    else:
        return np.ones_like(depth)
    return 1.0 - strength * cv2.GaussianBlur(cover, (0, 0), max(0.4, 0.25 / bench.step_um))


def _glow(bench: Bench, cover: Light, width_um: float) -> Light:
    """Return a band just outside the outline."""
    reach = 2 * round(width_um / bench.step_um) + 1
    grown = cv2.dilate(cover, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach)))
    grown = cv2.GaussianBlur(grown, (0, 0), max(0.5, 0.2 / bench.step_um))
    return np.clip(grown - cover, 0.0, 1.0)
