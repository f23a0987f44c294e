"""The feeding test: whether caterpillars fed treated spores become infected adults."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sporecount.statistics.proportions import Interval, exact

#: In a control with fewer infected, the spores or the feeding were weak (common practice, no
#: source); with none infected the test says nothing.
LEAST_INFECTED_IN_CONTROL = 0.5


@dataclass(frozen=True)
class Feeding:
    """Adults that had been fed spores of one arm.

    Attributes
    ----------
    fed, adults, infected : int
        Caterpillars fed, adults looked at, and infected ones among these.
    share, low, high : float
        Infected among adults, with exact limits; nan where there is no adult.
    at_most : float
        Upper limit on one side: with none infected about three over the adults [hanley1983].
    control_adults, control_infected : int
        Of the control; 0 where there is none.
    p_value : float
        Of Fisher's exact test against the control; nan where there is none.
    valid : bool or None
        Whether the control did become infected; None where there is no control, or for it.
    fewer : bool
        Whether significantly fewer adults were infected than in a valid control.
    sentences : tuple of str
        What that means.
    """

    fed: int
    adults: int
    infected: int
    share: float
    low: float
    high: float
    at_most: float
    control_adults: int
    control_infected: int
    p_value: float
    valid: bool | None
    fewer: bool
    sentences: tuple[str, ...]


def rule_of_three(adults: int, level: float = 0.95) -> float:
    """Return the exact upper limit, on one side, of a share of which none was seen [hanley1983].

    About ``3 / adults``.

    Examples
    --------
    >>> round(rule_of_three(20), 4)
    0.1391
    """
    return 1.0 if adults <= 0 else float(1 - (1 - level) ** (1 / adults))


def judge_feeding(
    feeding: pd.DataFrame,
    arm: str,
    control: str | None,
    *,
    level: float = 0.95,
    alpha: float = 0.05,
) -> Feeding | None:
    """Judge the feeding test of one arm.

    Parameters
    ----------
    feeding : DataFrame
        Columns ``arm``, ``fed``, ``adults``, ``infected``; several rows of an arm are added up.
    arm, control : str
        Names of arms; a control of None or the arm itself: no comparison.
    level, alpha : float
        Confidence level, and chance of a false alarm.

    Returns
    -------
    Feeding or None
        None where the arm was not fed.

    Examples
    --------
    >>> table = pd.DataFrame({"arm": ["water", "lamp"], "fed": [22, 21], "adults": [20, 20],
    ...                       "infected": [18, 0]})
    >>> lamp = judge_feeding(table, "lamp", "water")
    >>> print(lamp.sentences[0])
    Feeding test: none of 20 adults infected; that still allows up to 14 %.
    """
    own = feeding[feeding["arm"] == arm]
    if not len(own):
        return None
    fed, adults, infected = (int(own[name].sum()) for name in ("fed", "adults", "infected"))
    against = feeding[feeding["arm"] == control] if control not in (None, arm) else own[:0]
    other = (int(against["adults"].sum()), int(against["infected"].sum()))
    p_value = fisher_p((infected, adults), (other[1], other[0]))
    valid = None if other[0] == 0 else other[1] > 0
    share = infected / adults if adults else math.nan
    fewer = bool(valid and p_value < alpha and share < other[1] / other[0])
    limits = exact(infected, adults, level) if adults else Interval(math.nan, math.nan)
    at_most = exact(infected, adults, 2 * level - 1).high if adults else math.nan
    lines = [_seen(infected, adults, limits, at_most)]
    if fed > adults:
        lines.append(
            f"{fed - adults} of {fed} fed never became adults that were looked at; what they "
            "carried is not known."
        )
    if valid is not None:
        lines += _against(infected, adults, other, p_value, fewer, alpha)
    if "batch" in own and own["batch"].nunique() > 1:
        lines.append(
            "Caterpillars reared together may be alike (infected by each other): the limits "
            "take them for independent."
        )
    return Feeding(
        fed, adults, infected, share, *limits, at_most, *other, p_value, valid, fewer,
        tuple(lines),
    )  # fmt: skip


def fisher_p(one: tuple[int, int], other: tuple[int, int]) -> float:
    """Return p of Fisher's exact test, two-sided, of two ``(infected, adults)``.

    Examples
    --------
    >>> round(fisher_p((3, 4), (1, 4)), 7)
    0.4857143
    """
    if not (one[1] and other[1]):
        return math.nan
    from scipy.stats import fisher_exact

    table = np.array([[part, whole - part] for part, whole in (one, other)])
    return float(fisher_exact(table).pvalue)


def _seen(infected: int, adults: int, limits: Interval, at_most: float) -> str:
    if not adults:
        return "Feeding test: no adult was looked at, so nothing is known."
    if not infected:
        return (
            f"Feeding test: none of {_adults(adults)} infected; that still allows up to "
            f"{100 * at_most:.0f} %."
        )
    return (
        f"Feeding test: {infected} of {_adults(adults)} infected, {100 * infected / adults:.0f} % "
        f"({100 * limits.low:.0f} to {100 * limits.high:.0f} %)."
    )


def _against(
    infected: int, adults: int, control: tuple[int, int], p_value: float, fewer: bool, alpha: float
) -> list[str]:
    whole, part = control
    seen = f"{part} of {whole} in the control"
    if not part:
        return [
            f"The test is not valid: {seen} became infected, so the spores or the feeding did not "
            "work, and nothing follows for the agent."
        ]
    lines = []
    if part / whole < LEAST_INFECTED_IN_CONTROL:
        lines.append(f"A weak test: only {seen} became infected.")
    if not adults:
        return lines
    if fewer:
        lines.append(f"Fewer than {seen} (Fisher's exact test, p {p_words(p_value)}).")
    elif p_value < alpha:
        lines.append(f"More than {seen} (Fisher's exact test, p {p_words(p_value)}).")
    else:
        lines.append(
            f"That is not surely different from {seen} (Fisher's exact test, "
            f"p {p_words(p_value)}); it is no proof that they are the same."
        )
    return lines


def _adults(number: int) -> str:
    return f"{number} adult" + ("" if number == 1 else "s")


def p_words(p_value: float) -> str:
    """Return p as it is printed: never 0.

    Examples
    --------
    >>> p_words(0.0312), p_words(2e-7)
    ('= 0.031', 'below 0.001')
    """
    return "below 0.001" if p_value < 0.001 else f"= {p_value:.2g}"
