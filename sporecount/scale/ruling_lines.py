"""The lines of a ruling: which rows they cross, where each stands, how even they are."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from sporecount.scale.ruling_comb import Comb, clearest, strip_profile
from sporecount.scale.ruling_turn import Turned

#: Lines that may be missing in a row (dust, a number) before the ruling ends.
MOST_MISSING = 2


@dataclass(frozen=True, eq=False)
class LineFit:
    """Lines found in one turned picture, and the even spacing through them.

    Attributes
    ----------
    top_px, bottom_px : int
        Rows that all lines cross.
    index : ndarray, shape (n,), int
        Number of each line used, counted in divisions from the first.
    x_px : ndarray, shape (n,)
        Place of each line at the middle of those rows.
    period_px, period_se_px : float
        Spacing of neighbouring lines and its standard error, in turned pixels.
    lean : float
        Change of x per row that all lines share.
    scatter_px : float
        Root mean square distance of lines from even (or evenly changing) spacing.
    period_change : float
        Relative change of the spacing from the first line to the last.
    profile : ndarray, shape (101,)
        Median brightness across one division, a line in its middle.
    """

    top_px: int
    bottom_px: int
    index: NDArray[np.int64]
    x_px: NDArray[np.float64]
    period_px: float
    period_se_px: float
    lean: float
    scatter_px: float
    period_change: float
    profile: NDArray[np.float64]

    @property
    def width_px(self) -> float:
        """Full width of a line at half its depth."""
        return full_width(self.profile) * self.period_px


def fit_lines(turned: Turned, combs: list[Comb]) -> LineFit | None:
    """Return the lines around the clearest comb, or None where they don't hold up.

    Parameters
    ----------
    turned : Turned
        Picture in which lines stand upright.
    combs : list of Comb
        From `find_combs`.

    Returns
    -------
    LineFit or None
    """
    seed = combs[clearest(combs)]
    top, bottom = _band(turned, seed, combs)
    if bottom - top < 4:
        return None
    whole = strip_profile(turned, top, bottom)
    guess = np.asarray(seed.start_px + seed.period_px * np.arange(seed.lines), np.float64)
    profile = _folded(whole, guess, seed.period_px)
    if profile is None:
        return None
    width = max(1.5, full_width(profile) * seed.period_px)
    index, x = _track(whole, guess, seed.period_px, width)
    if len(index) < 5:
        return None
    pieces = int(np.clip((bottom - top) // 6, 1, 8))
    edges = np.linspace(top, bottom, pieces + 1).astype(int)
    rows, places = [], []
    for first, last in itertools.pairwise(edges):
        found = _centres(strip_profile(turned, first, last), x, seed.period_px, width)
        rows.append((first + last - 1) / 2)
        places.append(found)
    return _fit(top, bottom, index, np.array(rows), np.array(places), whole)


def full_width(profile: NDArray[np.float64]) -> float:
    """Return the full width at half depth of a dip in the middle, as a share of the period."""
    ground, floor = float(profile.max()), float(profile[len(profile) // 2 - 3 :][:7].min())
    half = (ground + floor) / 2
    middle = len(profile) // 2
    right = np.flatnonzero(profile[middle:] > half)
    left = np.flatnonzero(profile[middle::-1] > half)
    if len(right) == 0 or len(left) == 0:
        return 1.0
    return float(right[0] + left[0] - 1) / (len(profile) - 1)


def _band(turned: Turned, seed: Comb, combs: list[Comb]) -> tuple[int, int]:
    """Return the rows around the seed in which its lines all stand."""
    height, width = turned.gray.shape
    period = seed.period_px
    thin = int(np.clip(round(period / 4), 2, max(2, height // 64)))
    first = max(0, math.floor(seed.start_px - period / 2))
    last = min(width, math.ceil(seed.start_px + period * (seed.lines - 0.5)) + 1)
    x = np.arange(first, last)
    window = np.hanning(len(x) + 2)[1:-1]
    wave = np.cos(2 * np.pi * (x - seed.start_px) / period) * window
    wave -= window * wave.sum() / window.sum()
    tops = np.arange(0, height - thin + 1, thin)
    strength = np.zeros(len(tops))
    for i, top in enumerate(tops):
        values = strip_profile(turned, int(top), int(top) + thin)[first:last]
        if np.isfinite(values).mean() > 0.6:
            strength[i] = -np.nansum(values * wave)
    smooth = gaussian_filter1d(strength, 1.0)
    home = int(np.clip(np.searchsorted(tops, seed.y_px, side="right") - 1, 0, len(tops) - 1))
    typical = np.median(
        [smooth[np.clip(np.searchsorted(tops, c.y_px) - 1, 0, len(tops) - 1)] for c in combs]
    )
    good = smooth > 0.55 * max(float(typical), 1e-9)
    if not good[home]:
        return 0, 0
    begin = home
    while begin > 0 and good[begin - 1]:
        begin -= 1
    end = home
    while end < len(good) - 1 and good[end + 1]:
        end += 1
    return int(tops[begin]), int(tops[end]) + thin


def _folded(
    profile: NDArray[np.float64], centres: NDArray[np.float64], period: float
) -> NDArray[np.float64] | None:
    """Return the median course of brightness over one period around the lines."""
    seen = np.isfinite(profile)
    if seen.sum() < 8:
        return None
    at = np.arange(len(profile))
    offsets = np.linspace(-0.5, 0.5, 101) * period
    places = centres[:, None] + offsets[None, :]
    inside = (places.min(axis=1) >= at[seen][0]) & (places.max(axis=1) <= at[seen][-1])
    if inside.sum() < 3:
        return None
    values = np.interp(places[inside], at[seen], profile[seen])
    return np.median(values, axis=0)


def _centres(
    profile: NDArray[np.float64], guess: NDArray[np.float64], period: float, width: float
) -> NDArray[np.float64]:
    """Return the centre of gravity of the dip nearest each guess; nan where none is.

    Parameters
    ----------
    profile : ndarray, shape (w,)
        Brightness along the ruling.
    guess : ndarray, shape (n,)
        Where lines are expected, good to a fifth of a period.
    period, width : float
        Spacing and full width of the lines, in pixels.
    """
    found = np.full(len(guess), np.nan)
    seen = np.flatnonzero(np.isfinite(profile))
    if len(seen) < 8:
        return found
    filled = np.interp(np.arange(len(profile)), seen, profile[seen])
    smooth = gaussian_filter1d(filled, max(0.3, width / 5))
    curve = CubicSpline(np.arange(len(smooth)), smooth)
    reach = min(period / 2, max(1.6 * width, 0.2 * period + width))
    offsets = np.linspace(-reach, reach, 2 * max(20, math.ceil(3 * reach)) + 1)
    for i, place in enumerate(guess):
        if place - reach < seen[0] or place + reach > seen[-1]:
            continue
        values = curve(place + offsets)
        third = len(offsets) // 3
        left, right = int(np.argmax(values[:third])), int(np.argmax(values[-third:]))
        right += len(offsets) - third
        run = (offsets - offsets[left]) / (offsets[right] - offsets[left])
        ground = values[left] + run * (values[right] - values[left])
        depth = ground - values
        depth[:left] = depth[right:] = 0
        peak = int(np.argmax(depth))
        level = 0.45 * depth[peak]
        begin, end = peak, peak
        while begin > 0 and depth[begin - 1] > level:
            begin -= 1
        while end < len(depth) - 1 and depth[end + 1] > level:
            end += 1
        weight = depth[begin : end + 1] - level
        if weight.sum() > 0:
            centre = float((weight * offsets[begin : end + 1]).sum() / weight.sum())
            if abs(centre) < 0.25 * period:
                found[i] = place + centre
    return found


def _depths(
    profile: NDArray[np.float64], x: NDArray[np.float64], period: float
) -> NDArray[np.float64]:
    """Return how far brightness drops at each place below the ground beside it."""
    seen = np.flatnonzero(np.isfinite(profile))
    if len(seen) == 0:
        return np.full(len(x), np.nan)
    at = [np.interp(x + s * period, seen, profile[seen]) for s in (-0.5, 0.0, 0.5)]
    return (at[0] + at[2]) / 2 - at[1]


def _track(
    profile: NDArray[np.float64], guess: NDArray[np.float64], period: float, width: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Follow the lines outwards from the seed; return their numbers and places."""
    known = _centres(profile, guess, period, width)
    places = {i: float(p) for i, p in enumerate(known) if np.isfinite(p)}
    if len(places) < 4:
        return np.zeros(0, np.int64), np.zeros(0)
    typical = float(np.nanmedian(_depths(profile, np.array(list(places.values())), period)))
    for step in (1, -1):
        number = max(places) if step > 0 else min(places)
        missing = 0
        while missing <= MOST_MISSING:
            near = np.array(sorted(places, key=lambda k: abs(k - number))[:8])
            local = np.polyfit(near, [places[k] for k in near], 1) if len(near) > 3 else None
            number += step
            if local is None:
                break
            place = float(np.polyval(local, number))
            if not 0 <= place < len(profile):
                break
            found = _centres(profile, np.array([place]), period, width)
            deep = _depths(profile, np.where(np.isfinite(found), found, place), period)[0]
            if (
                np.isfinite(found[0])
                and abs(found[0] - place) < 0.15 * period
                and (deep > 0.45 * typical)
            ):
                places[number] = float(found[0])
                missing = 0
            else:
                missing += 1
    numbers = np.array(sorted(places), np.int64)
    return numbers - numbers[0], np.array([places[k] for k in numbers])


def _fit(
    top: int,
    bottom: int,
    index: NDArray[np.int64],
    rows: NDArray[np.float64],
    places: NDArray[np.float64],
    whole: NDArray[np.float64],
) -> LineFit | None:
    """Fit even spacing to the places of all lines in all pieces of their length."""
    middle = (top + bottom - 1) / 2
    lean = 0.0
    if len(rows) > 1:
        slopes = [
            np.polyfit(rows, column, 1)[0] for column in places.T if np.isfinite(column).all()
        ]
        lean = float(np.median(slopes)) if slopes else 0.0
    upright = places - lean * (rows - middle)[:, None]
    enough = np.isfinite(upright).sum(axis=0) >= max(1, 0.6 * len(rows))
    if enough.sum() < 5:
        return None
    x = np.nanmedian(upright[:, enough], axis=0)
    number = index[enough]
    keep = np.ones(len(x), bool)
    order = 2 if len(x) >= 8 else 1
    for _ in range(3):
        curve = np.polyfit(number[keep], x[keep], order)
        off = x - np.polyval(curve, number)
        spread = 1.4826 * float(np.median(np.abs(off[keep]))) + 0.02
        keep = np.abs(off) < 4 * spread
    if keep.sum() < 5:
        return None
    number, x, off = number[keep], x[keep], off[keep]
    period, start = np.polyfit(number, x, 1)
    straight_off = x - start - period * number
    spread_of_number = math.sqrt(float(((number - number.mean()) ** 2).sum()))
    freedom = max(1, len(x) - 2)
    error = math.sqrt(float((straight_off**2).sum()) / freedom) / spread_of_number
    span = float(number[-1] - number[0])
    change = 2 * float(curve[0]) * span / period if order == 2 else 0.0
    profile = _folded(whole, x, float(period))
    if profile is None:
        return None
    return LineFit(
        top_px=top,
        bottom_px=bottom,
        index=number,
        x_px=x,
        period_px=float(period),
        period_se_px=error,
        lean=lean,
        scatter_px=float(np.sqrt((off**2).sum() / max(1, len(x) - order - 1))),
        period_change=change,
        profile=profile,
    )
