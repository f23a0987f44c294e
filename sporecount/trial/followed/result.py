"""What became of followed spores: the values that judging them gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sporecount.trial.compare.comparison import Comparison


@dataclass(frozen=True)
class FateShare:
    """Share of one fate.

    Attributes
    ----------
    spores : int
        With that fate, on all slides.
    share, low, high : float
        Mean of the slides' shares as seen, and limits for slides like these.
    corrected, corrected_low, corrected_high : float
        With misreading allowed for; the same where nothing was misread.
    """

    spores: int
    share: float
    low: float
    high: float
    corrected: float
    corrected_low: float
    corrected_high: float


@dataclass(frozen=True)
class Fates:
    """What became of the spores of one arm that were intact before.

    Attributes
    ----------
    slides, fields, left_out : int
        Slides with followed spores; fields followed; fields left out because their photos
        could not be laid on each other with certainty.
    spores : int
        Spores that were intact before and have a fate.
    unmatched : mapping of str to int
        Those that have none, and why.
    new : int
        Spores found after that were not found before.
    found_before : float
        Of the spores found after, the share that had been found before.
    shares : mapping of str to FateShare
        By fate.
    harmed : Comparison
        Share no longer intact, as seen, against the control's followed spores.
    sentences : tuple of str
        What that means.
    """

    slides: int
    fields: int
    left_out: int
    spores: int
    unmatched: Mapping[str, int]
    new: int
    found_before: float
    shares: Mapping[str, FateShare]
    harmed: Comparison
    sentences: tuple[str, ...] = ()

    def shows_harm(self, alpha: float) -> bool:
        """Return whether surely more are harmed than in the control."""
        return self.harmed.p_adjusted < alpha and self.harmed.effect > 0
