"""What the log tells: prevalence, comparisons, a trend, and what to look at first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sporecount.counts.level import check_level
from sporecount.literature import HEAVILY_INFECTED_FROM_CLASS
from sporecount.rearing.errors import LogError
from sporecount.rearing.facts import Rows, adult_facts
from sporecount.rearing.hints import Hint, look_first
from sporecount.rearing.prevalence import SMALL_ADULTS, comparisons, prevalence
from sporecount.rearing.trend import Trend, month_trend

#: Which adults count as infected.
MEASURES = ("heavy", "any")


@dataclass(frozen=True, eq=False)
class Telling:
    """What the log tells.

    Attributes
    ----------
    heavy_from : int
        Smallest load class that counts as heavily infected.
    level : float
        Confidence level of all limits.
    facts : DataFrame
        One row for each adult whose class is known.
    prevalence, comparisons : DataFrame
        See :mod:`sporecount.rearing.prevalence`; for both measures.
    trends : dict of str to Trend
        Measure to its trend over months.
    hints : list of Hint
        What to look at first, for heavily infected adults if there are any.
    notes : list of str
        What to know before any of it is used.
    """

    heavy_from: int
    level: float
    facts: pd.DataFrame
    prevalence: pd.DataFrame
    comparisons: pd.DataFrame
    trends: dict[str, Trend]
    hints: list[Hint]
    notes: list[str]


def tell(
    rows: Rows, *, heavy_from: int = HEAVILY_INFECTED_FROM_CLASS, level: float = 0.95
) -> Telling:
    """Work out what a log tells.

    Parameters
    ----------
    rows : mapping
        As :meth:`sporecount.rearing.log.RearingLog.rows` returns them.
    heavy_from : int
        Smallest load class that counts as heavily infected.
    level : float
        Confidence level of all limits, between 0 and 1.

    Returns
    -------
    Telling

    Raises
    ------
    LogError
        If ``heavy_from`` is no class.
    ValueError
        If ``level`` is not between 0 and 1.
    """
    check_level(level)
    if heavy_from < 1:
        raise LogError(
            f"heavily infected from class {heavy_from}",
            "class 0 is no infection",
            "give a class from 1 up, such as 4",
        )
    facts = adult_facts(rows, heavy_from)
    judged = not facts.empty
    tables = [prevalence(facts, m, level) for m in MEASURES] if judged else []
    compared = [comparisons(facts, m, level) for m in MEASURES] if judged else []
    measure = "heavy" if judged and facts["heavy"].any() else "any"
    return Telling(
        heavy_from,
        level,
        facts,
        pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(),
        pd.concat([c for c in compared if len(c)] or compared[:1], ignore_index=True)
        if compared
        else pd.DataFrame(),
        {m: _trend(facts, m, level) for m in MEASURES} if judged else {},
        look_first(facts, measure),
        _notes(rows, facts, measure),
    )


def _trend(facts: pd.DataFrame, measure: str, level: float) -> Trend:
    month = facts["month"].map(lambda text: 12 * int(text[:4]) + int(text[5:7]))
    return month_trend(
        facts[measure].to_numpy(bool),
        month.to_numpy(float),
        np.asarray(pd.factorize(facts["brood_id"])[0]),
        level,
    )


def _notes(rows: Rows, facts: pd.DataFrame, measure: str) -> list[str]:
    notes = []
    left_out = len(rows["adults"]) - len(facts)
    if left_out:
        notes.append(f"{left_out} of {len(rows['adults'])} adults have no load class: left out.")
    loose = sum(sample["adult_id"] is None for sample in rows["samples"])
    if loose:
        notes.append(
            f"{loose} of {len(rows['samples'])} samples name no adult: left out. "
            "Put them right with `sporecount log sample change`."
        )
    if facts.empty:
        notes.append("No adult with a load class is in the log, so there is nothing to tell yet.")
        return notes
    if len(facts) < SMALL_ADULTS:
        notes.append(f"{len(facts)} adults are a small number: take all of this with caution.")
    if not facts["any"].any():
        notes.append("No adult is infected. That is no proof of clean stock; see the limits above.")
    elif measure == "any":
        notes.append(
            "No adult is heavily infected. A few spores may come by contact and not from the "
            "adult's own infection."
        )
    notes += [
        f"{words} is not known for {int(facts[column].isna().sum())} of {len(facts)} adults."
        for column, words in (
            ("plant", "The food plant"),
            ("washed", "Whether it was washed"),
            ("place", "Where they were kept"),
        )
        if facts[column].isna().any()
    ]
    return notes
