"""Vanished spores, broken pieces, eggs and the feeding test of a trial."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sporecount.statistics.clusters import group
from sporecount.statistics.proportions import Interval
from sporecount.trial.compare.efficacy import henderson_tilton
from sporecount.trial.errors import TrialError
from sporecount.trial.outcomes.broken import (
    DEFAULT_WEIGHT,
    DEFAULT_WEIGHT_LOW,
    knows_areas,
    with_broken,
)
from sporecount.trial.outcomes.eggs import (
    HARMS,
    OPEN,
    SAFE,
    compare_batches,
    judge_eggs,
    more_eggs,
    stratified_difference,
)
from sporecount.trial.outcomes.feeding import fisher_p, judge_feeding, p_words, rule_of_three
from sporecount.trial.outcomes.vanished import (
    NO_STANDARD,
    Counted,
    counted,
    percent,
    reduce_against,
    rescaled,
)


def slides(**columns: list[float]) -> pd.DataFrame:
    return pd.DataFrame({"intact": [70], "damaged": [10], "fragment": [0], **columns})


# Broken


def test_pieces_are_spores_by_area() -> None:
    table = with_broken(
        slides(fragment=[40], fragment_area_um2=[2000.0], spore_area_um2=[100.0])
    ).iloc[0]
    assert table["fragment_equivalents"] == pytest.approx(20)
    assert table["fragment_equivalents_low"] == pytest.approx(16)
    assert table["fragment_equivalents_high"] == pytest.approx(40)
    assert table["broken_share"] == pytest.approx(30 / 100)


def test_pieces_without_areas_are_a_third_of_a_spore_with_a_wide_range() -> None:
    given = slides(fragment=[30])
    table = with_broken(given).iloc[0]
    assert table["fragment_equivalents"] == pytest.approx(30 * DEFAULT_WEIGHT)
    assert table["fragment_equivalents_low"] == pytest.approx(30 * DEFAULT_WEIGHT_LOW)
    assert table["fragment_equivalents_high"] == pytest.approx(30)
    assert not knows_areas(given)
    assert knows_areas(slides())


def test_a_piece_is_no_more_than_a_spore_and_equivalents_given_are_kept() -> None:
    large = slides(fragment=[2], fragment_area_um2=[900.0], spore_area_um2=[100.0])
    assert with_broken(large)["fragment_equivalents"].iloc[0] == pytest.approx(2)
    given = with_broken(slides(fragment=[9], fragment_equivalents=[3.0])).iloc[0]
    assert given["fragment_equivalents"] == given["fragment_equivalents_high"] == 3.0


def test_a_slide_without_whole_spores_borrows_their_area_and_an_empty_one_has_no_share() -> None:
    table = pd.DataFrame(
        {
            "intact": [50, 0, 0], "damaged": [0, 0, 0], "fragment": [0, 10, 0],
            "fragment_area_um2": [0.0, 300.0, 0.0], "spore_area_um2": [100.0, math.nan, math.nan],
        }
    )  # fmt: skip
    found = with_broken(table)
    assert found["fragment_equivalents"].iloc[1] == pytest.approx(3)
    assert math.isnan(found["broken_share"].iloc[2])
    assert "broken" not in table


# Vanished


def test_a_tenfold_reduction_is_one_log10_and_limits_mirror_when_arms_swap() -> None:
    whole = counted([100, 110, 90], [1, 1, 1])
    few = counted([10, 12, 8], [1, 1, 1])
    there, back = reduce_against(few, whole), reduce_against(whole, few)
    assert there.log10 == pytest.approx(1)
    assert there.reduction == pytest.approx(0.9)
    assert back.log10 == pytest.approx(-there.log10)
    assert back.log10_low == pytest.approx(-there.log10_high)
    assert back.log10_high == pytest.approx(-there.log10_low)


def test_per_mm2_allows_for_unequal_areas() -> None:
    found = reduce_against(counted([20, 20], [2, 2]), counted([10, 30], [0.5, 1.5]))
    assert (found.per_mm2, found.control_per_mm2) == (pytest.approx(10), pytest.approx(20))
    assert found.reduction == pytest.approx(0.5)


def test_no_whole_spore_gives_a_bound_and_never_infinity() -> None:
    found = reduce_against(counted([0] * 4, [1] * 4), counted([90, 110, 95, 105], [1] * 4))
    assert found.is_bound
    assert found.low < 1
    assert math.isnan(found.log10_high)
    assert math.isnan(found.log10)
    assert 0.5 < found.log10_low < 2.1
    assert "at least" in found.in_words()
    # Garwood's upper limit of 0 in 4 mm2 is 3.69 spores: 0.92 per mm2 against 100 (section 3a).
    assert found.log10_low < -math.log10(3.6889 / 4 / 100)


def test_slides_that_differ_more_give_a_weaker_bound() -> None:
    even = reduce_against(counted([0] * 4, [1] * 4), counted([95, 105, 100, 100], [1] * 4))
    uneven = reduce_against(counted([0] * 4, [1] * 4), counted([20, 250, 30, 100], [1] * 4))
    assert uneven.log10_low < even.log10_low


def test_what_cannot_be_known_is_said() -> None:
    whole = counted([50, 60], [1, 1])
    one = reduce_against(counted([5], [1]), whole)
    assert math.isnan(one.low)
    assert "one slide" in one.notes[0]
    assert one.reduction > 0.8
    gone = reduce_against(whole, counted([0, 0], [1, 1]))
    assert math.isnan(gone.reduction)
    assert "control has no whole spore" in gone.notes[0]
    unknown = reduce_against(counted([5, 5], [math.nan, math.nan]), whole)
    assert "area" in unknown.notes[0]
    assert not unknown.in_words()
    alone = reduce_against(counted([0, 0], [1, 1]), counted([50], [1]))
    assert math.isnan(alone.low)
    assert "one slide" in alone.notes[0]


def test_counts_before_are_allowed_for_as_henderson_and_tilton_do() -> None:
    """The published case gives 78.46 %: check-values section 3f, seen."""
    found = reduce_against(counted([6], [1.0], [30.0]), counted([26], [1.0], [28.0]), before=True)
    assert found.reduction == pytest.approx(0.7846, abs=5e-5)
    assert found.reduction == pytest.approx(henderson_tilton(([30], [6]), ([28], [26])).value)
    assert found.relative_to_before
    assert math.isnan(found.per_mm2)


def test_one_log10_is_ninety_percent() -> None:
    for log10, gone in ((1, 0.9), (2, 0.99), (3, 0.999)):
        found = reduce_against(counted([10], [1]), counted([10 * 10**log10], [1]))
        assert found.reduction == pytest.approx(gone)
        assert found.log10 == pytest.approx(log10)


def test_words_of_reductions() -> None:
    whole = counted([100, 110, 90], [1] * 3)
    assert "not surely" in reduce_against(counted([95, 115, 80], [1] * 3), whole).in_words()
    assert "More whole" in reduce_against(counted([400, 420, 380], [1] * 3), whole).in_words()
    assert "log10 1.00" in reduce_against(counted([10, 12, 8], [1] * 3), whole).in_words()
    scarce = reduce_against(counted([0, 0], [1, 1]), counted([1, 2], [1, 1]))
    assert "too few" in scarce.in_words()
    assert percent(0.9996) == "99.96 %"
    assert percent(1.0) == "100 %"
    assert percent(0.5) == "50 %"
    assert "no claim" in NO_STANDARD


def test_a_factor_in_doubt_moves_and_widens() -> None:
    found = reduce_against(counted([10, 12, 8], [1] * 3), counted([100, 110, 90], [1] * 3))
    moved = rescaled(found, math.log(0.5), 0.3, 0.95)
    assert moved.log10 == pytest.approx(found.log10 + math.log10(2))
    assert moved.log10_high - moved.log10_low > found.log10_high - found.log10_low
    same = rescaled(found, 0.0, 0.0, 0.95)
    assert same.low == pytest.approx(found.low)
    assert same.high == pytest.approx(found.high)
    bound = reduce_against(counted([0, 0], [1, 1]), counted([100, 110], [1, 1]))
    assert rescaled(bound, 0.0, 0.5, 0.95).log10_low < bound.log10_low


@pytest.mark.parametrize("number", [3, 6])
@pytest.mark.parametrize(("kept", "spread"), [(1.0, 0.5), (0.3, 0.3), (0.05, 0.5)])
def test_limits_hold_the_truth(number: int, kept: float, spread: float) -> None:
    """Slides differ by a gamma law; 95 % limits hold the ratio in 93 % of trials or more."""
    rng = np.random.default_rng(11)
    held = 0
    area = np.ones(number)
    for _ in range(400):
        arm, control = (
            rng.poisson(mean * rng.gamma(spread**-2, spread**2, number)).astype(float)
            for mean in (120 * kept, 120)
        )
        found = reduce_against(Counted(arm, area), Counted(control, area))
        held += found.low <= 1 - kept <= (1 if found.is_bound else found.high)
    assert held / 400 > 0.93


def test_counts_below_zero_are_refused() -> None:
    with pytest.raises(TrialError, match="0 or more"):
        counted([-1], [1])


# Eggs


def eggs(rows: list[tuple[str, str, int, int]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["arm", "batch", "dipped", "hatched"])


def test_single_batches_are_compared_after_newcombe() -> None:
    """56/70 and 48/80: difference .2000, .0524 to .3339 (check-values section 3c, computed)."""
    found = judge_eggs(eggs([("w", "1", 80, 48), ("a", "1", 70, 56)]), "a", "w")
    assert found is not None
    assert found.word == OPEN
    assert found.difference == pytest.approx(0.2)
    assert found.difference_low == pytest.approx(0.0524, abs=5e-5)
    assert found.difference_high == pytest.approx(0.3339, abs=5e-5)
    assert "One batch" in found.sentences[-1]


def test_batches_within_arms_follow_mantel_and_haenszel() -> None:
    """Sato's variance by hand, for two strata of equal size (formula from memory)."""
    x, n, y, m = np.array([9.0, 8]), np.array([10.0, 10]), np.array([9.0, 9]), np.array([10.0, 10])
    middle, limits = stratified_difference(group(list(x), list(n)), group(list(y), list(m)), 0.95)
    assert middle == pytest.approx(-0.05)
    q = (x * (m - y) + y * (n - x)).sum() / 40
    p = ((100 * y - 100 * x) / 400).sum()
    half = 1.959964 * math.sqrt((-0.05 * p + q) / 10**2)
    assert limits.high - limits.low == pytest.approx(2 * half)


def test_batches_that_disagree_widen_the_limits() -> None:
    control = group([18] * 5, [20] * 5)
    even = stratified_difference(group([17, 18, 17, 18, 17], [20] * 5), control, 0.95)
    uneven = stratified_difference(group([20, 20, 20, 20, 7], [20] * 5), control, 0.95)
    assert even[0] == pytest.approx(uneven[0])
    assert uneven[1].low < even[1].low - 0.1


def test_the_pooled_difference_of_one_size_is_the_plain_one() -> None:
    """With no variation at all the limits fall back on Newcombe's, and are not of width 0."""
    middle, limits = stratified_difference(
        group([10, 10], [10, 10]), group([10, 10], [10, 10]), 0.95
    )
    assert middle == 0
    assert limits.low < -0.1
    assert limits.high > 0.1


def test_batches_of_their_own_are_the_unit() -> None:
    own = eggs([("a", f"a{i}", 20, h) for i, h in enumerate((20, 19, 3, 20))])
    other = eggs([("w", f"w{i}", 20, h) for i, h in enumerate((19, 20, 18, 20))])
    found = judge_eggs(pd.concat([own, other]), "a", "w")
    assert found is not None
    assert "batches as the unit" in found.method
    assert found.word == OPEN
    pooled = judge_eggs(eggs([("a", "1", 80, 62), ("w", "1", 80, 77)]), "a", "w")
    assert pooled is not None
    assert found.difference_low < pooled.difference_low


@pytest.mark.parametrize(
    ("hatched", "word"), [((180, 178), SAFE), ((180, 90), HARMS), ((36, 34), OPEN)]
)
def test_the_three_answers(hatched: tuple[int, int], word: str) -> None:
    dipped = 200 if hatched[0] > 100 else 40
    found = judge_eggs(
        eggs([("w", "1", dipped, hatched[0]), ("a", "1", dipped, hatched[1])]), "a", "w",
        independent=True,
    )  # fmt: skip
    assert found is not None
    assert found.word == word
    assert (found.more_eggs is not None) == (word == OPEN)
    assert word != HARMS or "no success" in found.sentences[0]


@pytest.mark.parametrize("batches", [1, 2])
@pytest.mark.parametrize("hatched", [178, 60])
def test_one_batch_or_two_settle_nothing(batches: int, hatched: int) -> None:
    """However many eggs: nothing tells how much batches differ."""
    rows = [
        (arm, f"{n}", 200, h) for n in range(batches) for arm, h in (("w", 180), ("a", hatched))
    ]
    found = judge_eggs(eggs(rows), "a", "w")
    assert found is not None
    assert found.word == OPEN
    assert found.sentences[0].startswith("Eggs: can't tell")
    assert "have 3 or more" in found.sentences[-1]
    assert any("warning" in line for line in found.sentences) == (hatched == 60)
    three = eggs(
        [(arm, f"{n}", 200, h) for n in range(3) for arm, h in (("w", 180), ("a", hatched))]
    )
    settled = judge_eggs(three, "a", "w")
    assert settled is not None
    assert settled.word == (HARMS if hatched == 60 else SAFE)


@pytest.mark.parametrize("batches", [1, 2, 3])
def test_eggs_that_are_alike_are_seldom_called_safe_by_mistake(batches: int) -> None:
    """80 % hatch against 90 %, likeness of a batch 0.1: 2.5 in 100 by rights, 5 by chance."""
    rng = np.random.default_rng(5)
    safe = 0
    for _ in range(200):
        rows = [
            (arm, str(n), 30, int(rng.binomial(30, rng.beta(9 * share, 9 * (1 - share)))))
            for n in range(batches)
            for arm, share in (("w", 0.9), ("a", 0.8))
        ]
        found = judge_eggs(eggs(rows), "a", "w")
        safe += found is not None and found.word == SAFE
    assert safe <= 10


def test_as_many_eggs_as_asked_for_would_settle_it() -> None:
    first = judge_eggs(eggs([("w", "1", 40, 36), ("a", "1", 40, 36)]), "a", "w")
    assert first is not None
    assert first.more_eggs is not None
    number = 10 * round((40 + first.more_eggs) / 10)
    rows = [(arm, "1", number, number * 9 // 10) for arm in ("w", "a")]
    later = judge_eggs(eggs(rows), "a", "w", independent=True)
    assert later is not None
    assert later.word == SAFE


def test_more_eggs_do_not_help_where_too_many_die() -> None:
    assert more_eggs(-0.15, Interval(-0.4, 0.1), 40, 0.1, 0.95) is None


def test_the_control_and_arms_without_eggs() -> None:
    table = eggs([("w", "1", 40, 36), ("a", "1", 0, 0)])
    own = judge_eggs(table, "w", "w")
    assert own is not None
    assert own.word == ""
    assert math.isnan(own.difference)
    assert judge_eggs(table, "a", "w") is None
    assert judge_eggs(table, "b", "w") is None


def test_swapped_arms_mirror_the_difference() -> None:
    a = eggs([("a", str(i), 30, h) for i, h in enumerate((20, 25, 28))]).set_index("batch")
    b = eggs([("b", str(i), 30, h) for i, h in enumerate((28, 27, 29))]).set_index("batch")
    there, back = compare_batches(a, b, 0.95), compare_batches(b, a, 0.95)
    assert there[0] == pytest.approx(-back[0])
    assert there[1].low == pytest.approx(-back[1].high)


# Feeding

#: PLoS ONE 2017, doi 10.1371/journal.pone.0169982, Fig. 2 legend: infected and adults.
PUBLISHED = pd.DataFrame(
    {
        "arm": ["fresh", "sun 6 d", "shade 6 d", "sun 11 d", "sun 16 d", "shade 16 d"],
        "fed": [27, 15, 15, 23, 25, 19],
        "adults": [27, 15, 15, 23, 25, 19],
        "infected": [22, 10, 11, 14, 17, 16],
    }
)


def test_the_published_feeding_test_shows_no_sanitiser_in_the_sun() -> None:
    """16 days of sun: 17 of 25 against 22 of 27 fresh. Limits from scipy."""
    from scipy.stats import binomtest

    found = judge_feeding(PUBLISHED, "sun 16 d", "fresh")
    assert found is not None
    assert found.valid
    assert not found.fewer
    assert found.share == pytest.approx(0.68)
    limits = binomtest(17, 25).proportion_ci(method="exact")
    assert (found.low, found.high) == (pytest.approx(limits.low), pytest.approx(limits.high))
    assert found.p_value > 0.2
    assert "not surely different" in found.sentences[1]
    assert "no proof that they are the same" in found.sentences[1]


def test_fisher_against_published_tables() -> None:
    """Tea two-sided .4857143; twins two-sided .0005367; whales .034965 (section 3d)."""
    assert fisher_p((3, 4), (1, 4)) == pytest.approx(0.4857143)
    assert fisher_p((2, 12), (15, 18)) == pytest.approx(0.0005367, abs=5e-8)
    assert fisher_p((8, 10), (1, 6)) == pytest.approx(0.034965, abs=5e-7)
    assert math.isnan(fisher_p((0, 0), (1, 6)))


@pytest.mark.parametrize(
    ("adults", "most"), [(14, 0.1926), (20, 0.1391), (100, 0.0295), (167, 0.01778)]
)
def test_none_infected_still_allows_about_three_over_n(adults: int, most: float) -> None:
    """Hanley & Lippman-Hand 1983; exact values of check-values section 3a."""
    assert rule_of_three(adults) == pytest.approx(most, abs=5e-5)
    table = pd.DataFrame({"arm": ["a"], "fed": [adults], "adults": [adults], "infected": [0]})
    found = judge_feeding(table, "a", None)
    assert found is not None
    assert found.at_most == pytest.approx(most, abs=5e-5)
    assert f"still allows up to {100 * most:.0f} %" in found.sentences[0]


def feeding(control: int, arm: int, adults: int = 20) -> pd.DataFrame:
    return pd.DataFrame(
        {"arm": ["w", "a"], "fed": [22, 22], "adults": [adults] * 2, "infected": [control, arm]}
    )


def test_a_control_that_did_not_become_infected_makes_the_test_invalid() -> None:
    found = judge_feeding(feeding(0, 0), "a", "w")
    assert found is not None
    assert found.valid is False
    assert not found.fewer
    assert any("not valid" in line for line in found.sentences)
    weak = judge_feeding(feeding(6, 0), "a", "w")
    assert weak is not None
    assert any("weak test" in line for line in weak.sentences)


def test_fewer_infected_is_said_and_the_lost_ones_are_named() -> None:
    found = judge_feeding(feeding(18, 1), "a", "w")
    assert found is not None
    assert found.fewer
    assert any("2 of 22 fed never" in line for line in found.sentences)
    more = judge_feeding(feeding(8, 20), "a", "w")
    assert more is not None
    assert not more.fewer
    assert any("More than" in s for s in more.sentences)


def test_no_adults_and_no_rows() -> None:
    found = judge_feeding(feeding(0, 0, 0), "a", "w")
    assert found is not None
    assert math.isnan(found.share)
    assert "nothing is known" in found.sentences[0]
    assert judge_feeding(feeding(1, 1), "b", "w") is None


def test_p_is_never_printed_as_zero() -> None:
    assert p_words(0.0) == "below 0.001"
    assert p_words(0.05) == "= 0.05"
