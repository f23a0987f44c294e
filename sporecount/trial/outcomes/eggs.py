"""Egg safety: whether an agent costs no more eggs than a margin, against the control."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.statistics.clusters import Group, clustered_interval, group, likeness
from sporecount.statistics.proportions import Interval, difference, wilson

Array = NDArray[np.float64]

SAFE, HARMS, OPEN = "safe within margin", "harms eggs", "can't tell"

#: Below so many batches, in an arm or in the control, nothing tells how much they differ, and
#: nothing is concluded: eggs were called safe though 10 points fewer hatched in up to 24 of 100
#: made-up trials with one batch, and in up to 33 with two that are dealt out.
LEAST_BATCHES = 3

#: Chance of showing safety that "how many more eggs" aims at (common practice).
POWER = 0.8


@dataclass(frozen=True)
class EggSafety:
    """Eggs dipped and hatched, and what follows against the control.

    Attributes
    ----------
    dipped, hatched, batches : int
        Of the arm.
    share, low, high : float
        Hatched share, with limits that allow for eggs of a batch being alike.
    control_dipped, control_hatched : int
        Of the control; 0 where there is none.
    difference, difference_low, difference_high : float
        Hatched share, arm less control. Below 0: fewer hatch. nan where there is no control.
    margin : float
        How much smaller the hatched share may be.
    word : str
        ``"safe within margin"``, ``"harms eggs"``, ``"can't tell"``; empty for the control.
    more_eggs : int or None
        Eggs more, in each arm, that would show safety if hatching goes on as so far; None
        where it is not open, or they would not.
    method : str
        How, in words.
    sentences : tuple of str
        What that means.
    """

    dipped: int
    hatched: int
    batches: int
    share: float
    low: float
    high: float
    control_dipped: int = 0
    control_hatched: int = 0
    difference: float = math.nan
    difference_low: float = math.nan
    difference_high: float = math.nan
    margin: float = 0.1
    word: str = ""
    more_eggs: int | None = None
    method: str = ""
    sentences: tuple[str, ...] = ()


def judge_eggs(
    eggs: pd.DataFrame,
    arm: str,
    control: str | None,
    *,
    margin: float = 0.1,
    level: float = 0.95,
    independent: bool = False,
) -> EggSafety | None:
    """Judge the eggs of one arm: non-inferiority to the control within a margin.

    Safe where the lower limit of the difference lies above ``-margin``; harmful where the
    upper one lies below 0 and safety is not shown. Where two or more batches are dealt out
    over both arms they are compared within batches [mantel1963], [sato1989]; else whole
    batches are the unit; a single batch in each arm is compared after Newcombe
    [newcombe1998b]. With fewer than :data:`LEAST_BATCHES` in either, eggs of a batch being
    alike, the word is ``"can't tell"`` whatever the limits are.

    Parameters
    ----------
    eggs : DataFrame
        Columns ``arm``, ``batch``, ``dipped``, ``hatched``; one row for each batch of an arm.
    arm, control : str
        Names of arms; a control of None or the arm itself: no comparison.
    margin, level : float
        Margin of non-inferiority, and confidence level (two-sided).
    independent : bool
        Suppose that eggs of a batch are no more alike than others, as where each was dipped
        and kept by itself: then one batch or two are enough.

    Returns
    -------
    EggSafety or None
        None where the arm has no egg.

    Examples
    --------
    >>> table = pd.DataFrame({"arm": ["water", "bath"] * 3, "batch": list("aabbcc"),
    ...                       "dipped": [70] * 6, "hatched": [63, 62, 64, 64, 62, 63]})
    >>> judge_eggs(table, "bath", "water").word
    'safe within margin'
    >>> judge_eggs(table[table["batch"] == "a"], "bath", "water").word
    "can't tell"
    """
    own = _batches(eggs, arm)
    if not len(own):
        return None
    one = _group(own)
    share, limits = one.share, _limits(one, level)
    dipped, hatched = int(one.total), int(one.events.sum())
    described = EggSafety(dipped, hatched, len(own), share, *limits, margin=margin)
    other = _batches(eggs, control) if control not in (None, arm) else own[:0]
    if not len(other):
        return described
    middle, found, method = compare_batches(own, other, level)
    seen = SAFE if found.low > -margin else HARMS if found.high < 0 else OPEN
    against = _group(other)
    few = not independent and min(len(own), len(other)) < LEAST_BATCHES
    word = OPEN if few else seen
    more = None
    if seen == OPEN:
        more = more_eggs(middle, found, int(min(one.total, against.total)), margin, level)
    return EggSafety(
        dipped, hatched, len(own), share, *limits,
        int(against.total), int(against.events.sum()), middle, *found, margin, word, more, method,
        _sentences(seen, one, against, middle, found, margin, more, few),
    )  # fmt: skip


def compare_batches(
    own: pd.DataFrame, other: pd.DataFrame, level: float
) -> tuple[float, Interval, str]:
    """Return the difference of hatched shares, its limits, and how it was told.

    Parameters
    ----------
    own, other : DataFrame
        Index: batch; columns ``dipped``, ``hatched``.
    level : float
        Confidence level.
    """
    common = own.index.intersection(other.index)
    if len(common) > 1 and len(common) == len(own) == len(other):
        shared = _group(own.loc[common]), _group(other.loc[common])
        middle, limits = stratified_difference(shared[0], shared[1], level)
        return middle, limits, f"within {len(common)} batches (Mantel-Haenszel difference)"
    one, against = _group(own), _group(other)
    limits = difference(
        one.share, _limits(one, level, against), against.share, _limits(against, level, one)
    )
    method = "Newcombe's difference of two shares"
    if max(len(own), len(other)) > 1:
        method = "difference of shares, whole batches as the unit"
    return one.share - against.share, limits, method


def stratified_difference(arm: Group, control: Group, level: float) -> tuple[float, Interval]:
    """Return the Mantel-Haenszel difference of shares over batches in both, with limits.

    The variance is the larger of Sato's, for eggs that are independent within a batch
    [sato1989], and that of the batches' own differences with Student's t, since eggs dipped
    together may be alike.

    Parameters
    ----------
    arm, control : Group
        Hatched and dipped eggs; the same batches in the same order.
    level : float
        Confidence level.

    Examples
    --------
    >>> middle, limits = stratified_difference(group([9, 8], [10, 10]), group([9, 9], [10, 10]),
    ...                                        0.95)
    >>> round(middle, 3)
    -0.05
    """
    from scipy.stats import norm, t

    (x, n), (y, m) = arm, control
    total = n + m
    weight = n * m / total
    apart = x / n - y / m
    middle = float((weight * apart).sum() / weight.sum())
    p = (n**2 * y - m**2 * x + n * m * (m - n) / 2) / total**2
    q = (x * (m - y) + y * (n - x)) / (2 * total)
    sato = max(float((middle * p.sum() + q.sum()) / weight.sum() ** 2), 0.0)
    tail = (1 - level) / 2
    half = float(norm.isf(tail)) * math.sqrt(sato)
    strata = len(weight)
    if strata >= LEAST_BATCHES:
        spread = float((weight**2 * (apart - middle) ** 2).sum()) / weight.sum() ** 2
        spread *= strata / (strata - 1)
        half = max(half, float(t.isf(tail, strata - 1)) * math.sqrt(spread))
    if sato <= 0:  # none or all hatched everywhere: fall back on Newcombe, as if one batch
        one, other = (g.events.sum() for g in (arm, control))
        limits = difference(
            arm.share, wilson(one, arm.total, level), control.share,
            wilson(other, control.total, level),
        )  # fmt: skip
        return middle, limits
    return middle, Interval(max(-1.0, middle - half), min(1.0, middle + half))


def more_eggs(
    middle: float, limits: Interval, eggs: int, margin: float, level: float
) -> int | None:
    """Return how many eggs more each arm needs to show safety, if hatching goes on like this.

    The limits' width falls with the root of the number of eggs (batches growing in number,
    not in size); :data:`POWER` is the chance that they then lie above the margin.

    Examples
    --------
    >>> more_eggs(0.0, Interval(-0.15, 0.15), 40, 0.1, 0.95)
    144
    >>> more_eggs(-0.12, Interval(-0.3, 0.05), 40, 0.1, 0.95) is None
    True
    """
    from scipy.stats import norm

    room = middle + margin
    if room <= 0:
        return None
    z = float(norm.isf((1 - level) / 2))
    error = (middle - limits.low) / z
    needed = eggs * ((z + float(norm.ppf(POWER))) * error / room) ** 2
    return max(1, math.ceil(needed - eggs))


def _batches(eggs: pd.DataFrame, arm: str | None) -> pd.DataFrame:
    own = eggs[eggs["arm"] == arm]
    own = own.groupby("batch", sort=False)[["dipped", "hatched"]].sum()
    return own[own["dipped"] > 0]


def _group(batches: pd.DataFrame) -> Group:
    return group(batches["hatched"].tolist(), batches["dipped"].tolist())


def _limits(one: Group, level: float, other: Group | None = None) -> Interval:
    """Return limits of a share; several batches are the unit, a single one can't say."""
    groups = [some for some in (one, other) if some is not None and len(some.sizes) > 1]
    if not groups:
        return wilson(float(one.events.sum()), one.total, level)
    return clustered_interval(one, likeness(groups), level)


def _sentences(
    word: str,
    one: Group,
    other: Group,
    middle: float,
    limits: Interval,
    margin: float,
    more: int | None,
    few: bool,
) -> tuple[str, ...]:
    seen = (
        f"{one.events.sum():.0f} of {one.total:.0f} eggs hatched, {other.events.sum():.0f} of "
        f"{other.total:.0f} in the control: difference {_points(middle)} "
        f"({_points(limits.low)} to {_points(limits.high)} percentage points)"
    )
    if few:
        return _few_batches(word, min(len(one.sizes), len(other.sizes)), seen)
    lines = []
    if word == SAFE:
        lines.append(
            f"Eggs: safe within the margin of {100 * margin:.0f} percentage points; {seen}."
        )
        if limits.high < 0:
            lines.append("All the same, fewer hatched than in the control, and not by chance.")
    elif word == HARMS:
        lines.append(f"Harms eggs: {seen}. An agent that kills eggs is no success.")
    else:
        lines.append(f"Eggs: can't tell; {seen}, and the margin is {100 * margin:.0f}.")
        lines.append(
            f"About {more} more eggs in each arm would show safety if they hatch as so far."
            if more is not None
            else "If eggs go on hatching like this, more of them would not show safety."
        )
    return tuple(lines)


def _few_batches(word: str, few: int, seen: str) -> tuple[str, ...]:
    """Say what one batch or two leave open, whatever their eggs seem to show."""
    lines = [f"Eggs: can't tell; {seen}, if eggs of a batch are no more alike than others."]
    if word == HARMS:
        lines.append(
            "That so many fewer hatched is a warning: leave it alone until that is cleared up."
        )
    batches = "One batch" if few == 1 else "Two batches"
    lines.append(
        f"{batches} cannot show how much batches differ: have {LEAST_BATCHES} or more, each dealt "
        "out over all arms."
    )
    return tuple(lines)


def _points(share: float) -> str:
    return f"{round(100 * share):+d}"
