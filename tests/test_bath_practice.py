"""Warnings about unusual baths, and that conflicting advice stays in conflict."""

from __future__ import annotations

import pytest

from sporecount.bath.cautions import CAUTIONS, NO_RECIPE
from sporecount.bath.dilution import Dilution, dilute
from sporecount.bath.practice import PRACTICES, below_usual, warnings_for
from sporecount.bath.strength import parse_strength


def bath(want: str, label: float = 6.0) -> Dilution:
    return dilute(label, parse_strength(want), 100.0)


@pytest.mark.parametrize(("want", "seconds"), [("5+95", 60), ("2%v/v", 120), ("2%v/v", 60)])
def test_what_is_done_elsewhere_gives_no_warning(want: str, seconds: float) -> None:
    """5 + 95 mL for 60 s is common practice, no source; 2 % for 2 min is on a programme's page."""
    assert warnings_for(bath(want), seconds) == []


@pytest.mark.parametrize("label", [5.25, 6.0, 6.15])
def test_any_household_bleach_may_be_used(label: float) -> None:
    assert warnings_for(bath("5%v/v", label), 60) == []


@pytest.mark.parametrize(
    ("want", "label", "seconds", "said"),
    [
        ("6%v/v", 6.0, 60, "Stronger"),
        ("5%v/v", 8.25, 60, "Stronger"),  # a concentrated product, by the same spoon
        ("20%v/v", 6.0, 60, "Stronger"),
        ("5%v/v", 6.0, 120, "Longer than what is usual at this strength .at most 60 s"),
        ("2%v/v", 6.0, 180, "Longer than what is usual at this strength .at most 120 s"),
        ("2%v/v", 12.5, 120, "Longer than what is usual at this strength .at most 60 s"),
        ("1%v/v", 6.0, 60, "Weaker"),
        ("5%v/v", 1.0, 60, "Weaker"),
        ("5%v/v", 6.0, 30, "Shorter"),
    ],
)
def test_each_kind_of_unusual_bath_is_named_once(
    want: str, label: float, seconds: float, said: str
) -> None:
    import re

    found = warnings_for(bath(want, label), seconds)
    assert len(found) == 1
    assert re.match(said, found[0])


def test_shells_and_spores_are_spoken_of_where_each_matters() -> None:
    assert all("shell" in text for text in warnings_for(bath("10%v/v"), 60))
    assert all("spores may live on" in text for text in warnings_for(bath("1%v/v"), 30))
    assert len(warnings_for(bath("10%v/v"), 600)) == 2


def test_a_practice_without_a_bath_is_shown_among_the_others() -> None:
    assert any(practice.seconds is None for practice in PRACTICES)
    assert len({(p.percent_by_volume, p.seconds) for p in PRACTICES}) == len(PRACTICES) >= 3
    assert "no single right bath" in NO_RECIPE


@pytest.mark.parametrize(
    "word",
    ["ammonia", "acids", "window", "gloves", "eye", "fresh", "label", "reach of children", "rules"],
)
def test_the_usual_cautions_are_there(word: str) -> None:
    assert word in " ".join(CAUTIONS).lower()


def test_what_is_not_known_of_a_bath_is_not_below_the_usual() -> None:
    assert not below_usual(None, None)
    assert below_usual(None, 20.0)
    assert below_usual(1.0, None)
