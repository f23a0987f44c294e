"""Evenly spaced dips in strips of a turned picture: the first sight of a ruling."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks, peak_prominences

from sporecount.scale.ruling_turn import Turned

#: Fewest lines in a row that count as evenly spaced.
LEAST_LINES = 6

#: Strips per picture height at the first look.
STRIPS = 72


@dataclass(frozen=True)
class Comb:
    """Evenly spaced dips in one strip.

    Attributes
    ----------
    y_px : float
        Middle row of the strip.
    period_px, start_px : float
        Dip ``k`` stands at ``start_px + k * period_px``.
    lines : int
        Number of dips.
    contrast : float
        Typical prominence of the dips, in grey levels.
    """

    y_px: float
    period_px: float
    start_px: float
    lines: int
    contrast: float


def strip_profile(turned: Turned, top: int, bottom: int) -> NDArray[np.float64]:
    """Return the mean brightness of rows ``top`` to ``bottom``, nan where not lit."""
    usable = turned.usable[top:bottom]
    count = usable.sum(axis=0)
    total = np.where(usable, turned.gray[top:bottom], 0).sum(axis=0, dtype=np.float64)
    profile = np.full(count.shape, np.nan)
    enough = count >= max(1, 0.6 * (bottom - top))
    profile[enough] = total[enough] / count[enough]
    return profile


def find_combs(turned: Turned) -> list[Comb]:
    """Return the combs of all strips that agree on the finest believable period.

    Returns
    -------
    list of Comb
        From top to bottom; empty where no three strips agree.
    """
    height = turned.gray.shape[0]
    thickness = max(6, height // STRIPS)
    combs: list[list[Comb]] = []
    for top in range(0, height - thickness + 1, thickness):
        profile = strip_profile(turned, top, top + thickness)
        combs.append(_strip_combs(profile, top + (thickness - 1) / 2))
    return _agreeing(combs)


def _strip_combs(profile: NDArray[np.float64], y_px: float) -> list[Comb]:
    """Return the combs of one strip, looked for at each degree of smoothing."""
    seen = np.flatnonzero(np.isfinite(profile))
    if len(seen) < 24:
        return []
    first = int(seen[0])
    values = np.interp(np.arange(first, seen[-1] + 1), seen, profile[seen])
    found = []
    step = 1
    while len(values) // step >= 24 and step <= 32:
        coarse = values[: len(values) // step * step].reshape(-1, step).mean(axis=1)
        comb = _regular_dips(coarse)
        if comb is not None:
            period, start, lines, contrast = comb
            begin = first + (start + 0.5) * step - 0.5
            found.append(Comb(y_px, period * step, begin, lines, contrast))
        step *= 2
    return found


def _regular_dips(values: NDArray[np.float64]) -> tuple[float, float, int, float] | None:
    """Return (period, first place, lines, contrast) of the longest even run of dips."""
    dips, _ = find_peaks(-values)
    if len(dips) < LEAST_LINES:
        return None
    prominence = peak_prominences(-values, dips)[0]
    strong = np.sort(prominence)[-LEAST_LINES]
    keep = prominence >= 0.5 * strong
    dips, prominence = dips[keep], prominence[keep]
    if len(dips) < LEAST_LINES:
        return None
    places = dips + _vertex(values, dips)
    steps = np.diff(places)
    period = float(np.median(steps))
    if period < 2.5:
        return None
    whole = np.rint(steps / period)
    good = (np.abs(steps / period - whole) < 0.22) & (whole >= 1) & (whole <= 3)
    begin, end = _longest_run(good)
    index = np.concatenate([[0], np.cumsum(whole[begin:end])])
    run = places[begin : end + 1]
    if len(run) < LEAST_LINES or len(run) < 0.75 * (index[-1] + 1):
        return None
    centred = index - index.mean()
    slope = float((centred * run).sum() / (centred**2).sum())
    start = float(run.mean() - slope * index.mean())
    scatter = float(np.sqrt(np.mean((run - start - slope * index) ** 2)))
    if scatter > 0.06 * slope + 0.1:
        return None
    contrast = float(np.median(prominence[begin : end + 1]))
    return float(slope), float(start), len(run), contrast


def _vertex(values: NDArray[np.float64], at: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the sub-sample shift of parabolas through three samples."""
    left, middle, right = values[at - 1], values[at], values[at + 1]
    bend = left - 2 * middle + right
    return np.where(bend > 0, 0.5 * (left - right) / np.where(bend > 0, bend, 1), 0.0)


def _longest_run(good: NDArray[np.bool_]) -> tuple[int, int]:
    """Return (begin, end) of the longest run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
    if len(edges) == 0:
        return 0, 0
    begins, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - begins))
    return int(begins[best]), int(ends[best])


def _agreeing(strips: list[list[Comb]]) -> list[Comb]:
    """Return the combs of the finest period on which at least three strips agree."""
    groups = []
    for seed in (comb for strip in strips for comb in strip):
        group = []
        for strip in strips:
            near = [c for c in strip if abs(c.period_px / seed.period_px - 1) < 0.03]
            if near:
                group.append(max(near, key=lambda c: c.lines))
        if len(group) >= 3:
            groups.append(group)
    if not groups:
        return []
    weights = [sum(c.lines for c in group) for group in groups]
    believable = [g for g, w in zip(groups, weights, strict=True) if w >= 0.35 * max(weights)]
    finest = min(float(np.median([c.period_px for c in g])) for g in believable)
    close = [
        (w, g)
        for g, w in zip(groups, weights, strict=True)
        if abs(np.median([c.period_px for c in g]) / finest - 1) < 0.03
    ]
    group = max(close, key=lambda pair: pair[0])[1]
    # A faint reflection of the lines repeats just as well: only the lines themselves count.
    clear = 0.4 * np.percentile([c.contrast for c in group], 90)
    return [c for c in group if c.contrast >= clear]


def clearest(combs: list[Comb]) -> int:
    """Return which comb holds the most lines."""
    return max(range(len(combs)), key=lambda i: (combs[i].lines, combs[i].contrast))


def tilt_deg(combs: list[Comb]) -> float:
    """Return how far lines lean from upright, from the combs' phases, in degrees.

    Positive where a line moves to larger x further down.
    """
    if len(combs) < 2:
        return 0.0
    seed = clearest(combs)
    shifts = np.zeros(len(combs))
    for order in (range(seed + 1, len(combs)), range(seed - 1, -1, -1)):
        last = seed
        for i in order:
            period = combs[seed].period_px
            # Compared at the middle of the seed's run, where a wrong period hurts least.
            middle = combs[seed].start_px + period * (combs[seed].lines // 2)
            phase = [
                (c.start_px - middle) / c.period_px - round((c.start_px - middle) / c.period_px)
                for c in (combs[last], combs[i])
            ]
            jump = (phase[1] - phase[0] + 0.5) % 1 - 0.5
            shifts[i] = shifts[last] + jump * period
            last = i
    rows = np.array([c.y_px for c in combs])
    pairs = [(i, j) for i in range(len(rows)) for j in range(i + 1, len(rows))]
    slopes = [(shifts[j] - shifts[i]) / (rows[j] - rows[i]) for i, j in pairs]
    weights = [rows[j] - rows[i] for i, j in pairs]
    rising = np.argsort(slopes)
    middle_at = np.searchsorted(np.cumsum(np.array(weights)[rising]), sum(weights) / 2)
    return math.degrees(math.atan(np.array(slopes)[rising][min(middle_at, len(slopes) - 1)]))
