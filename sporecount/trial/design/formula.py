"""Published sample sizes for two shares, and what it costs that spores of a slide are alike."""

from __future__ import annotations

import math
from typing import NamedTuple

from sporecount.trial.errors import TrialError


class SampleSize(NamedTuple):
    """Units needed in each of two groups.

    Attributes
    ----------
    plain, corrected : float
        Without and with the correction for continuity; to be rounded up.
    """

    plain: float
    corrected: float


def sample_size(share: float, other: float, power: float = 0.8, alpha: float = 0.05) -> SampleSize:
    """Return how many independent units each group needs to show that two shares differ.

    Two-sided, with and without the correction for continuity [fleiss1980].

    Parameters
    ----------
    share, other : float
        Shares that are supposed, between 0 and 1, not the same.
    power : float
        Chance to show the difference, between 0 and 1.
    alpha : float
        Chance of a false alarm, between 0 and 1.

    Raises
    ------
    TrialError
        If a number is outside its bounds.

    Examples
    --------
    >>> [math.ceil(n) for n in sample_size(0.6, 0.7)]
    [356, 376]
    """
    from scipy.stats import norm

    apart = abs(share - other)
    if not (0 <= share <= 1 and 0 <= other <= 1 and apart > 0):
        raise TrialError(
            f"shares {share:g} and {other:g}",
            "they lie between 0 and 1 and differ",
            "give a smallest effect that fits the share broken without treatment",
        )
    check_chances(power, alpha)
    middle = (share + other) / 2
    under_none = math.sqrt(2 * middle * (1 - middle))
    under_effect = math.sqrt(share * (1 - share) + other * (1 - other))
    reach = float(norm.isf(alpha / 2)) * under_none + float(norm.isf(1 - power)) * under_effect
    plain = (reach / apart) ** 2
    return SampleSize(plain, plain / 4 * (1 + math.sqrt(1 + 4 / (plain * apart))) ** 2)


def design_effect(units: float, icc: float) -> float:
    """Return how many times more units are needed where those of a cluster are alike [kish1965].

    Parameters
    ----------
    units : float
        Units of each cluster, 1 or more.
    icc : float
        Intraclass correlation: 0 where they are no more alike than others, 1 where all are
        the same.

    Examples
    --------
    >>> round(design_effect(10, 0.05), 2), round(design_effect(20, 0.10), 2)
    (1.45, 2.9)
    """
    if units < 1 or not 0 <= icc <= 1:
        raise TrialError(
            f"{units:g} spores a slide, intraclass correlation {icc:g}",
            "there is at least one spore, and the correlation lies between 0 and 1",
            "correct it",
        )
    return 1 + (units - 1) * icc


def slides_by_formula(
    share: float,
    other: float,
    icc: float,
    spores_per_slide: int,
    power: float = 0.8,
    alpha: float = 0.05,
) -> int:
    """Return slides in each arm by the published sample size times the design effect.

    It supposes many slides: with few, more are needed, since what spores of a slide have in
    common must be told from these slides. :mod:`sporecount.trial.design.simulate` counts
    that in.

    Examples
    --------
    >>> slides_by_formula(0.1, 0.3, 0.1, 50)
    9
    """
    needed = sample_size(share, other, power, alpha).corrected
    effect = design_effect(spores_per_slide, icc)
    return max(2, math.ceil(needed * effect / spores_per_slide - 1e-9))


def check_chances(power: float, alpha: float) -> None:
    """Refuse a power or an alpha that is none."""
    for name, value, example in (("power", power, 0.8), ("alpha", alpha, 0.05)):
        if not 0 < value < 1:
            raise TrialError(
                f"{name} {value:g}", "it lies between 0 and 1", f"give a number such as {example}"
            )
