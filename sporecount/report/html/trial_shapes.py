"""Pictures of size and shape: intact spores, damaged ones and pieces beside each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import DAMAGED, FRAGMENT, INTACT
from sporecount.report.html.trial_charts import GRID, INK, PALE, RIGHT, picture
from sporecount.report.html.words import several

if TYPE_CHECKING:
    from markupsafe import Markup

_NAMES = {INTACT: "intact", DAMAGED: "damaged", FRAGMENT: "pieces"}

#: Most finds of a state that are drawn; a picture of thousands shows no more.
MOST = 200

_LEFT, _HIGH, _GAP = 36.0, 110.0, 8.0

#: Ends of the axes of size, um: hardly anything is longer or wider; what is stands at the end.
_LONG_UM, _WIDE_UM = 20.0, 12.0

#: Bars of a shape; the axis ends at 1, which is a shape without a dent.
_BARS = 20


def sizes(found: pd.DataFrame) -> Markup | None:
    """Draw length against width, one panel for each state; None where nothing was measured.

    A broken frame, the same in all panels, holds the middle nine tenths of the intact ones'
    lengths and widths.

    Parameters
    ----------
    found : DataFrame
        Columns ``state``, ``length_um``, ``width_um``.
    """
    known = found[found["length_um"].notna() & found["width_um"].notna()]
    states = _present(known)
    if not states:
        return None
    parts: list[Markup] = []
    for place, state in enumerate(states):
        own = known[known["state"] == state]
        top = place * (_HIGH + _GAP)
        parts += [_panel(top, f"{_NAMES[state]}: {len(own)}"), *_widths(top)]
        parts += [_mark(state, _x(a), _y(top, b)) for a, b in _some(own)]
        parts += _frame(top, known[known["state"] == INTACT])
    bottom = len(states) * (_HIGH + _GAP) - _GAP
    parts += [_label(_x(um), bottom, f"{um}") for um in (0, 5, 10, 15)]
    parts.append(_label(RIGHT, bottom, "20 µm", "end"))
    told = "Length and width of finds: " + "; ".join(
        f"{several(int((known['state'] == state).sum()), 'find')} {_NAMES[state]}, middle "
        f"{known.loc[known['state'] == state, 'length_um'].median():.1f} by "
        f"{known.loc[known['state'] == state, 'width_um'].median():.1f} µm"
        for state in states
    )
    return picture(bottom + 22, told, parts)


def shapes(found: pd.DataFrame) -> Markup | None:
    """Draw how much of its hull each find fills (solidity), a row of bars for each state.

    Parameters
    ----------
    found : DataFrame
        Columns ``state``, ``solidity``.
    """
    known = found[found["solidity"].notna()]
    states = _present(known)
    if not states:
        return None
    low = min(0.9, math.floor(20 * float(known["solidity"].quantile(0.01))) / 20)
    edges = np.linspace(low, 1.0, _BARS + 1)
    parts: list[Markup] = []
    told = []
    for place, state in enumerate(states):
        values = known.loc[known["state"] == state, "solidity"].to_numpy(float)
        middle = float(np.median(values))
        top = place * (_HIGH + _GAP)
        words = f"{_NAMES[state]}: middle {100 * middle:.1f} %"
        told.append(words)
        parts += [_panel(top, words), *_bars(top, np.clip(values, low, 1.0), edges)]
    bottom = len(states) * (_HIGH + _GAP) - _GAP
    parts.append(_label(_LEFT, bottom, f"{100 * low:.0f} %", "start"))
    parts.append(_label((_LEFT + RIGHT) / 2, bottom, f"{50 * (low + 1):g} %"))
    parts.append(_label(RIGHT, bottom, "100 % filled", "end"))
    return picture(bottom + 22, "Share of its hull that a find fills: " + "; ".join(told), parts)


def _present(found: pd.DataFrame) -> list[str]:
    return [state for state in _NAMES if (found["state"] == state).any()]


def _some(own: pd.DataFrame) -> NDArray[np.float64]:
    """Return lengths and widths of all, or of evenly many of a long table."""
    step = max(1, math.ceil(len(own) / MOST))
    return own.iloc[::step][["length_um", "width_um"]].to_numpy(float)


def _x(um: float) -> float:
    return _LEFT + (RIGHT - _LEFT) * min(um, _LONG_UM) / _LONG_UM


def _y(top: float, um: float) -> float:
    return top + _HIGH - _HIGH * min(um, _WIDE_UM) / _WIDE_UM


def _panel(top: float, words: str) -> Markup:
    from markupsafe import Markup

    return Markup(
        '<rect x="{x}" y="{y:g}" width="{w:g}" height="{h:g}" fill="none" stroke="{grid}"/>'
        '<text x="{tx}" y="{ty:g}" class="strong">{words}</text>'
    ).format(x=_LEFT, y=top, w=RIGHT - _LEFT, h=_HIGH, grid=GRID,
             tx=_LEFT + 7, ty=top + 18, words=words)  # fmt: skip


def _widths(top: float) -> list[Markup]:
    return [_label(_LEFT - 6, _y(top, um) - 13, f"{um}", "end") for um in (0, 5, 10)]


def _label(x: float, bottom: float, words: str, anchor: str = "middle") -> Markup:
    from markupsafe import Markup

    return Markup('<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{words}</text>').format(
        x=x, y=bottom + 17, anchor=anchor, words=words
    )


def _mark(state: str, x: float, y: float) -> Markup:
    """Return a ring, a triangle or a cross: shapes, which need no colour."""
    from markupsafe import Markup

    drawn = {
        INTACT: '<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="none" stroke="{ink}" '
        'stroke-opacity=".75"/>',
        DAMAGED: '<path d="M{x:.1f} {y:.1f}m-3.5 2.6h7l-3.5 -6z" fill="{ink}" fill-opacity=".7"/>',
        FRAGMENT: '<path d="M{x:.1f} {y:.1f}m-2.7 -2.7l5.4 5.4m0 -5.4l-5.4 5.4" stroke="{pale}"/>',
    }
    return Markup(drawn[state]).format(x=x, y=y, ink=INK, pale=PALE)


def _frame(top: float, intact: pd.DataFrame) -> list[Markup]:
    from markupsafe import Markup

    if len(intact) < 10:
        return []
    (a, b), (c, d) = (intact[name].quantile([0.05, 0.95]) for name in ("length_um", "width_um"))
    return [
        Markup(
            '<rect x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}" fill="none" '
            'stroke="#b35900" stroke-width="2" stroke-dasharray="5 3"/>'
        ).format(x=_x(a), y=_y(top, d), w=_x(b) - _x(a), h=_y(top, c) - _y(top, d))
    ]


def _bars(top: float, values: Sequence[float], edges: NDArray[np.float64]) -> list[Markup]:
    from markupsafe import Markup

    shares = np.histogram(values, edges)[0] / max(1, len(values))
    wide = (RIGHT - _LEFT) / len(shares)
    room = (_HIGH - 26) / max(float(shares.max()), 1e-9)
    return [
        Markup('<rect x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}" '
               'fill="{ink}"/>').format(
            x=_LEFT + place * wide + 0.7, y=top + _HIGH - share * room, w=wide - 1.4,
            h=share * room, ink=INK,
        )
        for place, share in enumerate(shares) if share > 0
    ]  # fmt: skip
