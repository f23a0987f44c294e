"""Slides and spores that a trial needs: published sample sizes, and made-up trials."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from sporecount.statistics.clusters import group, likeness
from sporecount.trial.design.formula import design_effect, sample_size, slides_by_formula
from sporecount.trial.design.needed import NEEDED_COLUMNS, needed_words, slides_needed
from sporecount.trial.design.simulate import (
    Supposed,
    draw_slides,
    power_of,
    slides_for,
    smallest_shown,
)
from sporecount.trial.errors import TrialError

Array = NDArray[np.float64]


def spore_test(broken: Array, spores: Array, other: Array, others: Array) -> Array:
    """Test as if spores were independent: pooled z, without correction for continuity."""
    n, m = spores.sum(-1), others.sum(-1)
    pooled = (broken.sum(-1) + other.sum(-1)) / (n + m)
    spread = np.sqrt(pooled * (1 - pooled) * (1 / n + 1 / m))
    apart = np.abs(broken.sum(-1) / n - other.sum(-1) / m)
    z = np.divide(apart, spread, out=np.zeros_like(apart), where=spread > 0)
    return np.asarray(2 * norm.sf(z))


# Fleiss, Tytun & Ury 1980 (Biometrics 36:343-346), two-sided 0.05: plain and corrected.
@pytest.mark.parametrize(
    ("shares", "power", "plain", "corrected"),
    [
        ((0.6, 0.7), 0.8, 355.94, 375.68),
        ((0.5, 0.7), 0.8, 93.00, 102.76),
        ((0.1, 0.2), 0.8, 198.96, 218.51),
        ((0.25, 0.40), 0.8, 151.87, 164.93),
        ((0.6, 0.7), 0.9, 476.01, 495.81),
        ((0.5, 0.7), 0.9, 124.00, 133.81),
        ((0.1, 0.2), 0.9, 265.86, 285.51),
        ((0.25, 0.40), 0.9, 202.81, 215.94),
    ],
)
def test_published_sample_sizes(
    shares: tuple[float, float], power: float, plain: float, corrected: float
) -> None:
    size = sample_size(*shares, power)
    assert size.plain == pytest.approx(plain, abs=0.006)
    assert size.corrected == pytest.approx(corrected, abs=0.006)
    assert sample_size(*shares[::-1], power) == pytest.approx(size)


def test_published_design_effects() -> None:
    # Kish 1965: 1 + (m - 1) rho.
    assert design_effect(10, 0.05) == pytest.approx(1.45)
    assert design_effect(20, 0.10) == pytest.approx(2.90)
    assert design_effect(50, 0.0) == 1
    assert design_effect(50, 1.0) == 50


def test_slides_by_formula_are_sample_size_times_design_effect() -> None:
    # By hand: 102.76 spores, 50 a slide, rho .1: 102.76 * 5.9 / 50 = 12.13.
    assert slides_by_formula(0.5, 0.7, 0.1, 50) == 13
    # All spores of a slide the same: as many slides as independent spores.
    assert slides_by_formula(0.5, 0.7, 1.0, 50) == 103


def test_made_up_slides_have_the_share_and_the_likeness_asked_for() -> None:
    rng = np.random.default_rng(1)
    for icc in (0.0, 0.1, 0.3, 1.0):
        broken = draw_slides(0.3, Supposed(0.3, 0.1, icc, 40), 4000, 1, rng)[0]
        assert broken.mean() / 40 == pytest.approx(0.3, abs=0.03)
        assert likeness([group(broken.tolist(), [40] * 4000)]) == pytest.approx(icc, abs=0.02)


@pytest.mark.parametrize(("base", "other", "spores"), [(0.5, 0.7, 93), (0.25, 0.40, 152)])
def test_independent_spores_reach_the_power_of_the_published_size(
    base: float, other: float, spores: int
) -> None:
    # One slide of each arm holds all spores; 3 standard errors of 8000 trials are 0.013.
    supposed = Supposed(base, other - base, 0.0, spores)
    power = power_of(supposed, 1, test=spore_test, trials=8000)
    assert power == pytest.approx(0.80, abs=0.02)


def test_spores_that_are_alike_fool_a_test_that_ignores_it_and_not_the_own_test() -> None:
    nothing = Supposed(0.2, 0.0, 0.2, 50)
    assert power_of(nothing, 4, test=spore_test) > 0.3
    assert power_of(nothing, 4) <= 0.06


def test_fewest_slides_reach_the_power_and_one_less_does_not() -> None:
    supposed = Supposed(0.1, 0.4, 0.1, 50)
    slides, power = slides_for(supposed)
    assert slides is not None
    assert power == power_of(supposed, slides) >= 0.8
    assert power_of(supposed, slides - 1) < 0.8


def test_what_no_number_of_slides_reaches_is_said_to_be_so() -> None:
    table = slides_needed(0.1, 0.05, 0.3, 20, trials=300)
    assert table["slides"].isna().all()
    assert table["power"][0] < 0.8
    words = needed_words(table, 0.1, 0.05, 0.8, 0.05, 1)
    assert "no (" in words
    assert "not with 30 slides an arm" in words


def test_the_table_has_a_row_for_each_likeness_and_number_of_spores() -> None:
    table = slides_needed(0.1, 0.4, (0.02, 0.3), (20, 80), arms=3, trials=500)
    assert tuple(table) == tuple(NEEDED_COLUMNS)
    assert list(zip(table["icc"], table["spores_per_slide"])) == [
        (0.02, 20),
        (0.02, 80),
        (0.3, 20),
        (0.3, 80),
    ]
    assert (
        table["spores_per_arm"].tolist() == (table["slides"] * table["spores_per_slide"]).tolist()
    )
    # Where spores are very alike, four times as many of them save hardly a slide.
    assert table["slides"][2] - table["slides"][3] <= 2
    assert table["slides"][2] > table["slides"][0]
    one = slides_needed(0.1, 0.4, 0.3, 20, arms=1, trials=500)
    assert one["slides"][0] <= table["slides"][2]


def test_the_words_hold_the_numbers() -> None:
    table = slides_needed(0.1, 0.4, trials=300)
    words = needed_words(table, 0.1, 0.4, 0.8, 0.05, 1)
    assert "50 of 100 spores are broken, where 10 of 100" in words
    assert f"{int(table['slides'].iloc[0])} (" in words
    assert str(math.ceil(sample_size(0.1, 0.5).corrected)) in words
    assert max(map(len, words.splitlines())) <= 100


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: sample_size(0.2, 0.2), "they lie between 0 and 1 and differ"),
        (lambda: sample_size(0.2, 0.4, 1.0), "power 1: it lies between 0 and 1"),
        (lambda: sample_size(0.2, 0.4, 0.8, 0), "alpha 0: it lies between 0 and 1"),
        (lambda: design_effect(0, 0.1), "at least one spore"),
        (lambda: design_effect(10, 1.1), "the correlation lies between 0 and 1"),
        (lambda: slides_needed(0.9, 0.2), "both shares lie between 0 and 1. Ask for a smaller"),
        (lambda: slides_needed(0.1, 0.2, arms=0), "there is at least one"),
    ],
)
def test_impossible_plans_are_refused(wrong: object, said: str) -> None:
    assert callable(wrong)
    with pytest.raises(TrialError, match=said):
        wrong()


def test_smallest_effect_shown_is_where_the_power_is_reached() -> None:
    supposed = Supposed(0.1, 0.0, 0.1, 50)
    smallest = smallest_shown(supposed, 4)
    assert smallest is not None
    shown = power_of(Supposed(0.1, smallest, 0.1, 50), 4)
    assert 0.8 <= shown < 0.87
    more = smallest_shown(supposed, 8)
    assert more is not None
    assert more < smallest - 0.05


def test_one_spore_on_two_slides_shows_nothing() -> None:
    assert smallest_shown(Supposed(0.1, 0.0, 0.1, 1), 2) is None
