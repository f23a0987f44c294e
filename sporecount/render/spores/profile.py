"""Style "profile": a radius function for the outline, density by normalised radius.

Everything is a formula of the place within the outline: nothing is filled, stroked
or projected.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sporecount.render.spores.bench import MILD_SHARE, Draft, lay_bench
from sporecount.render.spores.look import SporeLook
from sporecount.render.spores.profile_damage import bite, collapse, crack, ghost, leak
from sporecount.render.spores.profile_hollow import hollow
from sporecount.render.spores.profile_paint import (
    Touch,
    form_of,
    measured,
    one_piece,
    paint,
    straightened,
)
from sporecount.render.spores.profile_ruin import broken, eaten
from sporecount.render.spores.profile_shrivel import shrivelled

_Kind = Callable[..., Draft]
_MILD: tuple[tuple[float, _Kind], ...] = (
    (0.24, ghost),
    (0.26, crack),
    (0.18, bite),
    (0.21, collapse),
    (0.11, leak),
)
_STRONG: tuple[tuple[float, _Kind], ...] = (
    (0.36, shrivelled),
    (0.26, broken),
    (0.16, eaten),
    (0.22, hollow),
)
#: Room beyond half the length that these need; the others take 5 um.
_MARGINS_UM: dict[_Kind, float] = {shrivelled: 2.5, eaten: 2.0, hollow: 2.0}


def whole(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Draw an intact spore."""
    bench = lay_bench(rng, 0.5 * look.length_um + 2.0, um_per_px)
    u, v = straightened(bench, look, angle_deg)
    theta, depth, share = measured(form_of(rng, look), u, v)
    return paint(rng, bench, look, (u, v, theta, depth, share), depth, Touch())


def damaged(rng: np.random.Generator, um_per_px: float, look: SporeLook, angle_deg: float) -> Draft:
    """Draw a spore with one kind of damage, from slight to severe."""
    kinds = _MILD if rng.random() < MILD_SHARE else _STRONG
    pick = int(rng.choice(len(kinds), p=[share for share, _ in kinds]))
    kind = kinds[pick][1]
    bench = lay_bench(rng, 0.5 * look.length_um + _MARGINS_UM.get(kind, 5.0), um_per_px)
    u, v = straightened(bench, look, angle_deg)
    return kind(rng, bench, look, u, v)


def shatter(rng: np.random.Generator, um_per_px: float, look: SporeLook) -> list[Draft]:
    """Cut the spore along straight lines and draw what lies between them."""
    angle_deg = float(rng.uniform(0.0, 180.0))
    form = form_of(rng, look)
    half = 0.5 * look.length_um
    lines = [(rng.normal(0.0, 0.5), rng.normal(0.0, 0.12) * half)]
    for _ in range(int(rng.choice(3, p=(0.35, 0.45, 0.2)))):
        lines.append((rng.uniform(0, np.pi), rng.normal(0.0, 0.3) * half))
    phase, ripple = rng.uniform(0, 6.28), rng.uniform(0.0, 0.45)
    emptied = rng.random() < 0.4
    touch = Touch(
        core_gain=float(rng.uniform(0.1, 0.5)) if emptied else 1.0,
        wall_gain=float(rng.uniform(0.6, 1.0)),
    )
    drafts = []
    for code in range(2 ** len(lines)):
        bench = lay_bench(rng, half + 2.0, um_per_px)
        u, v = straightened(bench, look, angle_deg + float(rng.normal(0.0, 25.0)))
        theta, depth, share = measured(form, u, v)
        cut = depth
        for number, (normal, offset) in enumerate(lines):
            side = 1.0 if code >> number & 1 else -1.0
            along = v * np.cos(normal) - u * np.sin(normal)
            q = u * np.cos(normal) + v * np.sin(normal) - offset
            q = q + ripple * np.sin(1.7 * along + phase)
            cut = np.minimum(cut, side * q)
        cut = one_piece(cut)
        if float((cut > 0).sum()) * bench.step_um**2 < 2.2:
            continue
        drafts.append(paint(rng, bench, look, (u, v, theta, depth, share), cut, touch))
    return drafts
