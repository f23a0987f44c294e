"""How many more slides a trial needs, from what its slides show so far."""

from __future__ import annotations

import math

from sporecount.trial.design.simulate import Supposed, slides_for

#: Most slides an arm that a person is asked for.
MOST_SLIDES = 30

_TRIALS, _POWER, _LEAST_ICC = 1000, 0.8, 0.01


def more_slides(
    base: float, effect: float, icc: float, spores: float, have: int, alpha: float
) -> int | None:
    """Return slides more, in each arm, that would show an effect in 8 of 10 such trials.

    Parameters
    ----------
    base, effect : float
        Broken share of the control, and the difference to be shown, both as seen.
    icc : float
        How alike spores of one slide are; nan where not known (then 0.1).
    spores : float
        Spores on a slide.
    have : int
        Slides there are in the smaller arm.
    alpha : float
        Chance of a false alarm.

    Returns
    -------
    int or None
        None where not even :data:`MOST_SLIDES` would do, or nothing is known.

    Examples
    --------
    >>> more_slides(0.05, 0.2, 0.1, 50.0, 3, 0.05) in (3, 4, 5)
    True
    """
    if math.isnan(base) or math.isnan(spores) or spores < 2:
        return None
    base = max(base, 0.005)
    if base + effect >= 1:
        return None
    icc = 0.1 if math.isnan(icc) else min(max(icc, _LEAST_ICC), 0.9)
    supposed = Supposed(base, effect, icc, round(spores))
    needed, _ = slides_for(
        supposed, power=_POWER, alpha=alpha, most=MOST_SLIDES, trials=_TRIALS, seed=1
    )
    return None if needed is None else max(0, needed - have)
