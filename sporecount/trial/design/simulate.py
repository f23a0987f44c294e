"""Power by simulation: trials are made up again and again and judged as real ones are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sporecount.trial.design.formula import check_chances, design_effect
from sporecount.trial.errors import TrialError

Array = NDArray[np.float64]

#: A test of many trials at once: broken spores and all spores of the treated slides, and of
#: the control's, each of shape (trials, slides), to two-sided p of shape (trials,).
SlideTest = Callable[[Array, Array, Array, Array], Array]


def own_test(broken: Array, spores: Array, control_broken: Array, control_spores: Array) -> Array:
    """Return the p of the test that trials are judged with (`sporecount.trial.compare`)."""
    from sporecount.statistics.mean_share import Clusters, p_of_difference

    return p_of_difference(Clusters(broken, spores), Clusters(control_broken, control_spores))


@dataclass(frozen=True)
class Supposed:
    """What a trial is supposed to be like.

    Attributes
    ----------
    base : float
        Share broken in the control, 0 to 1.
    effect : float
        How much larger the share is in the arm.
    icc : float
        Intraclass correlation of spores of one slide, 0 to 1.
    spores_per_slide : int
        Spores looked at on each slide.

    Raises
    ------
    TrialError
        If a number is outside its bounds.
    """

    base: float
    effect: float
    icc: float
    spores_per_slide: int

    def __post_init__(self) -> None:
        design_effect(self.spores_per_slide, self.icc)
        if not (0 <= self.base <= 1 and 0 <= self.base + self.effect <= 1):
            raise TrialError(
                f"{self.base:g} broken in the control and {self.effect:+g} in the arm",
                "both shares lie between 0 and 1",
                "ask for a smaller effect, or correct the share broken without treatment",
            )


def draw_slides(
    share: float, supposed: Supposed, slides: int, trials: int, rng: np.random.Generator
) -> Array:
    """Return broken spores of made-up slides, by the beta-binomial law.

    Returns
    -------
    ndarray of float, shape (trials, slides)
    """
    if supposed.icc in (0.0, 1.0) or share in (0.0, 1.0):
        whole = supposed.icc == 1.0
        shares: Array = np.full((trials, slides), share)
        if whole:
            shares = (rng.random((trials, slides)) < share).astype(float)
    else:
        strength = 1 / supposed.icc - 1
        shares = rng.beta(share * strength, (1 - share) * strength, (trials, slides))
    return rng.binomial(supposed.spores_per_slide, shares).astype(float)


def power_of(
    supposed: Supposed,
    slides: int,
    *,
    alpha: float = 0.05,
    test: SlideTest = own_test,
    trials: int = 2000,
    seed: int = 1,
) -> float:
    """Return the share of made-up trials that show a difference.

    Parameters
    ----------
    supposed : Supposed
        What they are like; without an effect, the result is the size of the test.
    slides : int
        Slides in each of the two arms, 2 or more.
    alpha : float
        p below which a difference counts as shown.
    test : callable
        How they are judged; as real trials are, by default.
    trials, seed : int
        How many are made up, and where chance starts.

    Examples
    --------
    >>> power_of(Supposed(0.1, 0.8, 0.05, 50), 4, trials=200)
    1.0
    """
    rng = np.random.default_rng([seed, slides])
    spores: Array = np.full((trials, slides), float(supposed.spores_per_slide))
    treated = draw_slides(supposed.base + supposed.effect, supposed, slides, trials, rng)
    control = draw_slides(supposed.base, supposed, slides, trials, rng)
    return float((test(treated, spores, control, spores) < alpha).mean())


def slides_for(
    supposed: Supposed,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    most: int = 30,
    test: SlideTest = own_test,
    trials: int = 2000,
    seed: int = 1,
) -> tuple[int | None, float]:
    """Return the fewest slides an arm with which the effect is shown often enough.

    Parameters
    ----------
    supposed : Supposed
        What the trial is like.
    power : float
        Wanted chance to show the effect.
    alpha, test, trials, seed
        As for :func:`power_of`.
    most : int
        Most slides that are tried.

    Returns
    -------
    slides : int or None
        None where not even ``most`` slides are enough.
    power : float
        With these slides, or with ``most``.
    """
    check_chances(power, alpha)

    def reached(slides: int) -> float:
        return power_of(supposed, slides, alpha=alpha, test=test, trials=trials, seed=seed)

    last = reached(most)
    if last < power:
        return None, last
    too_few, enough, at = 1, most, last
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        now = reached(middle)
        if now >= power:
            enough, at = middle, now
        else:
            too_few = middle
    return enough, at


def smallest_shown(
    supposed: Supposed,
    slides: int,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    test: SlideTest = own_test,
    trials: int = 2000,
    seed: int = 1,
) -> float | None:
    """Return the smallest effect that so many slides show often enough.

    Parameters
    ----------
    supposed : Supposed
        What the trial is like; its effect is not looked at.
    slides : int
        Slides in each arm.
    power, alpha, test, trials, seed
        As for :func:`slides_for`.

    Returns
    -------
    float or None
        To about 0.01; None where not even all spores broken would be shown.
    """
    check_chances(power, alpha)

    def shown(effect: float) -> bool:
        asked = replace(supposed, effect=effect)
        return power_of(asked, slides, alpha=alpha, test=test, trials=trials, seed=seed) >= power

    too_small, enough = 0.0, 1 - supposed.base
    if not shown(enough):
        return None
    while enough - too_small > 0.01:
        middle = (too_small + enough) / 2
        too_small, enough = (too_small, middle) if shown(middle) else (middle, enough)
    return enough
