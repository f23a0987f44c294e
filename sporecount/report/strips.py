"""The strips above and below a marked photo: name, result, legend, scale bar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from sporecount.counts.loadclass import class_range
from sporecount.counts.summary import COUNTED
from sporecount.detect.table import FRAGMENT, STATES
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.report.lettering import drawable, fit, font, width, wrap, write
from sporecount.report.strokes import EDGE, STROKES, draw_stroke

_GROUND, _INK, _QUIET, _ALERT = "#16202c", "#f4f6f8", "#aab7c4", "#ffcf5c"


class _Line(NamedTuple):
    text: str
    size: float
    colour: str


def header(
    summary: Mapping[str, Any],
    width_px: int,
    size: int,
    lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
) -> NDArray[np.uint8]:
    """Return the strip above the photo: its name and what was found, or why nothing was.

    Parameters
    ----------
    summary : mapping
        The photo's row of ``photos.csv``.
    width_px : int
        Width of the strip.
    size : int
        Height of plain letters in pixels.
    lower_bounds : sequence of int
        Smallest number of spores of each load class.

    Returns
    -------
    ndarray, shape (height, width_px, 3), uint8
    """
    room = width_px - 2 * size
    name = _Line(fit(drawable(summary["photo"]), font(size), room), 1.0, _QUIET)
    lines = [name, *_result_lines(summary, lower_bounds)]
    if summary.get("warning"):
        lines.append(_Line(f"Check: {summary['warning']}", 0.9, _ALERT))
    set_lines = [
        _Line(part, line.size, line.colour)
        for line in lines
        for part in wrap(drawable(line.text), font(round(size * line.size)), room)
    ]
    heights = [round(1.45 * size * line.size) for line in set_lines]
    strip = Image.new("RGB", (width_px, sum(heights) + size), _GROUND)
    draw, top = ImageDraw.Draw(strip), size / 2
    for line, height in zip(set_lines, heights, strict=True):
        write(draw, (size, top + height / 2), line.text, font(round(size * line.size)), line.colour)
        top += height
    return np.asarray(strip)


def _result_lines(summary: Mapping[str, Any], lower_bounds: Sequence[int]) -> list[_Line]:
    if summary["status"] != COUNTED:
        return [
            _Line(f"Not counted: {summary['status']}", 1.4, _ALERT),
            _Line(str(summary["reason"]), 1.0, _INK),
        ]
    spores, load = summary["spores"], summary["load_class"]
    heaviest = load == len(lower_bounds) - 1
    return [
        _Line(
            f"{spores} spore{'' if spores == 1 else 's'}  ·  "
            f"{summary['spores_low']} to {summary['spores_high']} are likely here  ·  "
            f"{'' if heaviest else 'at least '}load class {load} "
            f"({class_range(load, lower_bounds)})",
            1.4,
            _INK,
        ),
        _Line(
            f"{summary['per_mm2']:.3g} per mm2 "
            f"({summary['per_mm2_low']:.3g} to {summary['per_mm2_high']:.3g})  ·  "
            f"{summary['examined_mm2']:.3g} mm2 examined  ·  "
            f"{summary['um_per_px']:.4g} um/px: {summary['scale_source']}",
            0.9,
            _QUIET,
        ),
    ]


def footer(
    summary: Mapping[str, Any], width_px: int, size: int, px_per_um: float | None, *, edge: bool
) -> NDArray[np.uint8]:
    """Return the strip below the photo: what the lines mean, and a scale bar.

    Parameters
    ----------
    summary : mapping
        The photo's row of ``photos.csv``.
    width_px, size : int
        Width of the strip and height of plain letters, in pixels.
    px_per_um : float or None
        Scale of the picture that the strip goes under; None draws no bar.
    edge : bool
        Whether the edge of the examined area is among the lines.

    Returns
    -------
    ndarray, shape (height, width_px, 3), uint8
    """
    letters, row = font(round(0.9 * size)), 2 * size
    entries = _entries(summary, edge=edge)
    places, x, y = [], float(size), float(row)
    bar_um = round_length_um(width_px / 5 / px_per_um) if px_per_um else 0.0
    bar_px = round(bar_um * px_per_um) if px_per_um else 0
    right = width_px - (bar_px + 2 * size if bar_px else size)
    for text, _ in entries:
        wide = 2.6 * size + width(text, letters)
        if x > size and x + wide > right:
            x, y = float(size), y + row
        places.append((x, y))
        x += wide + 1.4 * size
    strip = Image.new("RGB", (width_px, int(y) + row), _GROUND)
    draw = ImageDraw.Draw(strip)
    for (text, _), (x, y) in zip(entries, places, strict=True):
        write(draw, (x + 2.6 * size, y), text, letters, _INK)
    if bar_px:
        _bar(draw, (width_px - size - bar_px, row), bar_px, f"{bar_um:g} um", size)
    canvas = np.array(strip)
    for (_, stroke), (x, y) in zip(entries, places, strict=True):
        draw_stroke(canvas, _ellipse(x + 1.1 * size, y, size), stroke, max(2, size / 10))
    return canvas


def _entries(summary: Mapping[str, Any], *, edge: bool) -> list[tuple[str, Any]]:
    if summary["status"] != COUNTED:
        return [("edge of the examined area", EDGE)] if edge else []
    entries = [
        (
            f"{state}: {summary[state]}{' (not counted)' if state == FRAGMENT else ''}",
            STROKES[state],
        )
        for state in STATES
    ]
    return entries + ([("edge of the examined area", EDGE)] if edge else [])


def _bar(draw: ImageDraw.ImageDraw, xy: tuple[int, int], length: int, text: str, size: int) -> None:
    """Draw a scale bar with its length above it."""
    x, y = xy
    thick = max(3, size // 4)
    draw.rectangle((x, y + size // 3, x + length - 1, y + size // 3 + thick), fill=_INK)
    draw.text((x + length / 2, y + size // 8), text, font=font(size), fill=_INK, anchor="ms")


def round_length_um(most_um: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20, 50 ... that does not pass a length.

    Examples
    --------
    >>> [round_length_um(most) for most in (1.0, 37.0, 99.0, 450.0)]
    [1.0, 20.0, 50.0, 200.0]
    """
    power = 10.0 ** np.floor(np.log10(most_um))
    return float(max(step * power for step in (1, 2, 5) if step * power <= most_um * (1 + 1e-9)))


def _ellipse(x: float, y: float, size: int) -> NDArray[np.float64]:
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    return np.column_stack((x + size * np.cos(turn), y + 0.6 * size * np.sin(turn)))
