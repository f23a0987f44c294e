"""Pictures of a trial: each slide a point, each arm's mean with its limits; sizes by state."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT

if TYPE_CHECKING:
    from markupsafe import Markup

_INK, _GRID, _PALE = "#1b2733", "#c3ccd4", "#5b6b79"
_WIDE, _LEFT, _RIGHT, _ROW = 380, 14, 366, 40

#: Most finds of a state that are drawn; a picture of thousands shows no more.
_MOST = 150


def share_dots(
    arms: Sequence[tuple[str, Sequence[float], float, float, float]],
) -> Markup:
    """Draw shares from 0 to 100 %: slides as rings, the mean as a bar, its limits as a line.

    Parameters
    ----------
    arms : sequence of (name, shares, mean, low, high)
        Shares of the slides, nan where a slide has none; mean and limits nan where not known.
    """
    ticks = [(value, f"{100 * value:.0f} %") for value in (0, 0.25, 0.5, 0.75, 1.0)]
    return _dots(arms, 0.0, 1.0, ticks, "Broken share of each slide, and mean with limits")


def density_dots(arms: Sequence[tuple[str, Sequence[float]]]) -> Markup | None:
    """Draw whole spores per mm2 of each slide on a scale of powers of ten; None if none is known.

    A slide without a whole spore stands at the left edge.
    """
    known = [value for _, values in arms for value in values if value > 0]
    if not known:
        return None
    low, high = math.floor(math.log10(min(known))), math.ceil(math.log10(max(known)))
    high = max(high, low + 1)
    rows = [
        (
            name,
            [max(math.log10(v), low) if v > 0 else low for v in values if not math.isnan(v)],
            math.nan,
            math.nan,
            math.nan,
        )
        for name, values in arms
    ]
    ticks = [(float(power), f"{10.0**power:g}") for power in range(low, high + 1)]
    return _dots(rows, low, high, ticks, "Whole spores per square millimetre of each slide")


def _dots(
    arms: Sequence[tuple[str, Sequence[float], float, float, float]],
    low: float,
    high: float,
    ticks: Sequence[tuple[float, str]],
    told: str,
) -> Markup:
    from markupsafe import Markup

    def x(value: float) -> float:
        inside = min(max(value, low), high)
        return _LEFT + (_RIGHT - _LEFT) * (inside - low) / (high - low)

    bottom = len(arms) * _ROW + 4
    parts = []
    for value, words in ticks:
        anchor = "start" if value == ticks[0][0] else "end" if value == ticks[-1][0] else "middle"
        parts.append(
            Markup(
                '<line x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{y}" stroke="{grid}"/>'
                '<text x="{x:.1f}" y="{below}" text-anchor="{anchor}">{words}</text>'
            ).format(
                x=x(value), y=bottom, below=bottom + 17, grid=_GRID, anchor=anchor, words=words
            )
        )
    for place, (name, values, mean, least, most) in enumerate(arms):
        top = place * _ROW
        middle = top + 28
        parts.append(Markup('<text x="{x}" y="{y}">{name}</text>').format(
            x=_LEFT, y=top + 15, name=name
        ))  # fmt: skip
        if not math.isnan(least) and not math.isnan(most):
            parts.append(
                Markup('<line x1="{a:.1f}" x2="{b:.1f}" y1="{y}" y2="{y}" stroke="{ink}" '
                       'stroke-width="3"/>').format(a=x(least), b=x(most), y=middle, ink=_INK)
            )  # fmt: skip
        if not math.isnan(mean):
            parts.append(
                Markup('<rect x="{a:.1f}" y="{y}" width="5" height="18" fill="{ink}"/>').format(
                    a=x(mean) - 2.5, y=middle - 9, ink=_INK
                )
            )
        for number, value in enumerate(v for v in values if not math.isnan(v)):
            parts.append(
                Markup('<circle cx="{a:.1f}" cy="{y}" r="4.5" fill="#fff" fill-opacity=".75" '
                       'stroke="{ink}" stroke-width="1.5"/>').format(
                    a=x(value), y=middle + (-3, 3, 0)[number % 3], ink=_PALE
                )
            )  # fmt: skip
    return _picture(bottom + 24, told, parts)


def sizes(found: pd.DataFrame) -> Markup | None:
    """Draw length against width of finds by state; None where there are none.

    Intact ones are rings, damaged ones filled triangles, pieces crosses: shapes, not colours.
    """
    from markupsafe import Markup

    known = found[found["length_um"].notna() & found["width_um"].notna()]
    if known.empty:
        return None
    side, top_um = 300, 24.0
    parts = [
        Markup('<line x1="40" x2="{r}" y1="{b}" y2="{b}" stroke="{ink}"/>'
               '<line x1="40" x2="40" y1="6" y2="{b}" stroke="{ink}"/>').format(
            r=_RIGHT, b=side, ink=_INK)
    ]  # fmt: skip
    for value in (0, 5, 10, 15, 20):
        x, y = 40 + (_RIGHT - 40) * value / top_um, side - (side - 6) * value / 16
        parts.append(Markup('<text x="{x:.1f}" y="{b}" text-anchor="middle">{v}</text>').format(
            x=x, b=side + 17, v=value))  # fmt: skip
        if value <= 15:
            parts.append(Markup('<text x="34" y="{y:.1f}" text-anchor="end">{v}</text>').format(
                y=y + 5, v=value))  # fmt: skip
    shapes = {
        INTACT: '<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="none" stroke="#1b2733"/>',
        DAMAGED: '<path d="M{x:.1f} {y:.1f}m-4 3h8l-4 -7z" fill="#1b2733" fill-opacity=".7"/>',
        FRAGMENT: '<path d="M{x:.1f} {y:.1f}m-3 -3l6 6m0 -6l-6 6" stroke="#5b6b79"/>',
    }
    for state, shape in shapes.items():
        own = known[known["state"] == state]
        step = max(1, math.ceil(len(own) / _MOST))
        for row in own.iloc[::step][["length_um", "width_um"]].itertuples(index=False):
            x = 40 + (_RIGHT - 40) * min(row[0], top_um) / top_um
            parts.append(Markup(shape).format(x=x, y=side - (side - 6) * min(row[1], 16.0) / 16))
    words = "length across, width up, in micrometres"
    parts.append(Markup('<text x="{x}" y="{y}" text-anchor="end">{words}</text>').format(
        x=_RIGHT, y=side + 36, words=words))  # fmt: skip
    return _picture(side + 44, f"Size of finds by state: {words}", parts)


def _picture(high: int, told: str, parts: Sequence[Markup]) -> Markup:
    from markupsafe import Markup

    return Markup(
        '<svg class="chart" viewBox="0 0 {wide} {high}" role="img" aria-label="{told}">'
        "{parts}</svg>"
    ).format(wide=_WIDE, high=high, told=told, parts=Markup("").join(parts))
