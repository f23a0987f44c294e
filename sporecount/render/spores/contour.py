"""Style "contour": polygons filled, stroked and painted over on a sheet of paper.

Shading comes from the distance to the polygon, from textures and from highlights
painted on top, in light (0 to 1) rather than in density, the way one would paint it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sporecount.render.spores.bench import MILD_SHARE, Draft, lay_bench
from sporecount.render.spores.contour_damage import cracked, crumpled, faded, gnawed, spilling
from sporecount.render.spores.contour_hollow import hollow
from sporecount.render.spores.contour_paint import paint_of, painted
from sporecount.render.spores.contour_polygon import area, clipped, draw_outline, ragged, strips
from sporecount.render.spores.contour_ruin import broken, eaten
from sporecount.render.spores.contour_shrivel import shrivelled
from sporecount.render.spores.look import SporeLook

_MILD = ((0.24, faded), (0.26, cracked), (0.18, gnawed), (0.21, crumpled), (0.11, spilling))
_STRONG = ((0.36, shrivelled), (0.26, broken), (0.16, eaten), (0.22, hollow))


def whole(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Paint an intact spore."""
    bench = lay_bench(rng, 0.5 * look.length_um + 2.0, um_per_px)
    return painted(rng, bench, look, [draw_outline(rng, look, angle_deg)], paint_of(rng, look))


def damaged(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Paint a spore that is damaged a little, or much more."""
    bench = lay_bench(rng, 0.5 * look.length_um + 5.0, um_per_px)
    paint = paint_of(rng, look)
    kinds = _MILD if rng.random() < MILD_SHARE else _STRONG
    pick = int(rng.choice(len(kinds), p=[share for share, _ in kinds]))
    return kinds[pick][1](rng, bench, look, angle_deg, paint)


def shatter(rng: np.random.Generator, um_per_px: float, look: SporeLook) -> list[Draft]:
    """Clip the polygon into pieces, or leave strips of its edge."""
    outline = draw_outline(rng, look, float(rng.uniform(0.0, 180.0)))
    paint = paint_of(rng, look)
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
        draft = painted(rng, bench, look, [torn], paint)
        if float(draft.cover.sum()) * bench.step_um**2 >= 2.2:
            drafts.append(replace(draft, home_um=(float(middle[0]), float(middle[1]))))
    return drafts if len(drafts) > 1 else shatter(rng, um_per_px, look)
