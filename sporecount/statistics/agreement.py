"""How well two people, two methods or two readings agree: on classes, and on numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sporecount.statistics.proportions import Interval

Array = NDArray[np.float64]

#: How much a disagreement counts: by so many classes, by their square, all the same.
LINEAR, QUADRATIC, PLAIN = "linear", "quadratic", "plain"
WEIGHTS = (LINEAR, QUADRATIC, PLAIN)


class Kappa(NamedTuple):
    """Agreement on classes beyond chance.

    Attributes
    ----------
    kappa : float
        1: all agree; 0: no better than chance; nan where both always say the same one
        class, so that chance explains all.
    standard_error : float
        Asymptotic.
    low, high : float
        Limits.
    n : int
        Things classed twice.
    """

    kappa: float
    standard_error: float
    low: float
    high: float
    n: int


class Limits(NamedTuple):
    """Limits of agreement: how far two numbers of one thing lie apart.

    Attributes
    ----------
    bias : float
        Mean of first less second.
    sd : float
        Standard deviation of these differences.
    low, high : float
        Limits within which 95 % (or another level) of the differences lie.
    bias_limits, low_limits, high_limits : Interval
        Confidence limits of each of the three.
    n : int
        Pairs.
    """

    bias: float
    sd: float
    low: float
    high: float
    bias_limits: Interval
    low_limits: Interval
    high_limits: Interval
    n: int


class Concordance(NamedTuple):
    """How near pairs lie to the line of equal numbers.

    Attributes
    ----------
    concordance : float
        1: all pairs are equal; nan where all numbers are one.
    low, high : float
        Limits; nan for fewer than 4 pairs.
    n : int
        Pairs.
    """

    concordance: float
    low: float
    high: float
    n: int


def cross_table(
    first: Sequence[object], second: Sequence[object], classes: Sequence[object]
) -> Array:
    """Return how often the first said a class (rows) while the second said another (columns).

    Raises
    ------
    ValueError
        If they are not pairs, or a class is not among the given ones.

    Examples
    --------
    >>> cross_table([0, 1, 1], [0, 1, 2], [0, 1, 2]).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 0.0]]
    """
    if len(first) != len(second):
        raise ValueError(f"{len(first)} and {len(second)} classes: there is a pair for each thing")
    place = {name: index for index, name in enumerate(classes)}
    table = np.zeros((len(classes), len(classes)))
    for one, other in zip(first, second, strict=True):
        for said in (one, other):
            if said not in place:
                raise ValueError(f"class {said!r}: known are {', '.join(map(str, classes))}")
        table[place[one], place[other]] += 1
    return table


def weighted_kappa(
    table: ArrayLike, weights: str | ArrayLike = LINEAR, level: float = 0.95
) -> Kappa:
    """Return the weighted kappa of a table [cohen1968] with its standard error [fleiss1969].

    Parameters
    ----------
    table : array_like, shape (k, k)
        How often the first said a class (rows) and the second another (columns), in
        the order of the classes.
    weights : str or array_like, shape (k, k)
        One of ``WEIGHTS``, or how much each disagreement counts: 0 on the diagonal.
    level : float
        Confidence level, between 0 and 1.

    Notes
    -----
    The standard error is one of many things classed. Where all agree it is 0, which says
    nothing; the lower limit is then that of the share of disagreement that may have gone
    unseen [hanley1983], over that expected by chance.

    Examples
    --------
    >>> both = weighted_kappa([[20, 5], [10, 15]])
    >>> round(both.kappa, 3), round(both.low, 3), round(both.high, 3)
    (0.4, 0.151, 0.649)
    """
    from scipy.stats import norm

    counts = np.asarray(table, float)
    _check_table(counts)
    apart = _disagreement(weights, len(counts))
    n = float(counts.sum())
    shares = counts / n
    rows, columns = shares.sum(1), shares.sum(0)
    by_chance = float(rows @ apart @ columns)
    if by_chance == 0.0:
        return Kappa(math.nan, math.nan, math.nan, math.nan, int(n))
    seen = float((shares * apart).sum())
    kappa = 1.0 - float(seen / by_chance)
    if seen == 0.0:
        chance_plain = 1.0 - float(rows @ columns)
        unseen = 1.0 - ((1.0 - level) / 2.0) ** (1.0 / n)
        return Kappa(1.0, 0.0, max(1.0 - unseen / chance_plain, -1.0), 1.0, int(n))
    error = _kappa_error(shares, apart, seen, by_chance, n)
    half = float(norm.isf((1.0 - level) / 2.0)) * error
    return Kappa(kappa, error, max(kappa - half, -1.0), min(kappa + half, 1.0), int(n))


def limits_of_agreement(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Limits:
    """Return the limits of agreement of two numbers of each thing [blandaltman1986].

    The limits are the bias, less and more 1.96 standard deviations of the differences; their
    own limits are by Student's t, with ``sqrt(3 / n)`` standard deviations as standard error.

    Raises
    ------
    ValueError
        If there are not two pairs.

    Examples
    --------
    >>> found = limits_of_agreement([10, 20, 30, 41], [9, 21, 28, 40])
    >>> found.bias, round(found.low, 2), round(found.high, 2)
    (0.75, -1.72, 3.22)
    """
    from scipy.stats import norm, t

    one, other = _pairs(first, second, 2)
    apart = one - other
    n = len(apart)
    bias, sd = float(apart.mean()), float(apart.std(ddof=1))
    tail = (1.0 - level) / 2.0
    reach = float(norm.isf(tail)) * sd
    times = float(t.isf(tail, n - 1))

    def around(middle: float, error: float) -> Interval:
        return Interval(middle - times * error, middle + times * error)

    of_bias, of_limit = sd / math.sqrt(n), sd * math.sqrt(3.0 / n)
    return Limits(
        bias,
        sd,
        bias - reach,
        bias + reach,
        around(bias, of_bias),
        around(bias - reach, of_limit),
        around(bias + reach, of_limit),
        n,
    )


def repeatability(first: ArrayLike, second: ArrayLike) -> float:
    """Return what two readings by one method hardly ever differ by [blandaltman1986].

    Twice the root of the mean squared difference: 95 % of differences are smaller.

    Examples
    --------
    >>> repeatability([10, 12], [11, 11])
    2.0
    """
    one, other = _pairs(first, second, 1)
    return 2.0 * math.sqrt(float(((one - other) ** 2).mean()))


def concordance(
    first: ArrayLike, second: ArrayLike, level: float = 0.95, *, ddof: int = 0
) -> Concordance:
    """Return the concordance correlation of pairs [lin1989].

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Two numbers of each thing.
    level : float
        Confidence level, between 0 and 1. The limits go by the inverse hyperbolic tangent,
        with the variance as put right in 2000.
    ddof : int
        0: variances divide by n, as Lin's do; 1: by n - 1.

    Examples
    --------
    >>> round(concordance([1, 2, 3, 4, 5], [1, 2, 3, 4, 6]).concordance, 4)
    0.96
    """
    from scipy.stats import norm

    one, other = _pairs(first, second, 2)
    n = len(one)
    spread = float(one.std(ddof=ddof)), float(other.std(ddof=ddof))
    shift = float(one.mean() - other.mean())
    below = spread[0] ** 2 + spread[1] ** 2 + shift**2
    if below == 0.0:
        return Concordance(math.nan, math.nan, math.nan, n)
    together = float(((one - one.mean()) * (other - other.mean())).sum()) / (n - ddof)
    found = 2.0 * together / below
    if np.array_equal(one, other):
        return Concordance(1.0, 1.0, 1.0, n)
    if n < 4 or together == 0.0:
        return Concordance(found, math.nan, math.nan, n)
    r = together / (spread[0] * spread[1])
    u2 = shift**2 / (spread[0] * spread[1])
    rest = max(1.0 - found**2, 1e-12)
    variance = (
        (1.0 - r**2) * found**2 / (rest * r**2)
        + 2.0 * found**3 * (1.0 - found) * u2 / (r * rest**2)
        - found**4 * u2**2 / (2.0 * r**2 * rest**2)
    ) / (n - 2)
    half = float(norm.isf((1.0 - level) / 2.0)) * math.sqrt(max(variance, 0.0))
    middle = math.atanh(min(max(found, -1.0 + 1e-12), 1.0 - 1e-12))
    return Concordance(found, math.tanh(middle - half), math.tanh(middle + half), n)


def _kappa_error(shares: Array, apart: Array, seen: float, by_chance: float, n: float) -> float:
    """Return the asymptotic standard error, in agreement weights as Fleiss and others write it."""
    alike = 1.0 - apart / apart.max()
    seen, by_chance = 1.0 - seen / apart.max(), 1.0 - by_chance / apart.max()
    rows, columns = shares.sum(1), shares.sum(0)
    mean = (alike @ columns)[:, None] + (rows @ alike)[None, :]
    inner = (shares * (alike * (1.0 - by_chance) - mean * (1.0 - seen)) ** 2).sum()
    inner -= (seen * by_chance - 2.0 * by_chance + seen) ** 2
    return float(math.sqrt(max(float(inner), 0.0) / n) / (1.0 - by_chance) ** 2)


def _disagreement(weights: str | ArrayLike, classes: int) -> Array:
    if isinstance(weights, str):
        steps = np.abs(np.subtract.outer(np.arange(classes), np.arange(classes))).astype(float)
        known = {LINEAR: steps, QUADRATIC: steps**2, PLAIN: (steps > 0).astype(float)}
        if weights not in known:
            raise ValueError(f"weights {weights!r}: known are {', '.join(WEIGHTS)}")
        return known[weights]
    given = np.asarray(weights, float)
    if given.shape != (classes, classes) or (given < 0).any() or np.diag(given).any():
        raise ValueError(
            f"weights of shape {given.shape}: one for each cell of {classes} x {classes}, "
            "0 or more, and 0 on the diagonal"
        )
    return given


def _check_table(counts: Array) -> None:
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or len(counts) < 2:
        raise ValueError(f"table of shape {counts.shape}: a row and a column for each class")
    if not np.isfinite(counts).all() or (counts < 0).any() or counts.sum() == 0:
        raise ValueError("table: counts of 0 or more, not all 0")


def _pairs(first: ArrayLike, second: ArrayLike, least: int) -> tuple[Array, Array]:
    one, other = np.asarray(first, float), np.asarray(second, float)
    if one.ndim != 1 or one.shape != other.shape:
        raise ValueError(
            f"numbers of shape {one.shape} and {other.shape}: there is a pair for each thing"
        )
    if len(one) < least:
        raise ValueError(f"{len(one)} pairs: at least {least} are needed")
    if not (np.isfinite(one).all() and np.isfinite(other).all()):
        raise ValueError("numbers: all are finite")
    return one, other
