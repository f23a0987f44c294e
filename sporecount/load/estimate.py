"""The load of the whole tape: estimate, limits, chance of each class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sporecount.counts.loadclass import load_class
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.literature import TAPE_MM2
from sporecount.load.fields import Seen, seen_from
from sporecount.load.posterior import Posterior, posterior
from sporecount.settings import Settings

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

#: Rates for counts that a person checked spore by spore, on the marked copy or by eye.
CHECKED_BY_HAND = DetectorRates(
    recall_mean=1.0,
    recall_sd=0.0,
    false_per_mm2=0.0,
    measured_on="nothing: each spore was checked by a person, taken as right",
)

#: With fewer places than this the prior on clumping carries most of the width.
_FEW_PLACES = 4


@dataclass(frozen=True)
class TapeEstimate:
    """What is known of the spores on the whole tape.

    Attributes
    ----------
    fields : int
        Fields looked at.
    examined_mm2, tape_mm2 : float
        Area looked at, and area of the tape.
    spores : int
        Spores counted in the fields.
    tape_spores : float
        Spores on the tape: real ones among those counted, over the share found.
    tape_low, tape_high : int
        Limits of the number of spores on the tape, at ``level``.
    p_class : tuple of float
        Chance of each load class; they sum to 1.
    load_class : int
        The most likely class; of equally likely ones the heaviest.
    level : float
        Level of the limits.
    real_low : int
        Lower limit of the real spores among those counted: the tape holds them whatever
        the rest of it is like.
    notes : tuple of str
        What the reader should know of this estimate.
    """

    fields: int
    examined_mm2: float
    tape_mm2: float
    spores: int
    tape_spores: float
    tape_low: int
    tape_high: int
    p_class: tuple[float, ...]
    load_class: int
    level: float
    real_low: int = 0
    notes: tuple[str, ...] = ()

    def chance_from(self, load: int) -> float:
        """Return the chance of a class or a heavier one."""
        return float(sum(self.p_class[load:]))

    def as_row(self) -> dict[str, Any]:
        """Return the columns of ``samples.csv`` that this estimate fills."""
        row: dict[str, Any] = {
            "examined_mm2": self.examined_mm2,
            "spores": self.spores,
            "tape_mm2": self.tape_mm2,
            "tape_spores": self.tape_spores,
            "tape_low": self.tape_low,
            "tape_high": self.tape_high,
        }
        row.update({f"p_class_{load}": chance for load, chance in enumerate(self.p_class)})
        row["load_class"] = self.load_class
        return row


def estimate_tape(
    fields: pd.DataFrame,
    tape_mm2: float = TAPE_MM2,
    *,
    rates: DetectorRates | None = None,
    confidences: Sequence[ArrayLike] | None = None,
    settings: Settings | None = None,
) -> TapeEstimate:
    """Estimate the spores on the whole tape from the fields seen.

    Parameters
    ----------
    fields : DataFrame
        One row for each field, no part of the tape in two of them: ``photo``,
        ``examined_mm2``, ``spores``, and optionally ``group`` (fields with the same value
        touch or overlap, and count as one place).
    tape_mm2 : float
        Area of the whole tape.
    rates : DetectorRates, optional
        The detector's mistakes; those that come with the package by default, and
        ``CHECKED_BY_HAND`` for counts that a person put right.
    confidences : sequence of array_like, optional
        For each row, the chance of each detection to be a spore; used only where the
        rates say that confidences are calibrated.
    settings : Settings, optional
        ``load``, and level and class bounds from ``count``.

    Returns
    -------
    TapeEstimate
        Estimate, limits, classes.

    Raises
    ------
    LoadError
        If the table cannot be used or the fields are larger than the tape.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame(
    ...     {"photo": ["a", "b", "c", "d"], "examined_mm2": [2.5447] * 4, "spores": [4, 2, 5, 1]}
    ... )
    >>> tape = estimate_tape(table, 100.0, rates=CHECKED_BY_HAND)
    >>> round(tape.tape_spores, 1), tape.load_class
    (117.9, 4)
    """
    settings = settings or Settings()
    seen = seen_from(fields, tape_mm2, confidences)
    return estimate_seen(seen, rates or load_rates(), settings)


def estimate_seen(seen: Seen, rates: DetectorRates, settings: Settings) -> TapeEstimate:
    """Estimate the spores on the whole tape from fields already put together."""
    known = posterior(seen, rates, settings.load)
    level = settings.count.level
    tail = (1.0 - level) / 2.0
    chances = class_chances(known, settings.count.class_lower_bounds)
    by_real = known.weights.sum(axis=1)
    real = float((known.real * by_real).sum())
    rising = np.argsort(known.real)
    at_least = int(np.searchsorted(np.cumsum(by_real[rising]), tail))
    low, high = known.low(tail), known.high(tail)
    point = real / (seen.share * rates.recall_mean)
    heaviest_first = chances[::-1]
    return TapeEstimate(
        fields=seen.fields,
        examined_mm2=seen.examined_mm2,
        tape_mm2=seen.tape_mm2,
        spores=seen.total,
        tape_spores=min(max(point, float(low)), float(high)),
        tape_low=low,
        tape_high=high,
        p_class=tuple(float(chance) for chance in chances),
        load_class=len(chances) - 1 - int(np.argmax(np.round(heaviest_first, 9))),
        level=level,
        real_low=int(known.real[rising][min(at_least, len(rising) - 1)]),
        notes=seen.notes + _notes(seen, rates, known, low, high, chances, settings),
    )


def class_chances(known: Posterior, lower_bounds: tuple[int, ...]) -> np.ndarray:
    """Return the chance of each class, shape (classes,)."""
    below = [known.chance_up_to(bound - 1) for bound in lower_bounds[1:]]
    chances = np.clip(np.diff([0.0, *below, 1.0]), 0.0, 1.0)
    return chances / chances.sum()


def _notes(
    seen: Seen,
    rates: DetectorRates,
    known: Posterior,
    low: int,
    high: int,
    chances: np.ndarray,
    settings: Settings,
) -> tuple[str, ...]:
    notes = []
    if seen.total == 0:
        some = 1.0 - float(chances[0])
        notes.append(
            f"no spore seen is no zero: up to {high} may be on the tape (chance of any: {some:.1%})"
        )
    if seen.unseen_mm2 <= 1e-9 * seen.tape_mm2:
        notes.append("the whole tape was looked at: only the detector's mistakes are left")
    elif len(seen.areas_mm2) < _FEW_PLACES:
        notes.append("few places were looked at: how far spores clump is assumed, not seen")
    empty = float(known.weights[known.real == 0].sum())
    if seen.total and empty > settings.decision.risk_call:
        word = "the one" if seen.total == 1 else f"all {seen.total}"
        notes.append(f"{word} counted may be false ({empty:.0%}): look at the marked copies")
    if high >= known.most:
        notes.append(f"the upper limit is the most that is thought possible ({known.most})")
    bounds = settings.count.class_lower_bounds
    if load_class(low, bounds) == load_class(high, bounds):
        notes.append("both limits lie in one class")
    return tuple(notes)
