"""Small pictures in SVG that can be read without colour and without sight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sporecount.counts.loadclass import class_range
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.report.html.words import chance, share, whole

if TYPE_CHECKING:
    from markupsafe import Markup

#: Width of the pictures: that of a phone, so that letters keep their size there.
_WIDE = 380
_INK, _PALE, _GRID = "#1b2733", "#eef2f5", "#c3ccd4"


def class_chances(
    p_class: Sequence[float],
    load_class: int,
    lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
) -> Markup:
    """Draw the chance of each load class as a bar with its number.

    The most likely class has a full bar and the words "most likely"; all others are
    hatched.

    Parameters
    ----------
    p_class : sequence of float
        Chance of each class, from class 0 up.
    load_class : int
        The most likely one.
    lower_bounds : sequence of int
        Smallest number of spores of each class.
    """
    from markupsafe import Markup

    row, left, room = 34, 168, 96
    parts = []
    for load, p in enumerate(p_class):
        top, best = load * row, load == load_class
        wide = max(1.5 if p > 0 else 0.0, room * float(p))
        parts.append(
            Markup(
                '<text x="0" y="{y}"><tspan class="strong">Class {load}:</tspan> {words}</text>'
                '<line x1="{left}" x2="{left}" y1="{top}" y2="{bottom}" stroke="{ink}"/>'
                '<rect x="{left}" y="{bar}" width="{wide:.1f}" height="20" fill="{fill}" '
                'stroke="{ink}"/><text x="{after:.1f}" y="{y}"{strong}>{p}</text>'
            ).format(
                y=top + 22, load=load, words=_short(load, lower_bounds), left=left,
                top=top + 3, bottom=top + 31, ink=_INK, bar=top + 7, wide=wide,
                fill=_INK if best else "url(#hatch)", after=left + wide + 6,
                strong=Markup(' class="strong"') if best else "",
                p=chance(p),
            )
        )  # fmt: skip
    told = "; ".join(
        f"class {load} ({class_range(load, lower_bounds)}) {chance(p)}"
        for load, p in enumerate(p_class)
    )
    hatch = Markup(
        '<defs><pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><rect width="5" height="5" fill="#fff"/>'
        '<line x1="0" x2="0" y1="0" y2="5" stroke="#51606e" stroke-width="3"/></pattern></defs>'
    )
    return _picture(len(p_class) * row, f"Chance of each load class: {told}.", [hatch, *parts])


def _short(load: int, lower_bounds: Sequence[int]) -> str:
    """Return the spores of a class without the word."""
    text = class_range(load, lower_bounds).removesuffix(" spores").removesuffix(" spore")
    return {"no": "none", "1": "one"}.get(text, text)


def load_line(
    low: float,
    middle: float,
    high: float,
    lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
) -> Markup:
    """Draw the spores on the tape, with limits, against the load classes.

    Parameters
    ----------
    low, middle, high : float
        Lower limit, estimate, upper limit.
    lower_bounds : sequence of int
        Smallest number of spores of each class.
    """
    from markupsafe import Markup

    left, right, last = 8.0, _WIDE - 8.0, max(10.0 * lower_bounds[-1], 1.3 * high)

    def x(spores: float) -> float:
        return left + (right - left) * math.log10(spores + 1) / math.log10(last + 1)

    edges = [0.0, *(bound - 0.5 for bound in lower_bounds[1:]), last]
    parts = []
    for load, (start, stop) in enumerate(zip(edges, edges[1:])):
        a, b = x(start), x(stop)
        parts.append(
            Markup(
                '<rect x="{a:.1f}" y="22" width="{w:.1f}" height="44" fill="{fill}" '
                'stroke="{grid}"/><text x="{m:.1f}" y="14" text-anchor="middle">{load}</text>'
            ).format(a=a, w=b - a, m=(a + b) / 2, load=load, grid=_GRID,
                     fill=_PALE if load % 2 else "#fff")
        )  # fmt: skip
    free = -math.inf
    for bound in (*lower_bounds, *(10**power for power in range(4, 1 + int(math.log10(last))))):
        text = whole(bound)
        half = 3.7 * len(text)
        if x(bound) - half > free:
            at = min(x(bound), right - half + 6)
            parts.append(
                Markup('<text x="{at:.1f}" y="84" text-anchor="middle">{text}</text>').format(
                    at=at, text=text
                )
            )
            free = at + half + 2
    parts.append(
        Markup(
            '<path d="M{a:.1f} 44H{b:.1f}M{a:.1f} 34v20M{b:.1f} 34v20" stroke="{ink}" '
            'stroke-width="3" fill="none"/><circle cx="{m:.1f}" cy="44" r="7" fill="{ink}" '
            'stroke="#fff" stroke-width="2"/>'
        ).format(a=x(low), b=x(high), m=x(middle), ink=_INK)
    )
    told = (
        f"Spores on the whole tape: about {whole(middle)}, limits {whole(low)} to {whole(high)}, "
        "on a scale that widens tenfold from step to step; the bands are the load classes."
    )
    return _picture(90, told, parts)


def whisker(low: float, middle: float, high: float, *, small: bool, square: bool) -> Markup:
    """Draw a share with its limits on a line from 0 to 100 %.

    Parameters
    ----------
    low, middle, high : float
        Lower limit, share, upper limit, 0 to 1.
    small : bool
        Whether it rests on a small number: the line is then broken.
    square : bool
        Mark the share by a full square; otherwise by an open circle.
    """
    from markupsafe import Markup

    left, wide = 6.0, 228.0
    a, m, b = (left + wide * value for value in (low, middle, high))
    grid = "".join(f"M{left + wide * step / 4:.1f} 2v20" for step in range(5))
    mark = (
        Markup('<rect x="{x:.1f}" y="6.5" width="11" height="11" fill="{ink}"/>')
        if square
        else Markup(
            '<circle cx="{m:.1f}" cy="12" r="5.5" fill="#fff" stroke="{ink}" stroke-width="2.5"/>'
        )
    ).format(x=m - 5.5, m=m, ink=_INK)
    line = Markup(
        '<path d="{grid}" stroke="{pale}" fill="none"/><path d="M{a:.1f} 12H{b:.1f}" '
        'stroke="{ink}" stroke-width="2.5"{dash}/><path d="M{a:.1f} 6v12M{b:.1f} 6v12" '
        'stroke="{ink}" stroke-width="2.5"/>'
    ).format(grid=grid, pale=_GRID, a=a, b=b, ink=_INK,
             dash=Markup(' stroke-dasharray="5 4"') if small else "")  # fmt: skip
    told = f"{share(middle)}, limits {share(low)} to {share(high)}"
    return Markup(
        '<svg class="whisker" viewBox="0 0 240 24" role="img" aria-label="{told}">'
        "{line}{mark}</svg>"
    ).format(told=told, line=line, mark=mark)


def share_axis() -> Markup:
    """Draw the scale that belongs above a column of whiskers."""
    from markupsafe import Markup

    left, wide = 6.0, 228.0
    labels = Markup("").join(
        Markup('<text x="{x:.1f}" y="12" text-anchor="{anchor}">{text}</text>').format(
            x=left + wide * step / 4 + {0: -6, 4: 6}.get(step, 0),
            anchor={0: "start", 4: "end"}.get(step, "middle"),
            text=f"{25 * step}" if step < 4 else "100 %",
        )
        for step in range(5)
    )
    return Markup(
        '<svg class="whisker" viewBox="0 0 240 16" role="img" aria-label="scale from 0 to 100 %">'
        "{labels}</svg>"
    ).format(labels=labels)


def _picture(high: int, told: str, parts: Sequence[Markup]) -> Markup:
    from markupsafe import Markup

    return Markup(
        '<svg class="chart" viewBox="0 0 {wide} {high}" role="img" aria-label="{told}">'
        "{parts}</svg>"
    ).format(wide=_WIDE, high=high, told=told, parts=Markup("").join(parts))
