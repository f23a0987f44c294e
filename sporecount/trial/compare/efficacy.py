"""How much an agent did, with what happened in the control allowed for."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sporecount.statistics.mean_share import Clusters, ratio_interval
from sporecount.trial.errors import TrialError

Array = NDArray[np.float64]


class Efficacy(NamedTuple):
    """A share of what was there to be undone, and its limits; nan where not known."""

    value: float
    low: float
    high: float


UNKNOWN = Efficacy(math.nan, math.nan, math.nan)


def abbott(arm: Clusters, control: Clusters, level: float = 0.95) -> Efficacy:
    """Return Abbott's efficacy: of spores whole in the control, the share broken [abbott1925].

    One less the ratio of whole shares. The limits are Fieller's kind, the ratios that a score
    test of slides does not refuse; so they leave out 0 exactly where the test of the
    difference refuses it.

    Parameters
    ----------
    arm, control : Clusters
        Broken spores and spores of each slide.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Efficacy
        Below 0 where the control broke more; nan where the control has no whole spore. No
        limits where an arm has fewer than two slides.

    Examples
    --------
    Half broken in the control, 98 % in the treated (the paper's case):

    >>> slide = Clusters(np.array([98.0]), np.array([100.0]))
    >>> control = Clusters(np.array([50.0]), np.array([100.0]))
    >>> round(abbott(slide, control).value, 3)
    0.96
    """
    whole = [Clusters(one.sizes - one.events, one.sizes) for one in (arm, control)]
    if min(one.number for one in whole) < 1 or float(whole[1].share) <= 0:
        return UNKNOWN
    value = 1 - float(whole[0].share / whole[1].share)
    if min(one.number for one in whole) < 2:
        return Efficacy(value, math.nan, math.nan)
    limits = ratio_interval(whole[0], whole[1], level)
    return Efficacy(value, 1 - limits.high, 1 - limits.low)


def henderson_tilton(
    treated: tuple[ArrayLike, ArrayLike],
    control: tuple[ArrayLike, ArrayLike],
    level: float = 0.95,
) -> Efficacy:
    """Return the efficacy where counts before are known too [hendersontilton1955].

    ``1 - (Ta / Tb) (Cb / Ca)``. Limits on the log scale by the delta method: the variance is
    the larger of that between slides, with Student's t, and that of independent counts.

    Parameters
    ----------
    treated, control : tuple of array_like
        Counts before and counts after, one of each for every slide.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Efficacy
        Limits only with two slides or more in each; nan where nothing was there before, or
        nothing is left in the control.

    Raises
    ------
    TrialError
        Where numbers before and after do not go together.

    Examples
    --------
    >>> round(henderson_tilton(([30], [6]), ([28], [26])).value, 4)
    0.7846
    """
    pairs = [_paired(name, *pair) for name, pair in (("treated", treated), ("control", control))]
    (before, after), (control_before, control_after) = pairs
    if min(before.sum(), control_before.sum(), control_after.sum()) <= 0:
        return UNKNOWN
    kept = float(after.sum() / before.sum() * (control_before.sum() / control_after.sum()))
    if min(len(before), len(control_before)) < 2:
        return Efficacy(1 - kept, math.nan, math.nan)

    from scipy.stats import t

    variances, free = zip(*(_log_variance(*pair) for pair in pairs))
    freedom = sum(variances) ** 2 / sum(v**2 / f for v, f in zip(variances, free))
    half = float(t.isf((1 - level) / 2, freedom)) * math.sqrt(sum(variances))
    # Nothing left has no logarithm: the limits are those of half a spore left.
    least = 0.5 / before.sum() * control_before.sum() / control_after.sum()
    middle = max(kept, float(least))
    high = 1.0 if kept <= 0 else 1 - middle * math.exp(-half)
    return Efficacy(1 - kept, 1 - middle * math.exp(half), high)


def _paired(name: str, before: ArrayLike, after: ArrayLike) -> tuple[Array, Array]:
    counts = np.asarray(before, float), np.asarray(after, float)
    if counts[0].ndim != 1 or counts[0].shape != counts[1].shape:
        raise TrialError(
            f"{name}: {counts[0].size} counts before, {counts[1].size} after",
            "each slide has one of each",
            "leave out slides that were counted once only",
        )
    if any((~np.isfinite(some) | (some < 0)).any() for some in counts):
        raise TrialError(name, "a count is a number of 0 or more", "look the counts over")
    return counts


def _log_variance(before: Array, after: Array) -> tuple[float, float]:
    """Return the variance of the log of the ratio of two sums, and its degrees of freedom."""
    slides = len(before)
    left = max(float(after.sum()), 0.5)
    apart = after - before * (after.sum() / before.sum())
    between = slides / (slides - 1) * float((apart**2).sum()) / left**2
    by_chance = 1 / left + 1 / float(before.sum())
    # That of independent counts is known, not told by the slides.
    return (between, slides - 1.0) if between > by_chance else (by_chance, 1e6)
