"""Whether more review of some photos can still change the class of their count."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sporecount.counts.detector_error import missed_chances
from sporecount.counts.loadclass import load_class
from sporecount.counts.rates import DetectorRates
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.review.queue import COUNT, Spots, percent

Array = NDArray[np.float64]

#: Share of the tool's misses that a second look lists, of all that could be seen
#: (tests/benchmarks/review_queue.py).
LISTED_SHARE = 0.7

#: Up to so many open spots their number is summed up exactly; a normal law stands for more.
_ONE_BY_ONE = 300


@dataclass(frozen=True)
class Settlement:
    """Whether more review can still change the class.

    Attributes
    ----------
    is_settled : bool
        True when the chance that it does is within the risk.
    load_class : int
        The class of what is counted now.
    p_other : float
        Chance that it would be another class, were everything looked at.
    looks : int or None
        Fewest looks, in the order of the queue, after which it should be settled; 0 where
        it is; None where the listed spots alone cannot settle it, and it takes a look
        through the whole photo.
    why : str
        In words.
    """

    is_settled: bool
    load_class: int
    p_other: float
    looks: int | None
    why: str


def settled(
    spots: Sequence[Spots],
    rates: DetectorRates,
    *,
    risk: float = 0.05,
    class_lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
    in_full: Sequence[bool] | None = None,
) -> Settlement:
    """Say whether more review of some photos can still change the class of their count.

    Parameters
    ----------
    spots : sequence of Spots
        What is open on each photo, from `open_spots`.
    rates : DetectorRates
        The detector's mistakes: how many more it misses than the second look lists.
    risk : float
        Chance of another class that is taken, between 0 and 1.
    class_lower_bounds : sequence of int
        Smallest count of each class.
    in_full : sequence of bool, optional
        Photos that a person has looked through: nothing is open there.

    Returns
    -------
    Settlement

    Notes
    -----
    This is about the count of these photos. What the rest of the tape holds is another doubt,
    which no review makes smaller.
    """
    closed = [False] * len(spots) if in_full is None else list(in_full)
    now = sum(one.sure + int(one.counted.sum()) for one in spots)
    sure = sum(
        one.sure + (int(one.counted.sum()) if shut else 0) for one, shut in zip(spots, closed)
    )
    left = [one for one, shut in zip(spots, closed) if not shut]
    here = load_class(now, class_lower_bounds)
    edges = _edges(here, class_lower_bounds)
    chances = np.concatenate([one.spore for one in left] or [np.zeros(0)])
    gains = np.concatenate([one.gains(COUNT) for one in left] or [np.zeros(0)])
    chances = chances[np.argsort(-gains, kind="stable")]
    others = _beyond_the_list(chances.sum() + sure, rates) if left else np.ones(1)

    def p_other(looks: int) -> float:
        """Return the chance of another class after so many looks that come out as expected."""
        seen, unseen = chances[:looks], chances[looks:]
        known = sure + round(float(seen.sum())) if looks else sure
        return _p_outside(known, unseen, others, edges)

    p = p_other(0)
    if p <= risk:
        return Settlement(True, here, p, 0, _words(here, p, risk, 0, bool(left)))
    looks = _fewest(p_other, len(chances), risk)
    return Settlement(False, here, p, looks, _words(here, p, risk, looks, True))


def _edges(here: int, bounds: Sequence[int]) -> tuple[float, float]:
    """Return the fewest and most spores of a class."""
    return bounds[here], bounds[here + 1] - 1 if here + 1 < len(bounds) else np.inf


def _beyond_the_list(spores: float, rates: DetectorRates) -> Array:
    """Return the chances of 0, 1, ... spores that the tool missed and the second look did not list.

    Their number is that of the missed ones, less those listed.
    """
    if rates.recall_mean >= 1.0:
        return np.ones(1)
    kept = 1.0 - LISTED_SHARE
    recall = 1.0 - kept * (1.0 - rates.recall_mean)
    mean_missed = spores * (1.0 - recall) / recall
    true = max(round(spores), 0)
    most = int(10 + 8 * mean_missed)
    # A spread that no law of shares near 1 can have says no more than the mean does.
    spread = min(kept * rates.recall_sd, 0.5 * (1.0 - recall))
    thinned = DetectorRates(recall, spread, 0.0)
    law = missed_chances(true, most, thinned)
    return np.asarray(law / law.sum(), float)


def _p_outside(known: int, chances: Array, others: Array, edges: tuple[float, float]) -> float:
    """Return the chance that known, open and unlisted spores together leave the class."""
    law, start = _number_of(chances)
    total = np.convolve(law, others)
    number = known + start + np.arange(len(total))
    inside = (number >= edges[0]) & (number <= edges[1])
    return float(min(max(1.0 - total[inside].sum(), 0.0), 1.0))


def _number_of(chances: Array) -> tuple[Array, int]:
    """Return the law of how many of independent things are so, and the number it starts at."""
    even = chances[(chances > 0.0) & (chances < 1.0)]
    surely = int((chances >= 1.0).sum())
    if even.size <= _ONE_BY_ONE:
        law = np.zeros(even.size + 1)
        law[0] = 1.0
        for place, chance in enumerate(even):
            law[1 : place + 2] = law[1 : place + 2] * (1.0 - chance) + law[: place + 1] * chance
            law[0] *= 1.0 - chance
        return law, surely
    from scipy.special import ndtr

    mean, spread = float(even.sum()), float(np.sqrt((even * (1.0 - even)).sum()))
    low, high = max(int(mean - 6 * spread) - 1, 0), min(int(mean + 6 * spread) + 2, even.size)
    ends = (np.arange(low, high + 2) - 0.5 - mean) / max(spread, 1e-6)
    law = np.diff(ndtr(ends))
    return law / law.sum(), surely + low


def _fewest(p_other: Callable[[int], float], most: int, risk: float) -> int | None:
    """Return the fewest looks after which the chance is within the risk."""
    if p_other(most) > risk:
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if p_other(middle) <= risk else (middle, high)
    return high


def _words(here: int, p: float, risk: float, looks: int | None, is_open: bool) -> str:
    if looks == 0 and not is_open:
        return f"All of it was looked through: class {here}."
    if looks == 0:
        return (
            f"Class {here} is settled: the chance that more review changes it is "
            f"{percent(p)}, within the risk of {percent(risk)} that you chose."
        )
    start = f"Class {here} may still change ({percent(p)})"
    if looks is None:
        return f"{start}; the listed spots cannot settle it: look through the whole photo."
    spots = "1 more look" if looks == 1 else f"about {looks} more looks"
    return f"{start}; {spots} should settle it."
