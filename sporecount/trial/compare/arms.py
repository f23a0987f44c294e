"""Every arm of a trial against its control."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from sporecount.statistics.clusters import Group, group
from sporecount.statistics.mean_share import (
    Clusters,
    difference_interval,
    moment_likeness,
    p_of_difference,
    share_interval,
)
from sporecount.statistics.multiple import holm
from sporecount.statistics.permutation import permute_clusters
from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.compare.efficacy import abbott
from sporecount.trial.compare.naive import naive_p
from sporecount.trial.compare.slides import slides_of
from sporecount.trial.compare.words import NO_CONTROL, notes_on
from sporecount.trial.errors import TrialError


def compare_arms(
    arms: Mapping[str, tuple[ArrayLike, ArrayLike]],
    control: str | None,
    *,
    tested: Collection[str] | None = None,
    level: float = 0.95,
    margin: float = 0.1,
) -> dict[str, Comparison]:
    """Compare each arm's broken share with the control's, with the slide as the unit.

    Parameters
    ----------
    arms : mapping of str to tuple of array_like
        Of each arm: broken spores of each slide, which need not be whole, and spores of
        each slide, broken ones included.
    control : str or None
        Arm that others are compared with; None where the trial has none.
    tested : collection of str, optional
        Arms whose tests ``p_adjusted`` allows for; all but the control where not given.
    level : float
        Confidence level of the limits, between 0 and 1.
    margin : float
        Differences below this count as none, for equivalence; between 0 and 1.

    Returns
    -------
    dict of str to Comparison
        In the order of ``arms``.

    Raises
    ------
    TrialError
        Where there is no such control, numbers make no sense, or a level or margin is not
        between 0 and 1.

    Examples
    --------
    >>> arms = {"water": ([2, 1, 3], [50, 60, 55]), "bleach": ([40, 45, 52], [50, 60, 58])}
    >>> bleach = compare_arms(arms, "water")["bleach"]
    >>> round(bleach.effect, 2), bleach.p_value < 0.05, bleach.effect_low > 0
    (0.78, True, True)
    """
    _check(arms, control, tested, level, margin)
    slides = {name: slides_of(name, *counts) for name, counts in arms.items()}
    found = {name: _described(name, slides, level) for name in arms}
    if control is None:
        return {
            name: dataclasses.replace(one, notes=(*one.notes, NO_CONTROL))
            for name, one in found.items()
        }
    against = slides[control][0]
    for name in arms:
        if name != control:
            found[name] = _compared(found[name], slides[name][0], against, level, margin)
    family = [name for name in arms if name != control and (tested is None or name in tested)]
    return _adjusted(found, family)


def _check(
    arms: Mapping[str, tuple[ArrayLike, ArrayLike]],
    control: str | None,
    tested: Collection[str] | None,
    level: float,
    margin: float,
) -> None:
    names = ", ".join(arms) or "none"
    for name in [*([control] if control is not None else []), *(tested or ())]:
        if name not in arms:
            raise TrialError(f"arm {name!r}", f"no such arm among: {names}", "name one of these")
    for what, value, least in (("level", level, 0.5), ("margin", margin, 0.0)):
        if not least < value < 1:
            raise TrialError(f"{what} {value:g}", f"it lies between {least:g} and 1", "change it")


def _described(name: str, slides: Mapping[str, tuple[Clusters, int]], level: float) -> Comparison:
    """Return an arm's own share; slides of all arms tell how alike spores of one are."""
    one, without = slides[name]
    others = [other for key, (other, _) in slides.items() if key != name and other.number > 1]
    share = low = high = pooled = math.nan
    if one.number:
        share, pooled = float(one.share), float(one.events.sum() / one.sizes.sum())
    if one.number > 1:
        low, high = share_interval(one, others, level)
    return Comparison(
        share,
        low,
        high,
        slides=one.number,
        without_spores=without,
        pooled_share=pooled,
        notes=notes_on(name, one, without),
    )


def _compared(
    described: Comparison, one: Clusters, control: Clusters, level: float, margin: float
) -> Comparison:
    if not (one.number and control.number):
        return described
    efficacy = abbott(one, control, level)
    described = dataclasses.replace(
        described,
        effect=float(one.share - control.share),
        naive_p=float(naive_p(one, control)),
        abbott=efficacy.value,
    )
    if min(one.number, control.number) < 2:
        return described
    low, high = difference_interval(one, control, level)
    near, far = difference_interval(one, control, 2 * level - 1)
    dealt = permute_clusters([_by_slide(one), _by_slide(control)])
    return dataclasses.replace(
        described,
        effect_low=low,
        effect_high=high,
        p_value=float(p_of_difference(one, control)),
        icc=float(np.clip(moment_likeness([one, control]), 0, 1)),
        abbott_low=efficacy.low,
        abbott_high=efficacy.high,
        equivalent=bool(-margin < near and far < margin),
        equivalence_low=near,
        equivalence_high=far,
        permutation_p=dealt.p,
        least_p=dealt.least_p,
    )


def _by_slide(one: Clusters) -> Group:
    return group((one.events / one.sizes).tolist(), [1.0] * one.number)


def _adjusted(found: dict[str, Comparison], family: Sequence[str]) -> dict[str, Comparison]:
    known = [name for name in family if not math.isnan(found[name].p_value)]
    adjusted = holm([found[name].p_value for name in known])
    changed = {
        name: dataclasses.replace(found[name], p_adjusted=p) for name, p in zip(known, adjusted)
    }
    return {**found, **changed}
