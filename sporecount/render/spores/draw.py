"""Draw a spore, or the pieces of a broken one, in the style asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.errors import SporecountError
from sporecount.render.drawn import DrawnSpore
from sporecount.render.spores import contour, profile, solid
from sporecount.render.spores.bench import Draft, finish, home_of_centre_um, outline_um
from sporecount.render.spores.look import SporeLook

STATES: tuple[str, ...] = ("intact", "damaged")
SMALLEST_PIECE_UM = 1.5
MOST_PIECES = 7
GAP_RANGE_UM = (1.5, 8.0)


@dataclass(frozen=True)
class _Style:
    whole: Callable[[np.random.Generator, float, SporeLook, float], Draft]
    damaged: Callable[[np.random.Generator, float, SporeLook, float], Draft]
    shatter: Callable[[np.random.Generator, float, SporeLook], list[Draft]]


_STYLES: dict[str, _Style] = {
    "profile": _Style(profile.whole, profile.damaged, profile.shatter),
    "solid": _Style(solid.whole, solid.damaged, solid.shatter),
    "contour": _Style(contour.whole, contour.damaged, contour.shatter),
}
STYLES: tuple[str, ...] = tuple(_STYLES)


def draw_spore(
    rng: np.random.Generator,
    um_per_px: float,
    look: SporeLook,
    state: str,
    style: str,
    *,
    angle_deg: float | None = None,
) -> DrawnSpore:
    """Draw one spore, whole or damaged.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    um_per_px : float
        Scale of the canvas, 0.1 to 1.6.
    look : SporeLook
        What it looks like.
    state : str
        ``"intact"``, or ``"damaged"``: one object, ghosted, cracked, bitten,
        collapsed or leaking.
    style : str
        One of `STYLES`.
    angle_deg : float, optional
        Long axis before any damage, from +x towards +y; random when left out.

    Returns
    -------
    DrawnSpore
        Its truth is that of the outline as drawn: the centre is the outline's
        centroid, the angle that of its moments, length and width its extents
        along and across that angle.

    Raises
    ------
    SporecountError
        When the state, the style or the scale is not one that can be drawn.

    Examples
    --------
    >>> spore = draw_spore(np.random.default_rng(2), 0.5, SporeLook(), "intact", "profile")
    >>> spore.state, 12 < spore.length_um < 14
    ('intact', True)
    """
    chosen = _style(style)
    _check_scale(um_per_px)
    if state not in STATES:
        raise SporecountError(
            f"state {state!r}", "no spore has that state", f"use one of {', '.join(STATES)}"
        )
    angle = float(rng.uniform(0.0, 180.0)) if angle_deg is None else float(angle_deg)
    draw = chosen.whole if state == "intact" else chosen.damaged
    return finish(draw(rng, um_per_px, look, angle), state, style)


def draw_fragments(
    rng: np.random.Generator, um_per_px: float, look: SporeLook, style: str
) -> list[tuple[DrawnSpore, tuple[float, float]]]:
    """Draw the pieces of a broken spore, lying apart.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    um_per_px : float
        Scale of the canvas, 0.1 to 1.6.
    look : SporeLook
        What the spore looked like.
    style : str
        One of `STYLES`.

    Returns
    -------
    list of (DrawnSpore, (dx_um, dy_um))
        Two to seven pieces, and where each one's centre lies about the place
        where the spore was. Every piece is at least 1.5 um long and lies 1.5 to
        8 um from its nearest neighbour.

    Raises
    ------
    SporecountError
        When the style or the scale is not one that can be drawn.
    """
    chosen = _style(style)
    _check_scale(um_per_px)
    drafts = chosen.shatter(rng, um_per_px, look)[:MOST_PIECES]
    pieces = [(finish(draft, "fragment", style), draft) for draft in drafts]
    pieces = [(piece, draft) for piece, draft in pieces if piece.length_um >= SMALLEST_PIECE_UM]
    offsets = _strew(rng, [draft for _, draft in pieces])
    return [(piece, offset) for (piece, _), offset in zip(pieces, offsets)]


def _strew(rng: np.random.Generator, drafts: list[Draft]) -> list[tuple[float, float]]:
    """Push pieces outwards from where they broke off until none comes too near another."""
    outlines: list[NDArray[np.float64]] = []
    places: list[tuple[float, float]] = []
    low, high = GAP_RANGE_UM
    for draft in drafts:
        shape, home = outline_um(draft), home_of_centre_um(draft)
        turn = rng.normal(0.0, 0.5) + np.arctan2(home[1], home[0] + 1e-6)
        way = np.array([np.cos(turn), np.sin(turn)])
        # Outline points are pixel centres a little apart, hence the margin.
        gap = low + 0.4 + (high - low - 1.5) * rng.beta(1.0, 2.0)
        place = home
        while outlines and (lacking := gap - _nearest(shape + place, outlines)) > 0:
            place = place + max(0.3, lacking) * way
        outlines.append(shape + place)
        places.append((float(place[0]), float(place[1])))
    return places


def _nearest(points: NDArray[np.float64], others: list[NDArray[np.float64]]) -> float:
    every = np.concatenate(others)
    apart = points[:, None, :] - every[None, :, :]
    return float(np.sqrt((apart**2).sum(axis=2).min()))


def _style(style: str) -> _Style:
    if style not in _STYLES:
        raise SporecountError(
            f"style {style!r}", "no drawing style has that name", f"use one of {', '.join(STYLES)}"
        )
    return _STYLES[style]


def _check_scale(um_per_px: float) -> None:
    if not 0.02 <= um_per_px <= 5.0:
        raise SporecountError(
            f"um_per_px {um_per_px!r}",
            "spores are drawn at 0.02 to 5 um per pixel",
            "give the scale in micrometres per pixel",
        )
