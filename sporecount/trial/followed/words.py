"""What became of followed spores, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.followed.match import CROWDED, OUTSIDE, UNCLEAR
from sporecount.trial.outcomes.feeding import p_words
from sporecount.trial.outcomes.vanished import percent

FATE_WORDS = {
    "intact": "still intact",
    "damaged": "damaged",
    "fragment": "in pieces",
    "gone": "gone",
}
_WHY = {
    OUTSIDE: "at the edge or outside what both photos show",
    CROWDED: "too near to another to tell which is which",
    UNCLEAR: "with something in their place that is not called a spore",
}

#: From this share on, those that something took the place of are worth a warning.
MANY_UNCLEAR = 0.05

#: From this share of new spores on, they are more than what is usually missed.
MANY_NEW = 0.15


@dataclass(frozen=True)
class Figures:
    """What is said of one arm; see :class:`sporecount.trial.followed.fates.Fates`.

    ``control`` is the followed arm that it is compared with, ``planned`` the trial's control.
    """

    arm: str
    control: str | None
    slides: int
    fields: int
    left_out: int
    spores: int
    unmatched: Mapping[str, int]
    new: int
    found_before: float
    shares: Mapping[str, tuple[float, float, float]]
    by_people: bool
    harmed: Comparison
    planned: str | None


def fate_words(figures: Figures) -> tuple[str, ...]:
    """Return what became of the spores of an arm, in sentences."""
    lines = []
    if figures.spores:
        told = ", ".join(
            f"{_percent(share)} {FATE_WORDS[fate]}{_limits(low, high)}"
            for fate, (share, low, high) in figures.shares.items()
        )
        how = "" if figures.by_people else ", with misreading allowed for"
        lines.append(
            f"The same spores, before and after: of {figures.spores} that were intact, on "
            f"{_several(figures.slides, 'slide')}, {told}{how}."
        )
        lines += _against(figures)
    lines += _not_known(figures)
    return tuple(lines)


def _against(figures: Figures) -> list[str]:
    harmed = figures.harmed
    if figures.control is None:
        if figures.planned is not None and figures.arm != figures.planned:
            return [
                f"No spores of {figures.planned!r} were followed, so nobody can tell how many "
                "would be damaged or gone without the agent."
            ]
        return []
    if math.isnan(harmed.p_value):
        return ["With one slide in an arm followed spores cannot be compared."]
    p = harmed.p_value if math.isnan(harmed.p_adjusted) else harmed.p_adjusted
    lines = [
        f"Of the followed spores {percent(harmed.share)} were no longer called intact, "
        f"{_points(harmed.effect)} percentage points against {figures.control!r} "
        f"({_points(harmed.effect_low)} to {_points(harmed.effect_high)}; p {p_words(p)})."
    ]
    return lines


def _not_known(figures: Figures) -> list[str]:
    lines = []
    lost = sum(figures.unmatched.values())
    if lost:
        why = "; ".join(f"{n} {_WHY[name]}" for name, n in figures.unmatched.items() if n)
        changed = (
            ". Those have mostly changed, so that fewer may be intact than is said"
            if figures.unmatched[UNCLEAR] >= MANY_UNCLEAR * max(figures.spores, 1)
            else ""
        )
        lines.append(f"{lost} more could not be matched: {why}{changed}.")
    if figures.left_out:
        every = figures.left_out + figures.fields
        lines.append(
            f"{figures.left_out} of {_several(every, 'field')} left out: the photos could not be "
            "laid on each other with certainty. Fields that changed most are the likeliest to be."
        )
    missed = 1 - figures.found_before
    if figures.new and missed > MANY_NEW:
        lines.append(
            f"{_several(figures.new, 'spore')} found afterwards had not been found before, "
            f"{_percent(missed)} of those found: more than are usually missed. Spores were carried "
            "in, or the photos before were poorer."
        )
    return lines


def _limits(low: float, high: float) -> str:
    return "" if math.isnan(low) else f" ({round(100 * max(low, 0.0))} to {_percent(high)})"


def _percent(share: float) -> str:
    """Return a share in whole percent: corrected ones are not known any better."""
    return f"{round(100 * share)} %"


def _points(share: float) -> str:
    return f"{round(100 * share):+d}"


def _several(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
