"""What the detector's error and the size of pieces do to a comparison, with their doubt.

The test itself is made on what was seen: where all arms are misread alike, misreading makes
a difference smaller and makes none where there is none. Shares and limits are then carried
over into what is really there, with many draws of the rates.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sporecount.statistics.multiple import holm
from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.misread import RateDraws, no_error

Array = NDArray[np.float64]

#: Draws of rates and pieces that are carried through.
DRAWS = 4000

#: Where more of the draws than this come out above 100 %, rates and slides contradict each other.
_MOST_CUT = 0.05

#: Least share of the spores called intact that are taken to be so, for densities.
_LEAST_INTACT = 0.02


class Called(NamedTuple):
    """What was called what, in one arm.

    Attributes
    ----------
    intact, damaged, fragment : float
        All slides together.
    equivalents, equivalents_low, equivalents_high : float
        The fragments as spores.
    """

    intact: float
    damaged: float
    fragment: float
    equivalents: float
    equivalents_low: float
    equivalents_high: float


class Carried(NamedTuple):
    """A comparison carried over, and what it does to whole spores per mm2.

    Attributes
    ----------
    comparison : Comparison
        Of what is really there.
    log_intact, log_intact_sd : float
        Logarithm of really intact spores over those called so, less that of the control.
    is_cut : bool
        More are called broken than the rates allow; the limits then reach to what was seen.
    """

    comparison: Comparison
    log_intact: float = 0.0
    log_intact_sd: float = 0.0
    is_cut: bool = False


class _Arm:
    """One arm's way from a share as seen to the share that is really broken."""

    def __init__(self, called: Called, rates: RateDraws, scores: Array) -> None:
        self.rates = rates
        broken = called.damaged + called.equivalents
        # With nothing broken, what is broken next is taken to be damaged.
        self.damaged = called.damaged / broken if broken > 0 else 1.0
        self.pieces = called.fragment / broken if broken > 0 else 0.0
        self.weight = np.ones_like(scores)
        if called.fragment > 0 and called.equivalents > 0:
            low, middle, high = (
                max(value / called.fragment, 1e-6)
                for value in (called.equivalents_low, called.equivalents, called.equivalents_high)
            )
            up = np.where(scores > 0, math.log(high / middle), math.log(middle / low))
            self.weight = middle * np.exp(scores / 1.96 * np.maximum(up, 0.0))
        self.is_plain = bool(np.ptp(self.weight) == 0.0 and np.ptp(rates.chances, 0).max() == 0.0)

    def numbers(self, shares: Array) -> Array:
        called = np.stack([1 - shares, shares * self.damaged, shares * self.pieces], 1)
        return self.rates.true_numbers(called)

    def share(self, shares: Array) -> Array:
        """Return the really broken share of each draw; above 1 is cut."""
        real = np.maximum(self.numbers(shares), 0.0)
        broken = real[:, 1] + self.weight * real[:, 2]
        total = real[:, 0] + broken
        return np.where(total > 0, broken / np.maximum(total, 1e-12), 0.0)

    def log_intact(self, share: float) -> Array:
        seen = max(1 - share, 1e-9)
        real = self.numbers(np.full(len(self.weight), share))[:, 0] / seen
        return np.log(np.maximum(real, _LEAST_INTACT))


def carry(
    seen: Mapping[str, Comparison],
    called: Mapping[str, Called],
    rates: Mapping[str, RateDraws],
    control: str | None,
    *,
    level: float,
    margin: float,
    seed: int,
) -> dict[str, Carried]:
    """Carry comparisons of what was seen over into what is really there.

    Parameters
    ----------
    seen : mapping of str to Comparison
        By arm, of the shares as seen.
    called : mapping of str to Called
        By arm.
    rates : mapping of str to RateDraws
        By arm, :data:`DRAWS` each; of arms counted by hand without error.
    control : str or None
        The arm that others are compared with.
    level, margin : float
        Confidence level, margin of equivalence.
    seed : int
        Of the generator.

    Returns
    -------
    dict of str to Carried
        Limits leave out 0 exactly where ``p_value`` is small; where doubt about the rates
        makes them reach 0, ``p_value`` grows to what they say.
    """
    rng = np.random.default_rng(seed)
    scores, sizes = _normal_scores(rng), _normal_scores(rng)
    arms = {name: _Arm(called[name], rates.get(name) or no_error(DRAWS), sizes) for name in seen}
    found = {}
    for name, one in seen.items():
        other = control if control not in (None, name) else None
        pair = (arms[other], seen[other]) if other is not None else None
        found[name] = _carried(one, arms[name], pair, scores, level, margin)
    return _holm(found, control)


def _carried(
    seen: Comparison,
    arm: _Arm,
    control: tuple[_Arm, Comparison] | None,
    scores: Array,
    level: float,
    margin: float,
) -> Carried:
    if math.isnan(seen.share) or (arm.is_plain and (control is None or control[0].is_plain)):
        return Carried(seen)
    tails = [(1 - level) / 2, (1 + level) / 2]
    middle = float(arm.share(np.full_like(scores, seen.share))[0])
    drawn = arm.share(np.clip(_around(seen.share, seen.low, seen.high, scores, level), 0, 1))
    raw = arm.numbers(np.full_like(scores, seen.share))
    is_cut = bool((raw[:, 0] < 0).mean() > _MOST_CUT)
    low, high = _limits(middle, drawn, tails, not math.isnan(seen.low))
    if is_cut:
        low = min(low, seen.low)
    comparison = dataclasses.replace(seen, share=middle, low=low, high=high)
    if control is None or math.isnan(seen.effect):
        return Carried(comparison, is_cut=is_cut)
    against, its = control
    carried = _with_effect(comparison, seen, arm, against, its.share, scores, tails, margin, is_cut)
    logs = arm.log_intact(seen.share) - against.log_intact(its.share)
    return Carried(carried, float(logs[0]), float(logs.std()), is_cut)


def _with_effect(
    comparison: Comparison,
    seen: Comparison,
    arm: _Arm,
    control: _Arm,
    base: float,
    scores: Array,
    tails: list[float],
    margin: float,
    is_cut: bool,
) -> Comparison:
    level = tails[1] - tails[0]
    whole = control.share(np.full_like(scores, base))
    effect = comparison.share - float(whole[0])
    is_known = not math.isnan(seen.effect_low)

    def drawn(low: float, high: float, at: float) -> Array:
        return arm.share(np.clip(base + _around(seen.effect, low, high, scores, at), 0, 1))

    there = drawn(seen.effect_low, seen.effect_high, level)
    low, high = _limits(effect, there - whole, tails, is_known)
    near, far = _limits(
        effect,
        drawn(seen.equivalence_low, seen.equivalence_high, 2 * level - 1) - whole,
        [1 - level, level],
        is_known,
    )
    if is_cut and is_known:
        low, near = min(low, seen.effect_low), min(near, seen.equivalence_low)
    low, high, p_value = _agreed(low, high, seen.p_value, there - whole, 1 - level)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = 1 - (1 - there) / np.maximum(1 - whole, 1e-9)
    abbott = 1 - (1 - comparison.share) / max(1 - float(whole[0]), 1e-9)
    abbott_low, abbott_high = _limits(abbott, ratios, tails, is_known)
    return dataclasses.replace(
        comparison,
        effect=effect,
        effect_low=low,
        effect_high=high,
        p_value=p_value,
        abbott=abbott,
        abbott_low=abbott_low,
        abbott_high=abbott_high,
        equivalence_low=near,
        equivalence_high=far,
        equivalent=None if not is_known else bool(-margin < near and far < margin),
    )


def _agreed(
    low: float, high: float, p_value: float, drawn: Array, alpha: float
) -> tuple[float, float, float]:
    """Make limits and test say the same of 0."""
    if math.isnan(p_value) or math.isnan(low):
        return low, high, p_value
    reaches = low <= 0 <= high
    if p_value < alpha and reaches:
        tail = 2 * min(float((drawn <= 0).mean()), float((drawn >= 0).mean()))
        return low, high, min(1.0, max(p_value, tail, alpha))
    if p_value >= alpha and not reaches:
        return min(low, 0.0), max(high, 0.0), p_value
    return low, high, p_value


def _around(middle: float, low: float, high: float, scores: Array, level: float) -> Array:
    """Return draws whose middle and limits are those given: two halves of normal curves."""
    if math.isnan(low) or math.isnan(high):
        return np.full_like(scores, middle)
    from scipy.stats import norm

    z = float(norm.isf((1 - level) / 2))
    return middle + np.where(scores > 0, (high - middle), (middle - low)) * scores / z


def _limits(middle: float, drawn: Array, tails: list[float], known: bool) -> tuple[float, float]:
    if not known:
        return math.nan, math.nan
    low, high = np.quantile(drawn, tails)
    return min(float(low), middle), max(float(high), middle)


def _normal_scores(rng: np.random.Generator) -> Array:
    """Return evenly spread normal scores in random order; the first is 0."""
    from scipy.stats import norm

    scores = norm.ppf((np.arange(1, DRAWS) - 0.5) / (DRAWS - 1))
    return np.concatenate([[0.0], rng.permutation(scores)])


def _holm(found: dict[str, Carried], control: str | None) -> dict[str, Carried]:
    known = [
        name
        for name, one in found.items()
        if name != control and not math.isnan(one.comparison.p_adjusted)
    ]
    if not known:
        return found
    adjusted = holm([found[name].comparison.p_value for name in known])
    for name, p in zip(known, adjusted):
        comparison = dataclasses.replace(found[name].comparison, p_adjusted=p)
        found[name] = found[name]._replace(comparison=comparison)
    return found
