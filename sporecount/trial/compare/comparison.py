"""What is said of the broken share of one arm."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

#: How arms are compared, in words.
METHOD = (
    "each slide counts the same: mean share of slides, quasi-likelihood score test with "
    "Student's t, spores of one slide alike as the slides of both arms show"
)


@dataclass(frozen=True)
class Comparison:
    """The broken share of an arm, and its difference from the control's.

    Figures that nobody can know are nan, and ``notes`` says why.

    Attributes
    ----------
    share, low, high : float
        Mean of the slides' broken shares, and its limits for slides like these.
    effect, effect_low, effect_high : float
        Share of the arm less that of the control; nan for the control itself. The limits
        agree with the test: they leave out 0 exactly where ``p_value`` is small.
    p_value, p_adjusted : float
        Of no difference; the second allows for several arms [holm1979].
    method : str
        How, in words.
    icc : float
        How alike spores of one slide are (0: no more than others; 1: all alike), from the
        slides of the arm and of the control.
    naive_p : float
        What a test would say that takes spores for independent. For teaching only.
    abbott, abbott_low, abbott_high : float
        Share of the spores whole in the control that the agent broke [abbott1925].
    equivalent : bool or None
        Whether the difference was shown to be smaller than the margin [schuirmann1987];
        None where nothing can be shown.
    equivalence_low, equivalence_high : float
        The limits held against the margin.
    slides, without_spores : int
        Slides with spores, and without.
    pooled_share : float
        Broken among all spores of the arm, whatever the slide.
    permutation_p, least_p : float
        Exact test that deals the slides out anew, and the smallest p so few slides could
        give it, whatever they show.
    notes : tuple of str
        What can't be known, and what was left out.
    """

    share: float
    low: float
    high: float
    effect: float = nan
    effect_low: float = nan
    effect_high: float = nan
    p_value: float = nan
    p_adjusted: float = nan
    method: str = METHOD
    icc: float = nan
    naive_p: float = nan
    abbott: float = nan
    abbott_low: float = nan
    abbott_high: float = nan
    equivalent: bool | None = None
    equivalence_low: float = nan
    equivalence_high: float = nan
    slides: int = 0
    without_spores: int = 0
    pooled_share: float = nan
    permutation_p: float = nan
    least_p: float = nan
    notes: tuple[str, ...] = ()
