"""Who counted a trial's slides, and what a detector misreads."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from sporecount.trial.inputs import counted_by_detector
from sporecount.trial.misread import (
    LEAST_TELLING,
    MisreadRates,
    RateDraws,
    draw_rates,
    load_misread,
    no_error,
    rates_from_reviewed,
)
from sporecount.trial.outcomes.carry import DRAWS


@dataclass(frozen=True)
class Detector:
    """Who counted each arm, and what a detector misreads there.

    Attributes
    ----------
    draws : dict of str to RateDraws
        By arm, :data:`sporecount.trial.outcomes.carry.DRAWS` each; without error where
        people counted, and where the rates tell nothing.
    by_detector : set of str
        Arms that a detector counted.
    rates : MisreadRates or None
        None where it counted nothing.
    notes : tuple of str
        What is to be said of it.
    """

    draws: dict[str, RateDraws]
    by_detector: set[str]
    rates: MisreadRates | None
    notes: tuple[str, ...]

    @classmethod
    def of(
        cls, table: pd.DataFrame, given: MisreadRates | pd.DataFrame | None, seed: int
    ) -> Detector:
        """Return who counted a checked table of slides, with rates given or those that ship."""
        machine = counted_by_detector(table)
        arms = set(table.loc[machine, "arm"])
        plain: dict[str, RateDraws] = dict.fromkeys(table["arm"].unique(), no_error(DRAWS))
        if not arms:
            return cls(plain, arms, None, ())
        rates = rates_from_reviewed(given) if isinstance(given, pd.DataFrame) else given
        rates = rates or load_misread()
        notes = []
        mixed = arms & set(table.loc[~machine, "arm"])
        if mixed:
            notes.append(
                f"Some slides of {', '.join(sorted(mixed))} were reviewed and some not: their "
                "counts are all corrected as if none had been."
            )
        if rates.telling < LEAST_TELLING:
            notes.append(
                f"The detector calls {100 * rates.sensitivity:.0f} % of damaged spores damaged, "
                f"and {100 * (1 - rates.specificity):.0f} % of intact ones: it can't tell them "
                "apart, so nothing is corrected and nothing concluded from its counts."
            )
            return cls(plain, arms, rates, tuple(notes))
        drawn = draw_rates(rates, DRAWS, seed)
        return cls({**plain, **dict.fromkeys(arms, drawn)}, arms, rates, tuple(notes))

    def for_followed(
        self, fields: pd.DataFrame, given: MisreadRates | pd.DataFrame | None, seed: int
    ) -> dict[str, RateDraws]:
        """Return by arm what was misread of followed spores, whoever counted the slides.

        A detector followed them where the table names photos (``before``), unless it says
        in ``reviewed`` that a person looked them over.
        """
        machine = pd.Series("before" in fields, fields.index)
        if "reviewed" in fields:
            machine &= ~fields["reviewed"].fillna(False).astype(bool)
        arms = set(fields.loc[machine, "arm"])
        drawn: dict[str, RateDraws] = dict.fromkeys(fields["arm"].unique(), no_error(1))
        known = {arm: self.draws[arm] for arm in arms & self.by_detector}
        if arms - set(known):
            rates = rates_from_reviewed(given) if isinstance(given, pd.DataFrame) else given
            rates = rates or load_misread()
            if rates.telling >= LEAST_TELLING:
                known = {**dict.fromkeys(arms, draw_rates(rates, DRAWS, seed)), **known}
        return {**drawn, **known}

    def telling(self, arm: str) -> float:
        """Return how much of a difference between arms is seen, from 0 to 1."""
        if arm not in self.by_detector or self.rates is None:
            return 1.0
        return max(self.rates.telling, LEAST_TELLING)

    def can_read(self, arm: str) -> bool:
        """Return whether intact and damaged spores of an arm can be told apart at all."""
        return arm not in self.by_detector or (
            self.rates is not None and self.rates.telling >= LEAST_TELLING
        )
