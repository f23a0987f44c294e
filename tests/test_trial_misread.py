"""The detector's own error, and how doubt about it is carried through."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sporecount.trial.compare.arms import compare_arms
from sporecount.trial.errors import TrialError
from sporecount.trial.misread import (
    MisreadRates,
    draw_rates,
    load_misread,
    misread_from,
    no_error,
    rates_from_reviewed,
    rogan_gladen,
)
from sporecount.trial.outcomes.carry import DRAWS, Called, Carried, carry

TWO_STATES = MisreadRates(((9900, 100, 0, 0), (4000, 6000, 0, 0), (0, 0, 1000, 0)))


def test_rogan_and_gladen_against_published_examples() -> None:
    """Cows: 23 of 150, .96 and .89, give 5.1 per 100; stomach germ: 6 of 151, .964 and .927, give
    0; 20 of 120, .9 and .99, give .17603, and exact limits of the share seen, .1048785 and
    .2456, become .1066051 and .2647191 (documentation of the R packages epiR and RSurveillance,
    seen)."""
    assert float(rogan_gladen(23 / 150, 0.96, 0.89)) == pytest.approx(0.051, abs=5e-4)
    assert float(rogan_gladen(6 / 151, 0.964, 0.927)) == 0.0
    assert float(rogan_gladen(20 / 120, 0.9, 0.99)) == pytest.approx(0.17603, abs=5e-6)
    limits = rogan_gladen([0.1048785, 0.2456], 0.9, 0.99)
    assert limits == pytest.approx([0.1066051, 0.2647191], abs=5e-7)


def test_a_perfect_reader_changes_nothing_and_a_useless_one_is_refused() -> None:
    shares = np.array([0.0, 0.3, 1.0])
    assert rogan_gladen(shares, 1.0, 1.0) == pytest.approx(shares)
    with pytest.raises(TrialError, match="says nothing"):
        rogan_gladen(0.3, 0.5, 0.5)


def test_the_matrix_is_rogan_and_gladens_formula_where_there_are_two_states() -> None:
    rates = draw_rates(TWO_STATES, 5, 1)
    real = rates.true_numbers(np.tile([80.0, 20.0, 0.0], (5, 1)))[0]
    assert real[1] / real[:2].sum() == pytest.approx(float(rogan_gladen(0.2, 0.6, 0.99)))


def test_the_spread_of_draws_is_what_rogan_and_gladen_give() -> None:
    """Their variance for sensitivity and specificity from M and K known ones (formula from
    memory): (p^2 se(1-se)/M + (1-p)^2 sp(1-sp)/K) / (se+sp-1)^2, without that of the sample."""
    known = MisreadRates(((195, 5, 0, 0), (60, 140, 0, 0), (0, 0, 1, 0)))
    rates = draw_rates(known, 20_000, 2)
    real = rates.true_numbers(np.tile([700.0, 300.0, 0.0], (20_000, 1)))
    shares = real[:, 1] / real[:, :2].sum(1)
    se, sp = 0.7, 0.975
    p = float(rogan_gladen(0.3, se, sp))
    variance = (p**2 * se * (1 - se) / 200 + (1 - p) ** 2 * sp * (1 - sp) / 200) / (
        se + sp - 1
    ) ** 2
    # Draws allow for cells of the table that happen to be empty, and so are a little wider.
    assert shares.std() == pytest.approx(math.sqrt(variance), rel=0.1)
    assert shares[0] == pytest.approx(p)


def test_missed_and_false_ones_are_allowed_for() -> None:
    rates = MisreadRates(
        ((90, 0, 0, 10), (0, 90, 0, 10), (0, 0, 50, 50)), (0.0, 0.0, 50.0), "a test"
    )
    real = draw_rates(rates, 2, 1).true_numbers(np.array([[90.0, 9.0, 20.0]] * 2))[0]
    assert real == pytest.approx([100.0, 10.0, 20.0])


def test_the_rates_that_ship_say_what_they_were_measured_on() -> None:
    rates = load_misread()
    assert "rendered" in rates.measured_on
    assert 0.3 < rates.telling < 1
    assert rates.specificity > 0.95


def test_rates_from_reviewed_detections() -> None:
    table = pd.DataFrame(
        {"intact": [90, 20, 0, 3], "damaged": [5, 70, 1, 0], "missed": [5, 10, 9, 0]},
        index=["intact", "damaged", "fragment", "nothing"],
    )
    rates = rates_from_reviewed(table, "mine")
    assert rates.called[1] == (20, 70, 0, 10)
    assert rates.false == (3, 0, 0)
    assert rates.sensitivity == pytest.approx(70 / 90)
    assert "called" not in table
    with pytest.raises(TrialError, match="row 'broken'"):
        rates_from_reviewed(table.rename(index={"damaged": "broken"}))
    with pytest.raises(TrialError, match="nothing is known"):
        rates_from_reviewed(table.drop(index="damaged"))


def test_impossible_rates_are_refused() -> None:
    with pytest.raises(TrialError, match="0 or more"):
        MisreadRates(((-1, 1, 0, 0), (1, 1, 0, 0), (0, 0, 1, 0)))
    with pytest.raises(TrialError, match="shape"):
        MisreadRates(((1, 1), (1, 1), (1, 1)))
    data = {"called": {"intact": [9, 1, 0, 0], "damaged": [1, 9, 0, 0], "fragment": [0, 0, 0, 0]}}
    assert misread_from(data).telling == pytest.approx(0.8)


# Carried through


def judged(
    arms: dict[str, tuple[list[float], list[float]]], rates: MisreadRates | None, pieces: float = 0
) -> dict[str, Carried]:
    """Carry arms of (damaged, intact) of each slide over; pieces go to the second arm."""
    seen = compare_arms(
        {
            name: (np.add(d, pieces / 3 * (name != "w")), np.add(np.add(d, i), pieces / 3))
            for name, (d, i) in arms.items()
        },
        "w",
    )
    called = {}
    for name, (damaged, intact) in arms.items():
        own = pieces * len(damaged) * (name != "w")
        called[name] = Called(sum(intact), sum(damaged), own, own / 3, own / 5, own)
    draws = draw_rates(rates, DRAWS, 3) if rates else no_error(DRAWS)
    return carry(seen, called, dict.fromkeys(arms, draws), "w", level=0.95, margin=0.1, seed=4)


ARMS = {"w": ([2.0, 1, 3], [48.0, 55, 50]), "a": ([20.0, 25, 22], [30.0, 35, 28])}


def test_counts_of_people_without_pieces_stay_as_they_are() -> None:
    found = judged(ARMS, None)["a"]
    plain = compare_arms({name: (np.array(d), np.add(d, i)) for name, (d, i) in ARMS.items()}, "w")[
        "a"
    ]
    assert found.comparison == plain
    assert found.log_intact_sd == 0


def test_shares_become_rogan_and_gladens_and_the_test_stays() -> None:
    found, plain = judged(ARMS, TWO_STATES)["a"].comparison, judged(ARMS, None)["a"].comparison
    assert found.share == pytest.approx(float(rogan_gladen(plain.share, 0.6, 0.99)))
    assert found.effect == pytest.approx(plain.effect / 0.59, rel=0.02)
    assert found.p_value == plain.p_value
    assert found.effect_low == pytest.approx(plain.effect_low / 0.59, rel=0.03)
    assert found.effect_low > 0


def test_fewer_known_spores_make_limits_wider() -> None:
    few = MisreadRates(((99, 1, 0, 0), (16, 24, 0, 0), (0, 0, 10, 0)))
    wide, narrow = (judged(ARMS, rates)["a"].comparison for rates in (few, TWO_STATES))
    assert wide.share == pytest.approx(narrow.share)
    assert wide.high - wide.low > 1.15 * (narrow.high - narrow.low)


def test_the_size_of_pieces_widens_limits_upwards() -> None:
    plain, pieces = judged(ARMS, None)["a"].comparison, judged(ARMS, None, 9.0)["a"].comparison
    assert pieces.high - pieces.share > plain.high - plain.share + 0.005


@pytest.mark.parametrize("damaged", [[2.0, 3, 4], [5.0, 6, 5], [8.0, 3, 9], [12.0, 15, 11]])
@pytest.mark.parametrize("sample", [20, 400])
def test_limits_and_test_say_the_same_of_no_difference(damaged: list[float], sample: int) -> None:
    rates = MisreadRates(
        ((0.97 * sample, 0.03 * sample, 0, 0), (0.45 * sample, 0.55 * sample, 0, 0), (0, 0, 9, 0))
    )
    arms = {"w": ARMS["w"], "a": (damaged, [45.0, 50, 42])}
    found = judged(arms, rates)["a"].comparison
    assert (found.effect_low > 0 or found.effect_high < 0) == (found.p_value < 0.05)
    assert found.low <= found.share <= found.high


def test_more_called_broken_than_rates_allow_is_cut_and_said() -> None:
    found = judged({"w": ARMS["w"], "a": ([45.0, 50, 48], [5.0, 5, 4])}, TWO_STATES)["a"]
    assert found.is_cut
    assert found.comparison.share == 1.0
    assert found.comparison.low <= 0.92


def test_whole_spores_misread_raise_the_reduction() -> None:
    """Of 40 % of damaged spores called intact, fewer are really whole than called so."""
    found = judged(ARMS, TWO_STATES)["a"]
    assert found.log_intact < -0.2
    assert found.log_intact_sd > 0


def test_corrected_limits_hold_the_truth() -> None:
    """Made-up trials of 5 slides, misread at rates known from 300 spores of each state only."""
    rng, held, effects = np.random.default_rng(5), 0, 0
    number = 150
    for _ in range(number):
        known = [rng.multinomial(300, law) for law in ([0.98, 0.02], [0.45, 0.55])]
        rates = MisreadRates(((*known[0].tolist(), 0, 0), (*known[1].tolist(), 0, 0), (0, 0, 9, 0)))
        arms = {}
        for name, share in (("w", 0.06), ("a", 0.4)):
            broken = rng.binomial(60, rng.beta(share * 19, (1 - share) * 19, 5))
            damaged = rng.binomial(broken, 0.55) + rng.binomial(60 - broken, 0.02)
            arms[name] = (damaged.astype(float).tolist(), (60.0 - damaged).tolist())
        found = judged(arms, rates)["a"].comparison
        held += found.low <= 0.4 <= found.high
        effects += found.effect_low <= 0.34 <= found.effect_high
    assert held / number > 0.9
    assert effects / number > 0.9
