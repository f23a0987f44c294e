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
SMALLEST_PIECE_UM = 2.0
LARGEST_PIECE = 0.92  # of the spore's length
THINNEST_PIECE_UM = 1.1  # mean width
MOST_PIECES = 7
GAP_RANGE_UM = (2.0, 8.0)

#: Least width over length, and area over that of an intact spore, of what can still be
#: read as one spore; sharper slivers pass only seldom.
LEAST_SLENDERNESS, LEAST_AREA = 0.22, 0.22
SLIVERS = 0.02
MOST_DRAWS = 12


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
    if state == "intact":
        return finish(chosen.whole(rng, um_per_px, look, angle), state, style)
    # Every try has a source of its own, so that a try's shape hangs on nothing else.
    seed, spare = int(rng.integers(2**62)), rng.random() < SLIVERS
    for number in range(MOST_DRAWS):
        own = np.random.default_rng([seed, number])
        spore = finish(chosen.damaged(own, um_per_px, look, angle), state, style)
        if spare or _reads_as_one(spore, look):
            break
    return spore


def _reads_as_one(spore: DrawnSpore, look: SporeLook) -> bool:
    """Return whether a damaged spore is neither a sliver nor a scrap."""
    # A lens holds 0.67 of its box, an ellipse 0.785.
    whole_um2 = (0.785 - 0.1 * look.tip) * look.length_um**2 * look.slenderness
    slender = spore.width_um / max(spore.length_um, 1e-6)
    return slender >= LEAST_SLENDERNESS and spore.area_um2 >= LEAST_AREA * whole_um2


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
        where the spore was. Every piece is at least 2 um long, shorter than the
        spore, and lies 2 to 8 um from its nearest neighbour, mostly below 4.

    Raises
    ------
    SporecountError
        When the style or the scale is not one that can be drawn.
    """
    chosen = _style(style)
    _check_scale(um_per_px)
    longest = LARGEST_PIECE * look.length_um
    for _ in range(MOST_DRAWS):
        drafts = chosen.shatter(rng, um_per_px, look)[:MOST_PIECES]
        pieces = [(finish(draft, "fragment", style), draft) for draft in drafts]
        pieces = [one for one in pieces if _is_piece(one[0], longest)]
        if len(pieces) > 1:
            break
    offsets = _strew(rng, [draft for _, draft in pieces])
    return [(piece, offset) for (piece, _), offset in zip(pieces, offsets)]


def _is_piece(piece: DrawnSpore, longest_um: float) -> bool:
    """Return whether a piece is neither too small, nor a thread, nor the spore itself."""
    thick = piece.area_um2 >= THINNEST_PIECE_UM * piece.length_um
    return SMALLEST_PIECE_UM <= piece.length_um <= longest_um and thick


def _strew(rng: np.random.Generator, drafts: list[Draft]) -> list[tuple[float, float]]:
    """Push pieces outwards from where they broke off until none comes too near another."""
    outlines: list[NDArray[np.float64]] = []
    places: list[tuple[float, float]] = []
    low, high = GAP_RANGE_UM
    if rng.random() < 0.85:
        high = 4.1  # mostly they stay near where the spore broke
    for draft in drafts:
        shape, home = outline_um(draft), home_of_centre_um(draft)
        turn = rng.normal(0.0, 0.5) + np.arctan2(home[1], home[0] + 1e-6)
        way = np.array([np.cos(turn), np.sin(turn)])
        # Outline points are pixel centres a little apart, hence the margin.
        gap = low + 0.6 + (high - low - 1.7) * rng.beta(1.0, 2.0)
        place = home
        while outlines and (lacking := gap - _nearest(shape + place, outlines)) > 0:
            place = place + max(0.3, lacking) * way
        outlines.append(shape + place)
        places.append((float(place[0]), float(place[1])))
    return places


def _nearest(points: NDArray[np.float64], others: list[NDArray[np.float64]]) -> float:
    every = np.concatenate(others)
    dx = points[:, None, 0] - every[None, :, 0]
    dy = points[:, None, 1] - every[None, :, 1]
    return float(np.sqrt((dx * dx + dy * dy).min()))


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
