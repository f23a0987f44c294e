"""What is done elsewhere: practices that conflict, side by side, and where a bath stands."""

from __future__ import annotations

from dataclasses import dataclass

from sporecount.bath.dilution import Dilution
from sporecount.bath.strength import PPM_PER_PERCENT
from sporecount.literature import (
    EGG_BATH_LONG_PERCENT_BY_VOLUME,
    EGG_BATH_LONG_S,
    EGG_BATH_SHORT_PERCENT_BY_VOLUME,
    EGG_BATH_SHORT_S,
    HOUSEHOLD_BLEACH_PERCENT,
)


@dataclass(frozen=True)
class Practice:
    """One way that eggs are treated.

    Attributes
    ----------
    name : str
        What it is called here.
    percent_by_volume, seconds : float or None
        Household bleach by volume, and contact; None where there is no bath.
    rinse : str
        What follows.
    standing : str
        How well it is founded.
    """

    name: str
    percent_by_volume: float | None
    seconds: float | None
    rinse: str
    standing: str


PRACTICES: tuple[Practice, ...] = (
    Practice(
        "weak and long",
        EGG_BATH_LONG_PERCENT_BY_VOLUME,
        EGG_BATH_LONG_S,
        "two rinses of 5 minutes",
        "a programme's page",
    ),
    Practice(
        "strong and short",
        EGG_BATH_SHORT_PERCENT_BY_VOLUME,
        EGG_BATH_SHORT_S,
        "rinse at once",
        "common practice, no source",
    ),
    Practice("no bath", None, None, "none", "a current programme's page advises against baths"),
)

#: Rounding of a person who measures 5 mL is not a warning.
_SLACK = 1.02


def warnings_for(bath: Dilution, seconds: float | None = None) -> list[str]:
    """Return what is unusual about a bath; empty where it is within what is done.

    The practices say percent of household bleach by volume and not its strength.
    So a bath is held against them twice: by volume, and by its sodium hypochlorite
    against that of the same share of household bleach, 5.25 to 6.15 % [cdc2008].

    Parameters
    ----------
    bath : Dilution
        What goes into the bath.
    seconds : float, optional
        Contact, s; where it is not known, only the strength is spoken of.

    Returns
    -------
    list of str
        Sentences. "Too strong" and "too long" speak of the egg's shell, the others
        of spores that may live on. Neither says that any bath is safe.
    """
    weakest_label, strongest_label = HOUSEHOLD_BLEACH_PERCENT
    most_ppm = EGG_BATH_SHORT_PERCENT_BY_VOLUME / 100 * strongest_label * PPM_PER_PERCENT
    least_ppm = EGG_BATH_LONG_PERCENT_BY_VOLUME / 100 * weakest_label * PPM_PER_PERCENT
    strong = bath.percent_by_volume > EGG_BATH_SHORT_PERCENT_BY_VOLUME * _SLACK
    rich = bath.ppm > most_ppm * _SLACK
    found = []
    if strong or rich:
        found.append(
            f"Stronger than what is usual for eggs (at most "
            f"{EGG_BATH_SHORT_PERCENT_BY_VOLUME:g} % by volume of household bleach, "
            f"{most_ppm:.0f} ppm): it can dissolve the shell and kill the egg."
        )
    if bath.ppm * _SLACK < least_ppm:
        found.append(
            f"Weaker than what is usual (from {EGG_BATH_LONG_PERCENT_BY_VOLUME:g} % by volume "
            f"of household bleach, {least_ppm:.0f} ppm): spores may live on."
        )
    return found if seconds is None else found + _about_time(bath, seconds, strong or rich)


def _about_time(bath: Dilution, seconds: float, too_strong: bool) -> list[str]:
    longest = _longest_usual_s(bath)
    if seconds > EGG_BATH_LONG_S * _SLACK and too_strong:
        return [f"Longer than what is usual at any strength (at most {EGG_BATH_LONG_S:g} s)."]
    if seconds > longest * _SLACK and not too_strong:
        return [
            f"Longer than what is usual at this strength (at most {longest:g} s): "
            "it can dissolve the shell and kill the egg."
        ]
    if seconds * _SLACK < EGG_BATH_SHORT_S:
        return [f"Shorter than what is usual (from {EGG_BATH_SHORT_S:g} s): spores may live on."]
    return []


def below_usual(percent_by_volume: float | None, seconds: float | None) -> bool:
    """Tell whether a bath on record was weaker or shorter than any practice here.

    Examples
    --------
    >>> below_usual(5.0, 60.0), below_usual(1.0, 60.0), below_usual(2.0, 30.0)
    (False, True, True)
    """
    weak = percent_by_volume is not None and (
        percent_by_volume * _SLACK < EGG_BATH_LONG_PERCENT_BY_VOLUME
    )
    short = seconds is not None and seconds * _SLACK < EGG_BATH_SHORT_S
    return weak or short


def _longest_usual_s(bath: Dilution) -> float:
    """Return the longest contact of those practices that are at least as strong as the bath."""
    strongest_label = HOUSEHOLD_BLEACH_PERCENT[1]
    weak_ppm = EGG_BATH_LONG_PERCENT_BY_VOLUME / 100 * strongest_label * PPM_PER_PERCENT
    weak = (
        bath.percent_by_volume <= EGG_BATH_LONG_PERCENT_BY_VOLUME * _SLACK
        and bath.ppm <= weak_ppm * _SLACK
    )
    return EGG_BATH_LONG_S if weak else EGG_BATH_SHORT_S
