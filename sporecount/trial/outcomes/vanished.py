"""Spores that are no longer there: whole ones per mm2 against the control."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sporecount.trial.errors import TrialError

Array = NDArray[np.float64]

#: Said with every reduction: pass marks of standards are for bacterial spores.
NO_STANDARD = (
    "A log10 figure of spores counted on slides is no claim under any disinfectant standard: "
    "those are for other organisms, and for what still grows."
)


@dataclass(frozen=True)
class Reduction:
    """How many fewer whole spores lie on the slides of an arm than on the control's.

    Attributes
    ----------
    per_mm2, control_per_mm2 : float
        Whole spores per mm2, all slides of the arm together.
    reduction, low, high : float
        Share of the whole spores that is gone; below 0 where there are more than in the
        control. nan where not known.
    log10, log10_low, log10_high : float
        The same as tenfold steps. ``log10_high`` is nan where the arm has no whole spore: then
        ``log10`` is nan too, and ``log10_low`` is what it is at least.
    is_bound : bool
        True where the arm has no whole spore, so that only a bound is known.
    slides, control_slides : int
        Slides whose area is known.
    relative_to_before : bool
        True where each slide's count before the treatment was allowed for
        [hendersontilton1955].
    notes : tuple of str
        What can't be known, and why.
    """

    per_mm2: float
    control_per_mm2: float
    reduction: float
    low: float
    high: float
    log10: float
    log10_low: float
    log10_high: float
    is_bound: bool
    slides: int
    control_slides: int
    relative_to_before: bool
    notes: tuple[str, ...] = ()

    def in_words(self) -> str:
        """Return the reduction as one sentence."""
        if math.isnan(self.log10_low):
            return ""
        if self.is_bound and self.low <= 0:
            return "No whole spore was found, but the control has too few to show a reduction."
        if self.is_bound:
            return (
                f"No whole spore was found: at least {percent(self.low)} fewer per mm2 than in the "
                f"control (at least {self.log10_low:.1f} log10)."
            )
        if self.low <= 0 <= self.high:
            return (
                f"Whole spores per mm2 are not surely fewer or more than in the control "
                f"(change {_change(self.high)} to {_change(self.low)})."
            )
        if self.reduction < 0:
            return (
                f"More whole spores per mm2 than in the control "
                f"(+{100 * -self.reduction:.0f} %, {_change(self.high)} to {_change(self.low)})."
            )
        return (
            f"{percent(self.reduction)} fewer whole spores per mm2 than in the control "
            f"({percent(self.low)} to {percent(self.high)}; log10 {self.log10:.2f}, "
            f"{self.log10_low:.2f} to {self.log10_high:.2f})."
        )


class Counted(NamedTuple):
    """Whole spores of each slide of an arm, and the area looked at.

    Attributes
    ----------
    intact, area_mm2 : ndarray of float, shape (slides,)
        The area may be multiplied by what was there before the treatment, per mm2; then
        ratios are relative to that.
    """

    intact: Array
    area_mm2: Array


def reduce_against(
    arm: Counted, control: Counted, level: float = 0.95, *, before: bool = False
) -> Reduction:
    """Compare whole spores per mm2 of an arm with the control, with the slide as the unit.

    Limits stand on the logarithm of the ratio. The variance of an arm's mean is told by its
    slides: the largest of what their logarithms show, what the counts show, and what chance
    alone does to counts; degrees of freedom after Welch and Satterthwaite. So they are wide
    with few slides, and hold in simulation (docs/trial-verdicts.md).

    Parameters
    ----------
    arm, control : Counted
        Slides; those without a known area are left out.
    level : float
        Confidence level, between 0 and 1.
    before : bool
        The areas have been multiplied by the counts before.

    Returns
    -------
    Reduction

    Examples
    --------
    >>> whole = Counted(np.array([100.0, 110, 90]), np.ones(3))
    >>> few = Counted(np.array([10.0, 12, 8]), np.ones(3))
    >>> found = reduce_against(few, whole)
    >>> round(found.log10, 2), found.log10_low > 0.3
    (1.0, True)
    """
    arm, control = _known(arm), _known(control)
    rates = [_rate(one) for one in (arm, control)]
    numbers = len(arm.intact), len(control.intact)
    nothing = _nothing(rates, numbers, before)
    if not min(numbers):
        return _said(nothing, "the area that was looked at is not known")
    if control.intact.sum() <= 0:
        return _said(nothing, "the control has no whole spore, so nothing can have vanished")
    if arm.intact.sum() <= 0:
        return _bound(arm, control, level, nothing)
    log_ratio = math.log(rates[0] / rates[1])
    found = _from_logs(nothing, log_ratio, math.nan, math.nan)
    if min(numbers) < 2:
        return _said(found, "one slide only, so how much slides differ is not known")
    half = _half_width(arm, control, level)
    return _from_logs(nothing, log_ratio, log_ratio - half, log_ratio + half)


def counted(
    intact: ArrayLike, area_mm2: ArrayLike, before_per_mm2: ArrayLike | None = None
) -> Counted:
    """Return slides to be compared.

    Raises
    ------
    TrialError
        Where a count or an area is below 0, or lengths differ.
    """
    counts, areas = np.asarray(intact, float), np.asarray(area_mm2, float)
    if before_per_mm2 is not None:
        areas = areas * np.asarray(before_per_mm2, float)
    if counts.shape != areas.shape or (counts < 0).any() or (areas < 0).any():
        raise TrialError(
            f"{counts.size} counts, {areas.size} areas",
            "each slide has a count and an area, 0 or more",
            "look the slides over",
        )
    return Counted(counts, areas)


#: Degrees of freedom given up, since slides' densities have longer tails than a normal law
#: (measured: limits then hold in 94 of 100 made-up trials also where they differ most).
_LONG_TAILS = 1.0


def percent(share: float) -> str:
    """Return a share in percent; near 0 and 100 % with as many digits as say how near.

    Examples
    --------
    >>> percent(0.456), percent(0.9964), percent(0.002), percent(0.0)
    ('46 %', '99.6 %', '0.2 %', '0 %')
    """
    rest = min(share, 1 - share)
    digits = math.ceil(-math.log10(rest)) - 2 if 1e-6 < rest < 0.01 else 0
    return f"{100 * share:.{digits}f} %"


def _change(reduction: float) -> str:
    return f"{-100 * reduction:+.0f} %"


def _known(one: Counted) -> Counted:
    there = np.isfinite(one.area_mm2) & (one.area_mm2 > 0)
    return Counted(one.intact[there], one.area_mm2[there])


def _rate(one: Counted) -> float:
    total = float(one.area_mm2.sum())
    return float(one.intact.sum()) / total if total > 0 else math.nan


def _log_variance(one: Counted) -> tuple[float, float]:
    """Return the variance of the logarithm of an arm's rate, and its degrees of freedom.

    Half a spore is added so that slides without any have a logarithm.
    """
    slides = len(one.intact)
    expected = (one.intact.sum() + 0.5) / one.area_mm2.sum() * one.area_mm2
    mean = float(expected.mean())
    logs = np.log((one.intact + 0.5) / one.area_mm2)
    from_logs = float(logs.var(ddof=1))
    from_counts = float(((one.intact - expected) ** 2).sum()) / (slides - 1) / mean**2
    return max(from_logs, from_counts, 1 / mean) / slides, slides - 1.0


def _half_width(arm: Counted, control: Counted, level: float) -> float:
    from scipy.stats import t

    variances, free = zip(*(_log_variance(one) for one in (arm, control)))
    freedom = sum(variances) ** 2 / sum(v**2 / f for v, f in zip(variances, free))
    freedom = max(1.0, freedom - _LONG_TAILS)
    return float(t.isf((1 - level) / 2, freedom)) * math.sqrt(sum(variances))


def _bound(arm: Counted, control: Counted, level: float, nothing: Reduction) -> Reduction:
    """Return the least reduction that no spore at all still shows.

    The most spores per mm2 that leave every slide empty with a chance of one tail, spores
    of a slide being as clumped as the control's slides show; and the control's own doubt.
    """
    tail = (1 - level) / 2
    slides = len(arm.intact)
    clumped = 0.0
    doubt = 0.0
    if len(control.intact) > 1:
        from scipy.stats import t

        variance, free = _log_variance(control)
        doubt = float(t.isf(tail, free)) * math.sqrt(variance)
        clumped = max(0.0, variance * len(control.intact) - 1 / float(control.intact.mean()))
    expected = -math.log(tail) / slides
    if clumped > 1e-9:
        power = min(-math.log(tail) * clumped / slides, 700.0)
        expected = math.expm1(power) / clumped
    most = expected * slides / float(arm.area_mm2.sum())
    log_high = math.log(most / _rate(control)) + doubt
    low = 1 - math.exp(log_high)
    found = dataclasses.replace(
        nothing, reduction=1.0, low=low, high=1.0, log10_low=-log_high / math.log(10), is_bound=True
    )
    if len(control.intact) < 2:
        found = _said(
            dataclasses.replace(found, low=math.nan, log10_low=math.nan),
            "the control has one slide only, so how much slides differ is not known",
        )
    return found


def _nothing(rates: list[float], numbers: tuple[int, int], before: bool) -> Reduction:
    nan = math.nan
    per_mm2 = (nan, nan) if before else (rates[0], rates[1])
    return Reduction(*per_mm2, nan, nan, nan, nan, nan, nan, False, *numbers, before)


def _from_logs(nothing: Reduction, middle: float, low: float, high: float) -> Reduction:
    """Return the reduction from the logarithm of the ratio and its limits."""
    steps = [-value / math.log(10) for value in (middle, high, low)]
    gone = [1 - math.exp(min(value, 700.0)) for value in (middle, high, low)]
    return dataclasses.replace(
        nothing,
        reduction=gone[0], low=gone[1], high=gone[2],
        log10=steps[0], log10_low=steps[1], log10_high=steps[2],
    )  # fmt: skip


def rescaled(found: Reduction, log_factor: float, log_sd: float, level: float) -> Reduction:
    """Return a reduction whose ratio is multiplied by a factor that is itself in doubt.

    Parameters
    ----------
    found : Reduction
        What was seen.
    log_factor, log_sd : float
        Logarithm of the factor, and its standard deviation.
    level : float
        Confidence level. Half-widths are added as squares.
    """
    from scipy.stats import norm

    doubt = float(norm.isf((1 - level) / 2)) * log_sd
    if math.isnan(found.log10_low):
        middle = -found.log10 * math.log(10) + log_factor
        return _from_logs(found, middle, math.nan, math.nan)
    if found.is_bound:
        log_high = -found.log10_low * math.log(10) + log_factor + doubt
        return dataclasses.replace(
            found, low=1 - math.exp(log_high), log10_low=-log_high / math.log(10)
        )
    middle, low, high = (
        -value * math.log(10) for value in (found.log10, found.log10_high, found.log10_low)
    )
    return _from_logs(
        found,
        middle + log_factor,
        middle + log_factor - math.hypot(middle - low, doubt),
        middle + log_factor + math.hypot(high - middle, doubt),
    )


def _said(found: Reduction, note: str) -> Reduction:
    return dataclasses.replace(found, notes=(*found.notes, note))
