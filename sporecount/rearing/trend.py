"""Whether infection rises or falls over the months, with broods as the unit."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.clusters import Array

#: Fewest broods and months from which a trend is told at all.
LEAST_BROODS, LEAST_MONTHS = 5, 2

_STEPS = 50
_STEEPEST = 20.0


class Trend(NamedTuple):
    """A trend over months.

    Attributes
    ----------
    odds_ratio : float
        By how much the odds of infection change from month to month; nan if not told.
    low, high : float
        Its limits.
    p : float
        Chance of a trend as steep or steeper if there were none.
    broods, months : int
        What it rests on.
    why_not : str
        Why no trend is told; empty where one is.
    """

    odds_ratio: float
    low: float
    high: float
    p: float
    broods: int
    months: int
    why_not: str = ""


def month_trend(
    infected: NDArray[np.bool_], month: Array, brood: NDArray[np.int_], level: float = 0.95
) -> Trend:
    """Fit a straight line of the log odds over months.

    Logistic regression with independence as working correlation; the standard
    error comes from the broods, corrected for their small number
    [manclderouen2001], and is held against Student's t with broods less two
    degrees of freedom.

    Parameters
    ----------
    infected : ndarray of bool, shape (adults,)
        Whether each adult is infected.
    month : ndarray of float, shape (adults,)
        Its month, counted from anywhere.
    brood : ndarray of int, shape (adults,)
        Its brood.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Trend
    """
    broods, months = len(np.unique(brood)), len(np.unique(month))

    def none(why: str) -> Trend:
        return Trend(math.nan, math.nan, math.nan, math.nan, broods, months, why)

    if months < LEAST_MONTHS:
        return none("all adults are of one month")
    if broods < LEAST_BROODS:
        return none(f"there are fewer than {LEAST_BROODS} broods")
    if infected.all() or not infected.any():
        return none("all adults are infected" if infected.any() else "no adult is infected")
    design = np.column_stack([np.ones(len(month)), month - month.mean()])
    slope = _fit(design, infected.astype(float))
    if slope is None:
        return none("the months part infected from clean adults wholly")
    error = _standard_error(design, infected.astype(float), slope, brood)
    if not (math.isfinite(error) and error > 0):
        return none("the broods do not tell how sure it would be")
    from scipy.stats import t

    rise = float(slope[1])
    half = float(t.isf((1 - level) / 2, broods - 2)) * error
    return Trend(
        math.exp(rise),
        math.exp(max(rise - half, -700.0)),
        math.exp(min(rise + half, 700.0)),
        float(2 * t.sf(abs(rise) / error, broods - 2)),
        broods,
        months,
    )


def _fit(design: Array, infected: Array) -> Array | None:
    """Return the coefficients by Newton's method, or None where they run away."""
    slope = np.zeros(design.shape[1])
    for _ in range(_STEPS):
        chance = 1 / (1 + np.exp(-design @ slope))
        information = design.T @ (design * (chance * (1 - chance))[:, None])
        try:
            step = np.linalg.solve(information, design.T @ (infected - chance))
        except np.linalg.LinAlgError:
            return None
        slope = slope + step
        if np.abs(slope).max() > _STEEPEST:
            return None
        if np.abs(step).max() < 1e-10:
            return slope
    return None


def _standard_error(design: Array, infected: Array, slope: Array, brood: NDArray[np.int_]) -> float:
    """Return the standard error of the slope, corrected for few broods."""
    chance = 1 / (1 + np.exp(-design @ slope))
    weight = chance * (1 - chance)
    bread = np.linalg.inv(design.T @ (design * weight[:, None]))
    meat = np.zeros_like(bread)
    for one in np.unique(brood):
        own = brood == one
        lever = (design[own] @ bread @ design[own].T) * weight[own][None, :]
        try:
            rest = np.linalg.solve(np.eye(int(own.sum())) - lever.T, infected[own] - chance[own])
        except np.linalg.LinAlgError:
            return math.nan
        score = design[own].T @ rest
        meat += np.outer(score, score)
    return float(np.sqrt((bread @ meat @ bread)[1, 1]))
