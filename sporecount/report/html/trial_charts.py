"""Pictures of a trial: each slide a point, each arm's mean with its limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sporecount.report.html.words import measure, visible

if TYPE_CHECKING:
    from markupsafe import Markup

INK, GRID, PALE = "#1b2733", "#c3ccd4", "#5b6b79"

#: Width of the pictures: that of a phone, so that letters keep their size there.
WIDE, LEFT, RIGHT = 380, 14, 366
_ROW = 44

#: Letters of a name that fit beside the figures; the whole name stands in the tables.
_NAME = 20

#: Most labels on an axis.
_TICKS = 7

#: Keeps letters legible where a line runs through them.
_HALO = ' paint-order="stroke" stroke="#fff" stroke-width="4" stroke-linejoin="round"'

#: Width that is kept for slides without a whole spore, which a power of ten can't show.
_NONE_WIDE = 34


@dataclass(frozen=True)
class Line:
    """One arm in a picture.

    Attributes
    ----------
    name, label : str
        What it is called, and its figures in words.
    points : sequence of float
        One for each slide; those that are nan are left out.
    mean, low, high : float
        Mean and limits; nan where not known.
    """

    name: str
    label: str
    points: Sequence[float] = ()
    mean: float = math.nan
    low: float = math.nan
    high: float = math.nan


def share_lines(lines: Sequence[Line], told: str, control: float = math.nan) -> Markup:
    """Draw shares from 0 to 100 %: slides as rings, the mean as a bar, its limits as a line.

    Parameters
    ----------
    lines : sequence of Line
        The arms, values from 0 to 1.
    told : str
        What the picture shows, for those who do not see it.
    control : float
        The control's mean, drawn through all arms as a broken line; nan: none.
    """
    ticks = [(LEFT + (RIGHT - LEFT) * step / 4, f"{25 * step} %") for step in range(5)]
    return _lines(lines, ticks, lambda value: _between(value, 0.0, 1.0, LEFT), told, control)


def density_lines(lines: Sequence[Line], told: str, control: float = math.nan) -> Markup | None:
    """Draw numbers per mm2 on a scale of powers of ten; None if none is above 0.

    A slide with none stands at the left, at "0", apart from the scale.
    """
    given = [v for line in lines for v in (*line.points, line.mean, line.low, line.high)]
    known = [value for value in given if value > 0]
    if not known:
        return None
    steps = _steps(min(known), max(known))
    low, high = math.log10(steps[0]), math.log10(steps[-1])
    left = LEFT + (_NONE_WIDE if any(value == 0 for value in given) else 0)

    def x(value: float) -> float:
        return float(LEFT) if value <= 0 else _between(math.log10(value), low, high, left)

    ticks = [(x(step), measure(step)) for step in _sparse(steps)]
    if left > LEFT:
        ticks.insert(0, (float(LEFT), "0"))
    return _lines(lines, ticks, x, told, control)


def _between(value: float, low: float, high: float, left: float) -> float:
    inside = min(max(value, low), high)
    return left + (RIGHT - left) * (inside - low) / (high - low)


def _steps(least: float, most: float) -> list[float]:
    """Return the steps 1, 2, 5, 10, ... from the last below to the first above.

    Where these are too many to be read, they are powers of ten.
    """
    for digits in ((1, 2, 5), (1,)):
        powers = range(math.floor(math.log10(least)) - 1, math.ceil(math.log10(most)) + 2)
        steps = [float(f"{digit}e{power}") for power in powers for digit in digits]
        first = max(step for step in steps if step <= least)
        last = min(step for step in steps if step >= most and step > first)
        steps = [step for step in steps if first <= step <= last]
        if len(steps) <= _TICKS:
            break
    return steps


def _sparse(steps: Sequence[float]) -> Sequence[float]:
    """Return few enough steps to be read, the first among them."""
    return steps[:: math.ceil(len(steps) / _TICKS)]


def _lines(
    lines: Sequence[Line],
    ticks: Sequence[tuple[float, str]],
    x: Callable[[float], float],
    told: str,
    control: float,
) -> Markup:
    from markupsafe import Markup

    bottom = len(lines) * _ROW + 4
    parts = [_tick(at, words, bottom) for at, words in ticks]
    if not math.isnan(control):
        parts.append(
            Markup(
                '<line x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{y}" stroke="{ink}" '
                'stroke-dasharray="2 4" stroke-width="1.5"/>'
            ).format(x=x(control), y=bottom, ink=PALE)
        )
    for place, line in enumerate(lines):
        parts += _arm(line, place * _ROW, x)
    told = "; ".join([told, *(f"{line.name}: {line.label}" for line in lines)])
    return picture(bottom + 24, told, parts)


def _arm(line: Line, top: int, x: Callable[[float], float]) -> list[Markup]:
    """Return the words above, then limits, mean, and rings on top of these."""
    from markupsafe import Markup

    middle = top + 30
    parts = [
        Markup(
            '<text x="{a}" y="{y}"{halo} class="strong">{name}</text>'
            '<text x="{b}" y="{y}" text-anchor="end"{halo}>{label}</text>'
        ).format(
            a=LEFT,
            b=RIGHT,
            y=top + 15,
            name=visible(short(line.name)),
            label=line.label,
            halo=Markup(_HALO),
        )
    ]
    if not math.isnan(line.low) and not math.isnan(line.high):
        parts.append(
            Markup(
                '<path d="M{a:.1f} {y}H{b:.1f}M{a:.1f} {t}v10M{b:.1f} {t}v10" stroke="{ink}" '
                'stroke-width="2.5"/>'
            ).format(a=x(line.low), b=x(line.high), y=middle, t=middle - 5, ink=INK)
        )
    if not math.isnan(line.mean):
        parts.append(
            Markup('<rect x="{a:.1f}" y="{y}" width="5" height="20" fill="{ink}"/>').format(
                a=x(line.mean) - 2.5, y=middle - 10, ink=INK
            )
        )
    known = [value for value in line.points if not math.isnan(value)]
    return parts + [
        Markup(
            '<circle cx="{a:.1f}" cy="{y}" r="4.5" fill="#fff" fill-opacity=".8" stroke="{ink}" '
            'stroke-width="1.5"/>'
        ).format(a=x(value), y=middle + (-4, 4, 0)[number % 3], ink=PALE)
        for number, value in enumerate(known)
    ]


def short(name: str) -> str:
    """Return a name that fits beside figures.

    Examples
    --------
    >>> short("bleach"), short("a spray with a very long name")
    ('bleach', 'a spray with a very…')
    """
    return name if len(name) <= _NAME else name[: _NAME - 1].rstrip() + "…"


def _tick(at: float, words: str, bottom: int) -> Markup:
    from markupsafe import Markup

    anchor = "start" if at <= LEFT + 1 else "end" if at >= RIGHT - 1 else "middle"
    return Markup(
        '<line x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{bottom}" stroke="{grid}"/>'
        '<text x="{x:.1f}" y="{below}" text-anchor="{anchor}">{words}</text>'
    ).format(x=at, bottom=bottom, below=bottom + 17, grid=GRID, anchor=anchor, words=words)


def picture(high: float, told: str, parts: Sequence[Markup]) -> Markup:
    """Return parts as one picture with words for those who do not see it."""
    from markupsafe import Markup

    return Markup(
        '<svg class="chart" viewBox="0 0 {wide} {high:g}" role="img" aria-label="{told}">'
        "{parts}</svg>"
    ).format(wide=WIDE, high=high, told=visible(told), parts=Markup("").join(parts))
