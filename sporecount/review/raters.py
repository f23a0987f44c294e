"""How well people agree with each other and with the tool, told from what they counted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from sporecount.counts.loadclass import load_class
from sporecount.detect.table import SPORE_STATES
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.review.errors import ReviewError
from sporecount.review.record import Review
from sporecount.review.reviewed import everything, is_closed
from sporecount.review.tally import is_tally, tools_count
from sporecount.statistics.agreement import (
    Concordance,
    Kappa,
    Limits,
    concordance,
    cross_table,
    limits_of_agreement,
    weighted_kappa,
)

#: The tool, among the raters.
TOOL = "the tool"

#: Fewer photos of two raters are only listed.
LEAST_PHOTOS = 3

#: With fewer photos than this the figures are said to be uncertain (common practice, no source).
FEW_PHOTOS = 15

#: Words for a kappa, by its least value [landiskoch1977]: a convention that depends on how
#: common the classes are; the first from memory.
_WORDS = (
    (0.81, "almost perfect"),
    (0.61, "substantial"),
    (0.41, "moderate"),
    (0.21, "fair"),
    (0.0, "slight"),
    (-math.inf, "poor"),
)


@dataclass(frozen=True)
class CountBy:
    """What one rater counted on one photo.

    Attributes
    ----------
    photo, sha256 : str
        The photo.
    rater : str
        A person, or ``TOOL``.
    spores : int
        The count.
    is_blind : bool
        Whether it was made without the tool's marks in view.
    """

    photo: str
    sha256: str
    rater: str
    spores: int
    is_blind: bool


@dataclass(frozen=True, eq=False)
class PairAgreement:
    """How well two raters agree.

    Attributes
    ----------
    first, second : str
        The raters.
    photos : tuple of str
        Those that both counted.
    counts : ndarray, shape (k, 2)
        Their counts.
    same_class : int
        Photos of the same load class.
    kappa : Kappa
        On load classes, weighted by how many classes apart.
    limits : Limits
        Of second less first.
    ratio : tuple of float or None
        Limits of second over first, where both counted some; None for fewer than 5 such.
    concordance : Concordance
        Of the counts.
    is_blind : bool
        Whether all counts of people were made blind.
    level : float
        Confidence level of all limits.
    """

    first: str
    second: str
    photos: tuple[str, ...]
    counts: np.ndarray
    same_class: int
    kappa: Kappa
    limits: Limits
    ratio: tuple[float, float, float] | None
    concordance: Concordance
    is_blind: bool
    level: float

    def as_row(self) -> dict[str, Any]:
        """Return one row of a table."""
        low, middle, high = self.ratio or (math.nan,) * 3
        return {
            "first": self.first,
            "second": self.second,
            "photos": len(self.photos),
            "blind": self.is_blind,
            "same_class": self.same_class,
            "kappa": self.kappa.kappa,
            "kappa_low": self.kappa.low,
            "kappa_high": self.kappa.high,
            "difference": self.limits.bias,
            "difference_low": self.limits.low,
            "difference_high": self.limits.high,
            "ratio": middle,
            "ratio_low": low,
            "ratio_high": high,
            "concordance": self.concordance.concordance,
            "concordance_low": self.concordance.low,
            "concordance_high": self.concordance.high,
        }

    def as_text(self) -> str:
        """Return what it means, as sentences."""
        n = len(self.photos)
        blind = "blind" if self.is_blind else "not all blind"
        lines = [f"{self.first} and {self.second}: {n} photos that both counted, {blind}."]
        lines.append(f"Load class: the same on {self.same_class} of {n}; {_kappa(self.kappa)}")
        lines.append(_difference(self))
        lines.append(_concordance(self.concordance))
        if not self.is_blind:
            lines.append(
                "With the tool's marks in view people agree more, with it and with each other, "
                "than they would alone."
            )
        if n < FEW_PHOTOS:
            lines.append(f"{n} photos tell little: count more of them before you rest on this.")
        return "\n".join(lines)


def counts_by_people(reviews: Iterable[Review]) -> list[CountBy]:
    """Return what people counted on photos that they finished, and what the tool had said.

    A blind count goes before a review of the same person and photo.
    """
    found: dict[tuple[str, str], CountBy] = {}
    for review in sorted(reviews, key=lambda one: not is_tally(one)):
        if not is_closed(review.actions):
            continue
        rows = everything(review.counted.detections, review.actions)
        spores = int((rows["standing"] & rows["state"].isin(SPORE_STATES)).sum())
        who, sha256 = review.who or "somebody", review.sha256
        mine = CountBy(review.photo, sha256, who, spores, is_tally(review))
        found.setdefault((sha256, who), mine)
        tool = tools_count(review)
        if tool is not None:
            found.setdefault((sha256, TOOL), CountBy(review.photo, sha256, TOOL, tool, True))
    return list(found.values())


def agreement(
    counts: Sequence[CountBy],
    *,
    level: float = 0.95,
    class_lower_bounds: Sequence[int] = LOAD_CLASS_LOWER_BOUNDS,
) -> list[PairAgreement]:
    """Compare each two raters on the photos that both counted.

    Parameters
    ----------
    counts : sequence of CountBy
        One for each photo and rater.
    level : float
        Confidence level, between 0 and 1.
    class_lower_bounds : sequence of int
        Smallest count of each load class.

    Raises
    ------
    ReviewError
        If no two raters counted enough of the same photos.
    """
    by_rater: dict[str, dict[str, CountBy]] = {}
    for one in counts:
        by_rater.setdefault(one.rater, {})[one.sha256] = one
    people = sorted(name for name in by_rater if name != TOOL)
    pairs = [*combinations(people, 2), *((who, TOOL) for who in people if TOOL in by_rater)]
    found = []
    for first, second in pairs:
        both = sorted(set(by_rater[first]) & set(by_rater[second]))
        if len(both) >= LEAST_PHOTOS:
            mine, theirs = ([by_rater[who][sha] for sha in both] for who in (first, second))
            found.append(_compare(mine, theirs, level, class_lower_bounds))
    if not found:
        raise ReviewError(
            f"counts of {len(people)} people",
            f"no two raters counted {LEAST_PHOTOS} of the same photos to the end",
            "let two people count the same photos blind, and finish each",
        )
    return found


def agreement_table(found: Sequence[PairAgreement]) -> pd.DataFrame:
    """Return one row for each pair."""
    return pd.DataFrame([pair.as_row() for pair in found])


def with_tool(counts: Sequence[CountBy], photos: Sequence[Mapping[str, Any]]) -> list[CountBy]:
    """Put the tool's counts from rows of ``photos.csv`` in place of those kept with tallies."""
    tools = {
        str(row["sha256"]): CountBy(str(row["photo"]), str(row["sha256"]), TOOL, spores, True)
        for row in photos
        if (spores := _whole(row.get("spores"))) is not None and not row.get("review")
    }
    kept = [one for one in counts if one.rater != TOOL or one.sha256 not in tools]
    return [*kept, *tools.values()]


def _whole(value: Any) -> int | None:
    try:
        return int(float(value))
    except (TypeError, ValueError):
        return None


def _compare(
    one: Sequence[CountBy], other: Sequence[CountBy], level: float, bounds: Sequence[int]
) -> PairAgreement:
    counts = np.array([(a.spores, b.spores) for a, b in zip(one, other, strict=True)], float)
    mine, theirs = ([load_class(each.spores, bounds) for each in rater] for rater in (one, other))
    return PairAgreement(
        one[0].rater,
        other[0].rater,
        tuple(each.photo for each in one),
        counts,
        sum(a == b for a, b in zip(mine, theirs, strict=True)),
        weighted_kappa(cross_table(mine, theirs, range(len(bounds))), level=level),
        limits_of_agreement(counts[:, 1], counts[:, 0], level),
        _ratio(counts, level),
        concordance(counts[:, 0], counts[:, 1], level),
        all(each.is_blind for each in (*one, *other)),
        level,
    )


def _ratio(counts: np.ndarray, level: float) -> tuple[float, float, float] | None:
    """Return low limit, middle and high limit of second over first, where both counted some."""
    some = counts[(counts > 0).all(1)]
    if len(some) < 5:
        return None
    logs = limits_of_agreement(np.log(some[:, 1]), np.log(some[:, 0]), level)
    return math.exp(logs.low), math.exp(logs.bias), math.exp(logs.high)


def _kappa(found: Kappa) -> str:
    if math.isnan(found.kappa):
        return "all are of one class, which says nothing of agreement beyond chance."
    word = next(word for least, word in _WORDS if round(found.kappa, 2) >= least)
    return (
        f"weighted kappa {found.kappa:.2f} ({found.low:.2f} to {found.high:.2f}), which is called "
        f"{word}."
    )


def _difference(pair: PairAgreement) -> str:
    limits = pair.limits
    told = (
        f"Count: {pair.second} {_more(limits.bias)} on average "
        f"({limits.bias_limits.low:+.1f} to {limits.bias_limits.high:+.1f}); "
        f"{100 * pair.level:g} % of differences are expected between {limits.low:+.1f} and "
        f"{limits.high:+.1f}"
    )
    if pair.ratio is not None:
        low, _, high = pair.ratio
        told += f", or where both found some between {low:.2f} and {high:.2f} times as many"
    return f"{told}."


def _more(bias: float) -> str:
    if abs(bias) < 0.05:
        return "counts the same"
    return f"counts {abs(bias):.1f} {'more' if bias > 0 else 'fewer'}"


def _concordance(found: Concordance) -> str:
    if math.isnan(found.concordance):
        return "Concordance: all counts are one number, so there is none."
    limits = "" if math.isnan(found.low) else f" ({found.low:.3f} to {found.high:.3f})"
    return (
        f"Concordance of the counts {found.concordance:.3f}{limits}: 1 where each photo has the "
        "same count by both."
    )
