"""The slides that a trial needs, as a table over what is not known beforehand."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from sporecount.trial.design.formula import design_effect, sample_size, slides_by_formula
from sporecount.trial.design.simulate import SlideTest, Supposed, own_test, slides_for
from sporecount.trial.errors import TrialError

#: Columns of the table and their types, in order.
NEEDED_COLUMNS: dict[str, str] = {
    "icc": "float64",
    "spores_per_slide": "int64",
    "design_effect": "float64",
    "slides_formula": "int64",
    "slides": "Int64",
    "power": "float64",
    "spores_per_arm": "Int64",
}

#: From hardly alike to very much alike: what nobody knows before the first trial.
USUAL_ICC = (0.02, 0.1, 0.3)

#: Most slides an arm that a person is asked for.
MOST_SLIDES = 30


def slides_needed(
    base: float,
    effect: float,
    icc: float | Sequence[float] = USUAL_ICC,
    spores_per_slide: int | Sequence[int] = (25, 50, 100),
    power: float = 0.8,
    alpha: float = 0.05,
    *,
    arms: int = 1,
    most: int = MOST_SLIDES,
    test: SlideTest = own_test,
    trials: int = 5000,
    seed: int = 1,
) -> pd.DataFrame:
    """Work out how many slides an arm show the effect, by formula and by simulation.

    Parameters
    ----------
    base : float
        Share of spores broken without treatment, 0 to 1.
    effect : float
        Smallest difference that matters, so that base plus effect is at most 1.
    icc : float or sequence of float
        Intraclass correlation: how much spores of one slide are alike.
    spores_per_slide : int or sequence of int
        Spores looked at on each slide.
    power : float
        Wanted chance to show the effect.
    alpha : float
        Chance of a false alarm that is accepted, in the whole trial.
    arms : int
        Treated arms: each is judged at ``alpha / arms``, which is on the safe side of
        the adjustment of real trials.
    most, test, trials, seed
        As for `sporecount.trial.design.simulate.slides_for`.

    Returns
    -------
    DataFrame
        Columns :data:`NEEDED_COLUMNS`, a row for each of ``icc`` and ``spores_per_slide``.
        ``slides`` (by simulation) and ``spores_per_arm`` are missing where not even
        ``most`` slides are enough; ``power`` is then that of ``most``.

    Examples
    --------
    >>> table = slides_needed(0.1, 0.3, 0.1, 50, trials=400)
    >>> int(table.loc[0, "slides_formula"])
    5
    """
    if arms < 1:
        raise TrialError(f"{arms} treated arms", "there is at least one", "plan an arm to try")
    rows = []
    for one in [icc] if isinstance(icc, (int, float)) else icc:
        for spores in [spores_per_slide] if isinstance(spores_per_slide, int) else spores_per_slide:
            supposed = Supposed(base, effect, one, spores)
            by_formula = slides_by_formula(base, base + effect, one, spores, power, alpha / arms)
            slides, reached = slides_for(
                supposed, power=power, alpha=alpha / arms, most=most, test=test, trials=trials,
                seed=seed,
            )  # fmt: skip
            rows.append(
                {
                    "icc": one,
                    "spores_per_slide": spores,
                    "design_effect": design_effect(spores, one),
                    "slides_formula": by_formula,
                    "slides": slides,
                    "power": reached,
                    "spores_per_arm": None if slides is None else slides * spores,
                }
            )
    return pd.DataFrame(rows, columns=list(NEEDED_COLUMNS)).astype(NEEDED_COLUMNS)


def needed_words(
    table: pd.DataFrame, base: float, effect: float, power: float, alpha: float, arms: int
) -> str:
    """Return the table as plain text, with what it means.

    Parameters
    ----------
    table : DataFrame
        From :func:`slides_needed`.
    base, effect, power, alpha, arms
        What it was made for.
    """
    independent = sample_size(base, base + effect, power, alpha / arms).corrected
    lines = [
        f"To see that {100 * (base + effect):.0f} of 100 spores are broken, where {100 * base:.0f} "
        f"of 100 are in the control,",
        f"in {100 * power:.0f} of 100 such trials ({_arms(arms)}, false alarms in at most "
        f"{100 * alpha:g} of 100):",
        "",
        "  slides an arm, if spores of one slide are",
        f"  {'spores a slide':>14}  " + "  ".join(f"{_alike(i):>20}" for i in _iccs(table)),
    ]
    for spores in table["spores_per_slide"].unique():
        own = table[table["spores_per_slide"] == spores].set_index("icc")
        cells = [_slides(own.loc[one]) for one in _iccs(table)]
        lines.append(f"  {spores:>14}  " + "  ".join(f"{cell:>20}" for cell in cells))
    lines += [
        "",
        f"If spores of one slide were no more alike than others, {math.ceil(independent)} spores "
        "an arm would do.",
        "They are alike, since they shared the same drop, tape and hand: more spores of one slide",
        "tell little then, and more slides help. The control needs as many slides as each arm.",
        "Worked out by making up trials and judging them as real ones are; in brackets the",
        "published formula, which supposes many slides.",
    ]
    if (table["slides"].fillna(MOST_SLIDES) <= 2).any():
        lines.append("Still plan 3 or more: two slides cannot tell how much slides differ.")
    if table["slides"].isna().any():
        lines.append(f'"no" means: not with {MOST_SLIDES} slides an arm. Ask for a larger effect.')
    return "\n".join(lines)


def _iccs(table: pd.DataFrame) -> list[float]:
    return [float(one) for one in table["icc"].unique()]


def _alike(icc: float) -> str:
    words = {0.02: "hardly alike", 0.1: "alike", 0.3: "very alike"}
    return f"{words[icc]} ({icc:g})" if icc in words else f"alike by {icc:g}"


def _slides(row: pd.Series) -> str:
    if pd.isna(row["slides"]):
        return f"no ({row['slides_formula']:.0f})"
    return f"{int(row['slides'])} ({int(row['slides_formula'])})"


def _arms(arms: int) -> str:
    return "one treated arm" if arms == 1 else f"{arms} treated arms"
