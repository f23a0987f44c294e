"""How many adults are infected, by brood, food plant and so on, and whether groups differ."""

from __future__ import annotations

import math
from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from sporecount.statistics.clusters import Group, clustered_interval, group, likeness, rao_scott
from sporecount.statistics.permutation import permute_clusters
from sporecount.statistics.proportions import difference, wilson

#: Below these, numbers are called small (common practice, no source).
SMALL_ADULTS, SMALL_BROODS = 10, 5

#: Ways to part the adults: column of the facts, and whether its groups can be compared. A brood
#: is the unit itself, and one brood may spread over two months.
PARTINGS: dict[str, bool] = {
    "brood": False,
    "plant": True,
    "washed": True,
    "source": True,
    "bathed": True,
    "month": False,
}

NOT_KNOWN = "not known"

#: Columns of the two tables.
PREVALENCE_COLUMNS = (
    "measure",
    "by",
    "value",
    "broods",
    "adults",
    "infected",
    "share",
    "low",
    "high",
    "note",
)
COMPARISON_COLUMNS = (
    "measure",
    "by",
    "values",
    "broods",
    "adults",
    "difference",
    "low",
    "high",
    "p",
    "least_p",
    "rao_scott_p",
    "note",
)


def prevalence(facts: pd.DataFrame, measure: str, level: float = 0.95) -> pd.DataFrame:
    """Return the share of infected adults of all, and of each part.

    Parameters
    ----------
    facts : DataFrame
        From :func:`sporecount.rearing.facts.adult_facts`.
    measure : {"heavy", "any"}
        Which adults count as infected.
    level : float
        Confidence level of the limits, between 0 and 1.

    Returns
    -------
    DataFrame
        Columns of :data:`PREVALENCE_COLUMNS`. The limits of one brood are for
        adults of that brood; all others are for broods like these.
    """
    rows = [_row(measure, "all", "all", facts, _likeness([facts], measure), level)]
    for by in PARTINGS:
        parts = _parts(facts, by)
        rho = _likeness(list(parts.values()), measure) if by != "brood" else math.nan
        rows += [_row(measure, by, value, part, rho, level) for value, part in parts.items()]
    return pd.DataFrame(rows, columns=list(PREVALENCE_COLUMNS))


def comparisons(facts: pd.DataFrame, measure: str, level: float = 0.95) -> pd.DataFrame:
    """Compare the parts that broods fall into, with broods as the unit.

    Returns
    -------
    DataFrame
        Columns of :data:`COMPARISON_COLUMNS`, a row for each way of parting that has
        two known values or more. ``difference`` (first value less second) and its
        limits only for two values; ``p`` from :func:`permute_clusters`.
    """
    rows = []
    for by in (by for by, comparable in PARTINGS.items() if comparable):
        parts = {v: part for v, part in _parts(facts, by).items() if v != NOT_KNOWN}
        if len(parts) >= 2:
            rows.append(_compared(measure, by, parts, level))
    return pd.DataFrame(rows, columns=list(COMPARISON_COLUMNS))


def broods_of(facts: pd.DataFrame, measure: str) -> Group:
    """Return infected adults and adults, brood by brood."""
    counts = facts.groupby("brood_id", sort=False)[measure].agg(["sum", "size"])
    return group(counts["sum"].tolist(), counts["size"].tolist())


def _parts(facts: pd.DataFrame, by: str) -> dict[str, pd.DataFrame]:
    named: dict[Hashable, str] = {True: "yes", False: "no"}
    if by == "brood":
        # Two broods may have one name; those without any are adults on their own.
        with_brood = facts[facts["brood"].notna()]
        return {
            str(part["brood"].iloc[0]) + _tail(with_brood, part): part
            for _, part in with_brood.groupby("brood_id", sort=False)
        }
    values = facts[by].map(lambda value: NOT_KNOWN if value is None else named.get(value, value))
    return {str(value): part for value, part in facts.groupby(values, sort=True)}


def _tail(facts: pd.DataFrame, part: pd.DataFrame) -> str:
    """Tell broods of one name apart by the beginning of their ids."""
    alike = facts.loc[facts["brood"] == part["brood"].iloc[0], "brood_id"].nunique()
    return f" ({part['brood_id'].iloc[0][:8]})" if alike > 1 else ""


def _likeness(parts: list[pd.DataFrame], measure: str) -> float:
    return likeness([broods_of(part, measure) for part in parts if len(part)])


def _row(
    measure: str, by: str, value: str, part: pd.DataFrame, rho: float, level: float
) -> dict[str, Any]:
    one = broods_of(part, measure)
    infected, adults = int(one.events.sum()), int(one.sizes.sum())
    limits = (
        wilson(infected, adults, level)
        if by == "brood" or not adults
        else clustered_interval(one, rho, level)
    )
    return {
        "measure": measure,
        "by": by,
        "value": value,
        "broods": len(one.sizes),
        "adults": adults,
        "infected": infected,
        "share": infected / adults if adults else math.nan,
        "low": limits.low,
        "high": limits.high,
        "note": _small(adults, len(one.sizes), by),
    }


def _small(adults: int, broods: int, by: str) -> str:
    words = []
    if adults < SMALL_ADULTS:
        words.append(f"small number: {adults} adult{'' if adults == 1 else 's'}")
    if by != "brood" and broods == 1:
        words.append("one brood: says little of others")
    elif by != "brood" and broods < SMALL_BROODS:
        words.append(f"small number: {broods} broods")
    return "; ".join(words)


def _compared(
    measure: str, by: str, parts: dict[str, pd.DataFrame], level: float
) -> dict[str, Any]:
    groups = [broods_of(part, measure) for part in parts.values()]
    test = permute_clusters(groups)
    rho = likeness(groups)
    limits = [clustered_interval(one, rho, level) for one in groups]
    two = len(groups) == 2
    span = difference(groups[0].share, limits[0], groups[1].share, limits[1]) if two else None
    broods = [len(one.sizes) for one in groups]
    return {
        "measure": measure,
        "by": by,
        "values": " / ".join(parts),
        "broods": " / ".join(map(str, broods)),
        "adults": " / ".join(f"{one.total:.0f}" for one in groups),
        "difference": groups[0].share - groups[1].share if two else math.nan,
        "low": span.low if span else math.nan,
        "high": span.high if span else math.nan,
        "p": test.p,
        "least_p": test.least_p,
        "rao_scott_p": _rao_scott_p(groups),
        "note": _comparison_note(broods, test.least_p, level),
    }


def _rao_scott_p(groups: list[Group]) -> float:
    """Return the second test's p, or nan where it has nothing to go by."""
    if any(len(one.sizes) < 2 or not 0 < one.share < 1 for one in groups):
        return math.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        return rao_scott(groups).p


def _comparison_note(broods: list[int], least_p: float, level: float) -> str:
    words = []
    if min(broods) < SMALL_BROODS:
        words.append(f"small number: {min(broods)} brood{'' if min(broods) == 1 else 's'}")
    if min(broods) == 1:
        words.append("one brood on a side says little of others")
    if least_p > 1 - level:
        words.append("so few broods cannot show a difference, whatever there is")
    return "; ".join(words)
