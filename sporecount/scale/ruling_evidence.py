"""Is it a ruling, and are its lines one division apart? Reasons to refuse."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.special import erf

from sporecount.scale.ruling_lines import LineFit
from sporecount.scale.ruling_turn import Turned

#: Every fifth or tenth line longer, as on a stage micrometer.
FIVES = "every fifth or tenth line is longer"
#: Every other line longer: the fifth and tenth lines without those between.
ALTERNATE = "every other line is longer"
#: Nothing to learn from the lines' lengths.
NO_PATTERN = "no pattern of longer lines"


@dataclass(frozen=True, eq=False)
class Evidence:
    """What else the lines tell.

    Attributes
    ----------
    pattern : str
        `FIVES`, `ALTERNATE` or `NO_PATTERN`.
    least_width : float
        Smallest width of a line, as a share of the spacing, that the picture allows.
    most_width : float
        Its width as seen, blur included, as a share of the spacing.
    unsteady : float
        Spread of darkness along the lines beyond the ground's own, as a share of depth.
    uneven : float
        Spread of darkness between lines, as a share of depth.
    filled : float
        Share of the line numbers from first to last at which a line was used.
    length : float
        Length of the shortest lines as seen, in spacings.
    ends_px : ndarray, shape (n, 2)
        First and last row of each line used.
    """

    pattern: str
    least_width: float
    most_width: float
    unsteady: float
    uneven: float
    filled: float
    length: float
    ends_px: NDArray[np.float64]


def weigh(turned: Turned, fit: LineFit, *, opaque_dark: bool) -> Evidence:
    """Gather the evidence on one fit.

    Parameters
    ----------
    turned : Turned
        The picture in which the lines were found.
    fit : LineFit
        The lines.
    opaque_dark : bool
        Whether lines are dark on bright ground. Then a line cannot swallow
        more light than it covers, which bounds its width whatever the blur.

    Returns
    -------
    Evidence
    """
    sharp, ground_noise, seen = _along(turned, fit)
    signal = uniform_filter1d(sharp, _smoothing(fit), axis=1)
    band = slice(fit.top_px, fit.bottom_px)
    inside = np.where(seen[:, band], signal[:, band], np.nan)
    depths = np.nanmedian(inside, axis=1)
    depth = float(np.median(depths))
    excess = float(np.median(np.nanvar(inside, axis=1))) - ground_noise
    ends, up, down = _ends(signal, seen, fit, depth)
    width = full_width_share(fit)
    least = box_width(fit.profile, _end_blur(sharp, ends, (up, down), fit) / fit.period_px)
    if opaque_dark:
        least = max(least, swallowed(fit.profile))
    return Evidence(
        pattern=_pattern(fit.index, up, down, fit.period_px),
        least_width=min(least, 1.15 * width),
        most_width=width,
        unsteady=math.sqrt(max(excess, 0.0)) / max(depth, 1e-6),
        uneven=float(1.4826 * np.median(np.abs(depths - depth))) / max(depth, 1e-6),
        filled=len(fit.index) / (int(fit.index[-1] - fit.index[0]) + 1),
        length=(fit.bottom_px - fit.top_px) / fit.period_px,
        ends_px=ends,
    )


def full_width_share(fit: LineFit) -> float:
    """Return the lines' full width at half depth as a share of the spacing."""
    return fit.width_px / fit.period_px


def swallowed(profile: NDArray[np.float64]) -> float:
    """Return the share of light that lines take away: a lower bound of their width.

    Examples
    --------
    >>> half_dark = np.where(np.abs(np.linspace(-0.5, 0.5, 101)) < 0.1, 0.5, 1.0)
    >>> round(swallowed(half_dark), 2)
    0.1
    """
    ground = float(np.percentile(profile, 95))
    return float(np.clip(1 - profile / max(ground, 1e-6), 0, 1).mean())


def box_width(profile: NDArray[np.float64], most_blur: float = 0.4) -> float:
    """Return the smallest width of a sharp line that, blurred, explains a profile.

    A blurred thin line and a sharp broad one have the same width at half depth
    but not the same flanks. Where the flanks don't tell, the answer is small.

    Parameters
    ----------
    profile : ndarray, shape (101,)
        Brightness over one spacing, a line in its middle.
    most_blur : float
        Largest sigma of the blur that is possible, as a share of the spacing.

    Returns
    -------
    float
        Width as a share of the spacing.
    """
    at = np.linspace(-0.5, 0.5, len(profile))
    widths = np.linspace(0.01, 0.7, 40)
    blurs = np.geomspace(0.006, float(np.clip(most_blur, 0.0065, 0.4)), 24)
    half = widths[:, None, None] / 2
    root = math.sqrt(2) * blurs[None, :, None]
    line = np.zeros((len(widths), len(blurs), len(at)))
    for shift in (-1, 0, 1):
        line += erf((at - shift + half) / root) - erf((at - shift - half) / root)
    line -= line.mean(axis=2, keepdims=True)
    dip = profile - profile.mean()
    # Squares left over after the best offset and depth.
    explained = (line @ dip) ** 2 / np.maximum((line**2).sum(axis=2), 1e-12)
    best = np.clip((dip**2).sum() - explained, 0, None).min(axis=1)
    height = float(np.ptp(profile))
    allowed = 1.5 * best.min() + len(profile) * (0.012 * height) ** 2
    return float(widths[np.flatnonzero(best <= allowed)[0]])


def _along(turned: Turned, fit: LineFit) -> tuple[NDArray[np.float64], float, NDArray[np.bool_]]:
    """Return darkness along each line (lines, rows), the ground's variance, and where lit."""
    height, width = turned.gray.shape
    rows = np.arange(height)
    middle = (fit.top_px + fit.bottom_px - 1) / 2
    drift = fit.lean * (rows - middle)
    half = max(0, round(fit.width_px / 4))

    def sample(shift: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        centre = np.rint(fit.x_px[:, None] + shift + drift[None, :]).astype(int)
        total = np.zeros(centre.shape)
        lit = np.ones(centre.shape, bool)
        for step in range(-half, half + 1):
            column = centre + step
            lit &= (column >= 0) & (column < width)
            column = np.clip(column, 0, width - 1)
            total += turned.gray[rows[None, :], column]
            lit &= turned.usable[rows[None, :], column]
        return total / (2 * half + 1), lit

    line, lit = sample(0.0)
    left, lit_left = sample(-fit.period_px / 2)
    right, lit_right = sample(fit.period_px / 2)
    ground = np.where(lit_left & lit_right, (left + right) / 2, np.where(lit_left, left, right))
    lit &= lit_left | lit_right
    band = slice(fit.top_px, fit.bottom_px)
    rough = uniform_filter1d(left - right, _smoothing(fit), axis=1)[:, band]
    both = (lit_left & lit_right)[:, band]
    noise = [float(np.var(r[b])) for r, b in zip(rough, both, strict=True) if b.sum() > 3]
    # The contrast has the line's own noise and half of the two grounds': 3/4 of their difference.
    return ground - line, 0.75 * float(np.median(noise)) if noise else 0.0, lit


def _smoothing(fit: LineFit) -> int:
    """Return the rows averaged along a line: about as many as it is wide."""
    return max(3, round(0.6 * fit.width_px))


def _end_blur(
    sharp: NDArray[np.float64],
    ends: NDArray[np.float64],
    reaches: tuple[NDArray[np.float64], NDArray[np.float64]],
    fit: LineFit,
) -> float:
    """Return the largest sigma of the blur, in pixels, by the softness of the lines' ends.

    Across a line, its width and the blur mix; at its ends there is only blur.
    """
    span = max(8, round(min(2.5 * fit.width_px, 0.6 * (fit.bottom_px - fit.top_px))))
    offsets = np.arange(-span, span + 1)
    blurs = [math.inf]
    for side, reach in enumerate(reaches):
        level = np.nanmedian(reach) if np.isfinite(reach).any() else math.inf
        same = np.flatnonzero(np.abs(reach - level) < 0.4 * fit.period_px)
        if not math.isfinite(level) or len(same) < 4:
            continue
        slope, start = np.polyfit(fit.x_px[same], ends[same, side], 1)
        rows = np.rint(slope * fit.x_px[same] + start).astype(int)[:, None] + offsets
        if rows.min() < 0 or rows.max() >= sharp.shape[1]:
            continue
        edge = np.mean(sharp[same[:, None], rows], axis=0)
        edge = edge[::-1] if side == 1 else edge
        low, high = np.median(edge[: span // 2]), np.median(edge[-(span // 2) :])
        if high <= low:
            continue
        share = (edge - low) / (high - low)
        crossings = [_crossing(share, level) for level in (0.16, 0.84)]
        blurs.append(max(0.3, 1.08 * (crossings[1] - crossings[0]) / 2))
    return min(blurs)


def _crossing(rising: NDArray[np.float64], level: float) -> float:
    """Return where a rising curve crosses a level that is nearest its own half way."""
    half = int(np.flatnonzero(rising >= 0.5)[0])
    if level < 0.5:
        below = np.flatnonzero(rising[: half + 1] <= level)
        at = int(below[-1]) if len(below) else 0
    else:
        at = half + int(np.flatnonzero(rising[half:] >= level)[0]) - 1
    at = min(max(at, 0), len(rising) - 2)
    rise = float(rising[at + 1] - rising[at])
    return at + (float(np.clip((level - rising[at]) / rise, 0, 1)) if rise > 0 else 0.5)


def _ends(
    signal: NDArray[np.float64], seen: NDArray[np.bool_], fit: LineFit, depth: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the lines' ends, and how far each reaches beyond the common rows.

    A reach is inf where the picture ends first: at least that long, unknown.
    """
    window = max(3, round(0.4 * fit.period_px))
    smooth = uniform_filter1d(signal, window, axis=1)
    dark = smooth > 0.5 * depth
    count, height = signal.shape
    ends = np.zeros((count, 2))
    reach = np.zeros((count, 2))
    for i in range(count):
        top, bottom = fit.top_px + window // 2, fit.bottom_px - 1 - window // 2
        while top > 0 and seen[i, top - 1] and dark[i, top - 1]:
            top -= 1
        while bottom < height - 1 and seen[i, bottom + 1] and dark[i, bottom + 1]:
            bottom += 1
        ends[i] = top, bottom
        cut = (top == 0 or not seen[i, top - 1], bottom == height - 1 or not seen[i, bottom + 1])
        reach[i] = fit.top_px - top, bottom - fit.bottom_px
        reach[i, np.array(cut) & (reach[i] < fit.period_px)] = np.nan
    return ends, reach[:, 0], reach[:, 1]


def _pattern(
    index: NDArray[np.int64],
    up: NDArray[np.float64],
    down: NDArray[np.float64],
    period: float,
) -> str:
    """Tell which lines are longer than the rest."""
    long = np.zeros(len(index), bool)
    known = np.zeros(len(index), bool)
    for reach in (up, down):
        seen = np.isfinite(reach)
        if seen.sum() < max(6, 0.5 * len(index)):
            continue
        short = float(np.percentile(reach[seen], 30))
        known |= seen
        long[seen] |= reach[seen] > short + max(0.6 * period, 3.0)
    if known.sum() < 6 or long[known].sum() < 2:
        return NO_PATTERN
    number, is_long = index[known], long[known]
    allowed = max(0.5, 0.06 * len(number))
    for step, name in ((2, ALTERNATE), (5, FIVES), (10, FIVES)):
        for first in range(step):
            due = (number - first) % step == 0
            if due.sum() >= 2 and (due != is_long).sum() <= allowed:
                return name
    return NO_PATTERN
