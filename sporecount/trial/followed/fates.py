"""What became of the followed spores of each arm, with the slide as the unit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.statistics.mean_share import Clusters, share_interval
from sporecount.trial.compare.arms import compare_arms
from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.followed.match import FATES, UNMATCHED
from sporecount.trial.followed.result import Fates, FateShare
from sporecount.trial.followed.table import FOLLOWED, by_slide
from sporecount.trial.followed.words import fate_words
from sporecount.trial.misread import RateDraws

Array = NDArray[np.float64]

#: States that a detector may mistake for one another; what is gone it does not see.
_FOUND = 3


def judge_fates(
    fields: pd.DataFrame,
    control: str | None,
    treated: Sequence[str],
    rates: Mapping[str, RateDraws],
    *,
    level: float = 0.95,
    margin: float = 0.1,
) -> dict[str, Fates]:
    """Return the fates of each arm of which spores were followed.

    Parameters
    ----------
    fields : DataFrame
        From :func:`sporecount.trial.followed.table.checked_fields`.
    control : str or None
        Arm that others are compared with.
    treated : sequence of str
        Arms whose tests are adjusted for together.
    rates : mapping of str to RateDraws
        By arm, what the detector misreads; without error where people followed.
    level, margin : float
        Confidence level; difference that counts as none.

    Returns
    -------
    dict of str to Fates
        By arm; arms without any field are not in it.
    """
    slides = by_slide(fields)
    counts = {
        arm: slides.loc[slides["arm"] == arm, list(FATES)].to_numpy(float)
        for arm in dict.fromkeys(fields["arm"])
    }
    some = {arm: table for arm, table in counts.items() if len(table)}
    against = control if control in some else None
    compared = (
        compare_arms(
            {arm: (table[:, 1:].sum(axis=1), table.sum(axis=1)) for arm, table in some.items()},
            against,
            tested=[arm for arm in treated if arm in some],
            level=level,
            margin=margin,
        )
        if some
        else {}
    )
    found = {}
    for arm, table in counts.items():
        own = fields[fields["arm"] == arm]
        others = [one for name, one in some.items() if name != arm]
        shares = _shares(table, others, rates[arm], level) if len(table) else {}
        harmed = compared.get(arm, Comparison(math.nan, math.nan, math.nan))
        after, new = own["intact"].sum() + own["damaged"].sum(), int(own["new"].sum())
        fates = Fates(
            slides=len(table),
            fields=int((own["status"] == FOLLOWED).sum()),
            left_out=int((own["status"] != FOLLOWED).sum()),
            spores=int(table.sum()),
            unmatched={name: int(own[name].sum()) for name in UNMATCHED},
            new=new,
            found_before=float(after / (after + new)) if after + new else math.nan,
            shares=shares,
            harmed=harmed,
        )
        with_control = against if against != arm else None
        said = fate_words(fates, arm, with_control, control, by_people=rates[arm].is_plain)
        found[arm] = replace(fates, sentences=said)
    return found


def _shares(
    table: Array, others: Sequence[Array], rates: RateDraws, level: float
) -> dict[str, FateShare]:
    """Return the share of each fate, as seen and with misreading allowed for.

    A share's limits are carried over by how much the correction stretches it, and doubt about
    the rates is added in squares.
    """
    total = table.sum(axis=1)
    shares = (table / total[:, None]).mean(axis=0)
    limits: list[tuple[float, float]] = []
    for place in range(len(FATES)):
        own = Clusters(table[:, place], total)
        rest = [Clusters(one[:, place], one.sum(axis=1)) for one in others]
        if len(table) == 1 and not any(len(one) > 1 for one in others):
            limits.append((math.nan, math.nan))
        else:
            limits.append(share_interval(own, rest, level))
    real, spread, stretch = _real(shares, rates, level)
    found = {}
    for place, fate in enumerate(FATES):
        low, high = limits[place]
        down = math.hypot(stretch[place] * (shares[place] - low), spread[place])
        up = math.hypot(stretch[place] * (high - shares[place]), spread[place])
        middle = float(real[place])
        found[fate] = FateShare(
            int(table[:, place].sum()), float(shares[place]), low, high, middle,
            max(0.0, middle - down) if not math.isnan(down) else math.nan,
            min(1.0, middle + up) if not math.isnan(up) else math.nan,
        )  # fmt: skip
    return found


def _real(shares: Array, rates: RateDraws, level: float) -> tuple[Array, Array, Array]:
    """Return real shares, doubt about them that rates leave, and how much each is stretched."""
    if rates.is_plain:
        return shares, np.zeros(len(FATES)), np.ones(len(FATES))
    called = shares[:_FOUND]
    drawn = np.maximum(np.einsum("kij,j->ki", rates.undone, called), 0.0)
    all_drawn = np.maximum(drawn.sum(axis=1, keepdims=True), 1e-12)
    drawn = drawn / all_drawn * called.sum()
    tail = 100 * (1 - level) / 2
    low, high = np.percentile(drawn, [tail, 100 - tail], axis=0)
    stretch = np.maximum(np.diagonal(rates.undone[0]), 1.0)
    return (
        np.append(drawn[0], shares[_FOUND]),
        np.append((high - low) / 2, 0.0),
        np.append(stretch, 1.0),
    )
