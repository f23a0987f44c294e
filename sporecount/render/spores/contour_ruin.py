"""Strong cracks and bites in style "contour": halves that moved, and bodies eaten away."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.render.spores.bench import Bench, Draft
from sporecount.render.spores.contour_paint import Light, Paint, filled, painted, stroked
from sporecount.render.spores.contour_polygon import Polygon, clipped, draw_outline, spin
from sporecount.render.spores.look import SporeLook

Vector = NDArray[np.float64]

#: Share of the body that may be bitten off: with more gone it is a fragment.
MOST_EATEN = 0.36


def broken(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Break the outline in two along a jagged or curved line, and move the halves."""
    half, side = 0.5 * look.length_um, 0.5 * look.length_um * look.slenderness
    outline = draw_outline(rng, look, 0.0)
    lengthwise = rng.random() < 0.2
    turn = rng.normal(np.pi / 2 if lengthwise else 0.0, 0.15 if lengthwise else 0.35)
    normal = np.array([np.cos(turn), np.sin(turn)])
    way = np.array([-normal[1], normal[0]])
    reach = half if lengthwise else side
    point = normal * float(rng.uniform(-0.5, 0.5)) * (side if lengthwise else half) * 0.8
    course = _course(rng, reach)
    parts = [_severed(outline, point, normal * sign, course * sign) for sign in (1.0, -1.0)]
    gap = float(np.exp(rng.uniform(np.log(0.3), np.log(1.9))))
    slide = float(rng.uniform(-1.0, 1.0) * min(2.2, 0.7 * reach)) if rng.random() < 0.5 else 0.0
    hinge = float(rng.uniform(3.0, 30.0)) if rng.random() < 0.45 else 0.0
    pivot = point + way * float(rng.choice((-1.0, 1.0))) * reach
    turning = float(np.sign((pivot - point) @ way)) * hinge / 2.0
    if hinge:  # touching at the hinge, the gap opens away from it
        gap, turning = min(gap, 0.6), turning * (0.5 if lengthwise else 1.0)
    moved = []
    for sign, part in zip((1.0, -1.0), parts):
        swung = (part - pivot) @ spin(sign * turning).T + pivot
        moved.append(swung + sign * (0.5 * gap * normal + 0.5 * slide * way))
    if rng.random() < 0.25:
        moved = _chipped(rng, moved, point, way, reach)
    axes = spin(angle_deg)
    moved = [part @ axes.T for part in moved if len(part) > 2]
    # Chosen before anything is painted: what paint draws from chance hangs on the scale.
    fate, halved = rng.random(), rng.random() < 0.3
    draft = painted(rng, bench, look, moved, paint)
    density = draft.density
    if fate < 0.45 and hinge < 10.0:  # the crack itself darker or brighter than the ground
        gone = filled(bench, [_hull(moved)]) * (1.0 - draft.cover)
        gone = cv2.GaussianBlur(gone, (0, 0), max(0.4, 0.15 / bench.step_um))
        shade = rng.uniform(0.2, 0.8) * look.tone if fate < 0.25 else -rng.uniform(0.03, 0.12)
        density = density + (np.float32(shade) * gone)[..., None] * np.array(look.hue, np.float32)
        # What fills the crack belongs to the spore.
        draft = replace(draft, cover=np.maximum(draft.cover, gone).astype(np.float32))
    if halved:
        paler = np.float32(rng.uniform(0.3, 0.75))
        faded = filled(bench, moved[:1])
        density = density * (1.0 - paler * faded)[..., None]
    return replace(draft, density=density.astype(np.float32))


def _hull(polygons: list[Polygon]) -> Polygon:
    points = np.concatenate(polygons).astype(np.float32)
    return cv2.convexHull(points).reshape(-1, 2).astype(np.float64)


def _course(rng: np.random.Generator, reach: float) -> Polygon:
    """Return (way along, way off) of a crack: straight, zigzag or curved."""
    along = np.linspace(-reach, reach, int(rng.integers(5, 12)))
    kind = rng.random()
    off = rng.normal(0.0, 0.06, len(along))
    if kind < 0.5:
        off += rng.uniform(0.2, 0.7) * np.where(np.arange(len(along)) % 2, 0.5, -0.5)
        off += rng.normal(0.0, 0.15, len(along))
    elif kind < 0.75:
        off += rng.uniform(-1.0, 1.0) * 0.3 * reach * (1.0 - (along / reach) ** 2)
    return np.column_stack([along, off])


def _severed(outline: Polygon, point: Vector, normal: Vector, course: Polygon) -> Polygon:
    """Keep one side of a polygon, its straight cut replaced by the crack's course."""
    part = clipped(outline, point, normal)
    if len(part) < 3:
        return part
    way = np.array([-normal[1], normal[0]])
    onto = np.abs((part - point) @ normal) < 1e-6
    cut = np.flatnonzero(onto)
    if len(cut) != 2:
        return part
    first, last = (cut[0], cut[1]) if cut[1] == cut[0] + 1 else (cut[1], cut[0])
    ends = ((part[[first, last]] - point) @ way).tolist()
    low, high = min(ends) + 0.1, max(ends) - 0.1
    steps = course[(course[:, 0] > low) & (course[:, 0] < high)]
    steps = steps[np.argsort(steps[:, 0])]
    if ends[0] > ends[1]:
        steps = steps[::-1]
    jagged = point + steps[:, :1] * way + steps[:, 1:] * normal
    return np.insert(part, first + 1, jagged, axis=0)


def _chipped(
    rng: np.random.Generator, parts: list[Polygon], point: Vector, way: Vector, reach: float
) -> list[Polygon]:
    """Knock a corner off beside the crack; it is lost, or lies close by."""
    corner = point + way * float(rng.choice((-1.0, 1.0))) * reach
    number = int(rng.integers(2))
    part = parts[number]
    inwards = part.mean(axis=0) - corner
    inwards = inwards / max(float(np.hypot(*inwards)), 1e-6)
    cut = corner + inwards * float(rng.uniform(0.25, 0.6)) * reach
    rest = clipped(part, cut, inwards)
    chip = clipped(part, cut, -inwards)
    if len(rest) < 3 or len(chip) < 3:
        return parts
    others = [rest, parts[1 - number]]
    near = chip - inwards * float(rng.uniform(0.2, 0.7))
    return others + ([near] if rng.random() < 0.5 else [])


def eaten(
    rng: np.random.Generator, bench: Bench, look: SporeLook, angle_deg: float, paint: Paint
) -> Draft:
    """Take one to three bites: round, wedge-shaped or ragged, small or a third of the body."""
    side = 0.5 * look.length_um * look.slenderness
    outline = draw_outline(rng, look, angle_deg)
    axis = np.deg2rad(angle_deg)
    bites = []
    for number in range(int(rng.choice((1, 2, 3), p=(0.6, 0.27, 0.13)))):
        at_end = rng.random() < 0.4
        turn = (0.0 if at_end else np.pi / 2) + np.pi * int(rng.integers(2))
        turn = axis + turn + rng.normal(0.0, 0.35)
        way = np.array([np.cos(turn), np.sin(turn)])
        edge = outline[int(np.argmax(outline @ way))] if at_end else _edge_towards(outline, way)
        depth = 2.0 * side * float(rng.uniform(0.2, 0.6 if number == 0 else 0.3))
        bites.append((edge, _mouthful(rng, edge, way, depth)))
    whole = filled(bench, [outline])
    for _ in range(4):
        gaps = filled(bench, [bite for _, bite in bites])
        if (gaps * whole).sum() < MOST_EATEN * whole.sum():
            break
        bites = [(edge, edge + 0.75 * (bite - edge)) for edge, bite in bites]
    gaps = np.maximum(gaps, _crumbs(whole * (1.0 - gaps)))
    draft = painted(rng, bench, look, [outline], paint, gaps=gaps)
    if rng.random() < 0.4:  # the wound has an edge of its own
        pen = (
            stroked(bench, [bite for _, bite in bites], 2.0 * float(rng.uniform(0.25, 0.6)))
            * draft.cover
        )
        strength = np.float32(look.tone * rng.uniform(-0.4, 0.8))
        density = draft.density + (strength * pen)[..., None] * np.array(look.hue, np.float32)
        draft = replace(draft, density=density.astype(np.float32))
    return draft


def _crumbs(cover: Light) -> Light:
    """Return all that does not hang together with the largest part."""
    labels, stats = cv2.connectedComponentsWithStats((cover > 0.3).astype(np.uint8))[1:3]
    if len(stats) < 3:
        return np.zeros_like(cover)
    others = (labels > 0) & (labels != 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))
    return cv2.dilate(others.astype(np.uint8), np.ones((3, 3))).astype(np.float32)


def _edge_towards(outline: Polygon, way: Vector) -> Vector:
    length = np.hypot(outline[:, 0], outline[:, 1])
    return outline[int(np.argmax(outline @ way / np.maximum(length, 1e-6)))]


def _mouthful(rng: np.random.Generator, edge: Vector, way: Vector, depth: float) -> Polygon:
    """Return what one bite takes, in the frame of the body."""
    across = np.array([-way[1], way[0]])
    kind = rng.random()
    if kind < 0.3:  # a wedge
        wide = depth * float(rng.uniform(0.35, 1.0))
        skew = rng.normal(0.0, 0.3) * wide
        corners = np.array([[-depth, skew], [1.5 * depth, 2.0 * wide], [1.5 * depth, -2.0 * wide]])
    else:
        size = depth * float(rng.uniform(0.55, 1.1))
        turn = np.linspace(0.0, 2 * np.pi, 40, endpoint=False)
        rough = 0.03 if kind < 0.65 else 0.16
        noise = rng.standard_normal(40)
        noise = noise + 0.7 * (np.roll(noise, 1) + np.roll(noise, -1))
        ring = size * np.maximum(0.3, 1.0 + rough * noise)
        corners = np.column_stack([np.cos(turn), np.sin(turn)]) * ring[:, None]
        corners[:, 0] += size - depth
    return edge + corners[:, :1] * way + corners[:, 1:] * across
