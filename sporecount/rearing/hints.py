"""What to look at first when infection appears: places to look, not proofs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from sporecount.rearing.prevalence import SMALL_BROODS, broods_of
from sporecount.statistics.permutation import permute_clusters

#: A brood stands out below this chance, once for all broods together.
_ODD = 0.05


@dataclass(frozen=True)
class Hint:
    """One thing to look at.

    Attributes
    ----------
    what : str
        Short name: ``unwashed``, ``mixed``, ``bath``, ``near`` or ``brood``.
    words : str
        What was seen and what to do.
    excess : float
        Infected adults more than if these were infected as the others are; nan
        where there are no others.
    p : float
        Chance of such a difference by luck, with broods as the unit; nan where not told.
    """

    what: str
    words: str
    excess: float
    p: float


_ADVICE = {
    "unwashed": (
        "food plant that was not washed",
        "wash it, or grow it under a net where no adult can lay spores on it",
    ),
    "mixed": (
        "found caterpillars kept with eggs, or not apart",
        "keep found caterpillars in a room and with tools of their own",
    ),
    "bath": (
        "eggs not bathed, or bathed weaker or shorter than is usual",
        "advice on baths conflicts: see `sporecount bath` before you change it",
    ),
    "near": (
        "broods kept at the place of another brood with infected adults at the same time",
        "move clean stock away, clean cages and tools, handle infected animals last",
    ),
}


def look_first(facts: pd.DataFrame, measure: str) -> list[Hint]:
    """Return what to look at, the most telling first.

    Parameters
    ----------
    facts : DataFrame
        From :func:`sporecount.rearing.facts.adult_facts`.
    measure : {"heavy", "any"}
        Which adults count as infected.

    Returns
    -------
    list of Hint
        Ranked by how many infected adults there are more than if the condition
        made no difference; empty where no adult is infected. Many things go
        together in one household, so a hint names a suspect and not the cause.
    """
    if facts.empty or not facts[measure].any():
        return []
    conditions = {
        "unwashed": facts["washed"].map(lambda washed: None if washed is None else not washed),
        "mixed": _mixed(facts),
        "bath": _bath(facts),
        "near": _near(facts, measure),
    }
    hints = [_hint(what, facts, holds, measure) for what, holds in conditions.items()]
    hints += _odd_broods(facts, measure)
    found = [hint for hint in hints if hint is not None and not hint.excess <= 0]
    return sorted(found, key=lambda hint: (math.isnan(hint.excess), -hint.excess))


def _hint(what: str, facts: pd.DataFrame, holds: pd.Series, measure: str) -> Hint | None:
    known = holds.notna()
    there, elsewhere = facts[known & (holds == True)], facts[known & (holds == False)]  # noqa: E712
    infected = int(there[measure].sum())
    if not infected:
        return None
    name, advice = _ADVICE[what]
    seen = f"{infected} of {len(there)} adults infected"
    if elsewhere.empty:
        words = f"{name}: {seen}; no others to compare with. If in doubt, {advice}."
        return Hint(what, words, math.nan, math.nan)
    groups = [broods_of(there, measure), broods_of(elsewhere, measure)]
    p = permute_clusters(groups).p
    fewest = min(len(one.sizes) for one in groups)
    small = "; a small number of broods" if fewest < SMALL_BROODS else ""
    words = (
        f"{name}: {seen}, elsewhere {int(elsewhere[measure].sum())} of {len(elsewhere)} "
        f"(p = {p:.2g} with broods as the unit{small}). To do: {advice}."
    )
    excess = infected - len(there) * float(elsewhere[measure].mean())
    return Hint(what, words, excess, p)


def _mixed(facts: pd.DataFrame) -> pd.Series:
    """Tell which adults were kept with animals of the other source; None where not known."""
    loose = (facts["source"] == "mixed") | (
        (facts["source"] == "caterpillar") & (facts["kept_apart"] == False)  # noqa: E712
    )
    places = set(facts.loc[loose, "place"].dropna())
    holds = loose | facts["place"].isin(places)
    return holds.astype(object).where(facts["source"].notna(), None)


def _bath(facts: pd.DataFrame) -> pd.Series:
    """Tell which adults come from eggs with no bath or a poor one; None for caterpillars."""
    missing = (facts["bathed"] == False) | facts["bath_below_usual"].astype(bool)  # noqa: E712
    told = facts["bathed"].notna() & facts["source"].isin(["egg", "mixed"])
    return missing.astype(object).where(told, None)


def _near(facts: pd.DataFrame, measure: str) -> pd.Series:
    """Tell which adults had another brood with infected adults beside them."""
    broods = facts.drop_duplicates("brood_id").set_index("brood_id")
    has_infected = set(facts.loc[facts[measure], "brood_id"])
    beside: dict[str, bool | None] = {}
    for brood_id, brood in broods.iterrows():
        others = broods[(broods["place"] == brood["place"]) & broods.index.isin(has_infected)]
        beside[str(brood_id)] = (
            None
            if brood["place"] is None
            else any(
                _at_one_time(brood, other)
                for other_id, other in others.iterrows()
                if other_id != brood_id
            )
        )
    return facts["brood_id"].map(beside.get).astype(object)


def _at_one_time(brood: pd.Series, other: pd.Series) -> bool:
    """Tell whether two broods were kept at one time; days that are not known part nobody."""
    if None in (brood["begins"], brood["ends"], other["begins"], other["ends"]):
        return True
    return bool(brood["begins"] <= other["ends"] and other["begins"] <= brood["ends"])


def _odd_broods(facts: pd.DataFrame, measure: str) -> list[Hint]:
    from scipy.stats import hypergeom

    adults, infected = len(facts), int(facts[measure].sum())
    broods = facts["brood_id"].nunique()
    hints = []
    for _, part in facts[facts["brood"].notna()].groupby("brood_id", sort=False):
        own, rest = int(part[measure].sum()), adults - len(part)
        if own < 2 or not rest:
            continue
        chance = min(1.0, broods * float(hypergeom.sf(own - 1, adults, infected, len(part))))
        if chance < _ODD:
            words = (
                f"brood {part['brood'].iloc[0]} stands out: {own} of {len(part)} adults infected, "
                f"in all others {infected - own} of {rest}. Adults of a brood share mother and "
                "food: look at where its eggs and its food plant came from."
            )
            hints.append(Hint("brood", words, own - len(part) * (infected - own) / rest, chance))
    return hints
