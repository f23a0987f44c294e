"""Arms against the control: published efficacies, clear ends, and what must always hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from sporecount.statistics.mean_share import Clusters, p_of_difference
from sporecount.trial.compare.arms import compare_arms
from sporecount.trial.compare.comparison import Comparison
from sporecount.trial.compare.efficacy import abbott, henderson_tilton
from sporecount.trial.compare.naive import naive_p
from sporecount.trial.errors import TrialError

Arm = tuple[list[float], list[float]]
CONTROL: Arm = ([2, 5, 3, 4], [80, 95, 60, 75])


def one_against(treated: Arm, control: Arm = CONTROL, **more: float) -> Comparison:
    return compare_arms({"control": control, "treated": treated}, "control", **more)["treated"]  # type: ignore[arg-type]


@st.composite
def arms(draw: st.DrawFn) -> Arm:
    pairs = draw(
        st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=2, max_size=5)
    )
    return [float(a) for a, _ in pairs], [float(max(a + b, 1)) for a, b in pairs]


@pytest.mark.parametrize(
    ("control", "treated", "known"), [(50, 98, 0.96), (20, 80, 0.75), (0, 37, 0.37), (40, 40, 0)]
)
def test_abbott(control: float, treated: float, known: float) -> None:
    """Abbott 1925: 50 and 98 % dead give 96 %; the others by his formula."""
    each = np.full(4, 100.0)
    found = abbott(Clusters(each * treated / 100, each), Clusters(each * control / 100, each))
    assert found.value == pytest.approx(known)
    assert found.low < known < found.high


def test_abbott_s_limits_without_breakage_in_the_control_are_those_of_the_effect() -> None:
    treated = ([40.0, 55, 47, 52], [100.0] * 4)
    found = one_against(treated, ([0.0] * 4, [1e6] * 4))
    assert found.abbott == pytest.approx(found.effect)
    assert (found.abbott_low, found.abbott_high) == pytest.approx(
        (found.effect_low, found.effect_high), abs=0.01
    )


def test_abbott_of_a_control_all_broken_is_not_known() -> None:
    found = one_against(([40, 50, 60], [80, 90, 95]), ([50, 60, 70], [50, 60, 70]))
    assert math.isnan(found.abbott)
    assert math.isnan(found.abbott_low)
    assert found.effect < 0


def test_henderson_tilton() -> None:
    """Henderson & Tilton 1955's formula: 30 to 6 treated, 28 to 26 in the control: 78.46 %."""
    found = henderson_tilton(([30], [6]), ([28], [26]))
    assert found.value == pytest.approx(0.7846, abs=5e-5)
    assert math.isnan(found.low)  # one slide each tells nothing of other slides
    spread = henderson_tilton(([10, 8, 12], [2, 1, 3]), ([9, 9, 10], [9, 8, 9]))
    assert spread.value == pytest.approx(found.value)
    assert 0 < spread.low < 0.7846 < spread.high < 1


def test_henderson_tilton_where_nothing_is_left() -> None:
    found = henderson_tilton(([50, 60, 40], [0, 0, 0]), ([50, 45, 55], [48, 45, 50]))
    assert (found.value, found.high) == (1, 1)
    assert 0.8 < found.low < 1
    assert math.isnan(henderson_tilton(([0, 0], [0, 0]), ([5, 5], [5, 5])).value)
    with pytest.raises(TrialError, match="3 counts before, 2 after"):
        henderson_tilton(([1, 2, 3], [1, 2]), ([1], [1]))


@pytest.mark.parametrize("shape", [25, 1e6])
def test_henderson_tilton_holds_in_simulation(shape: float) -> None:
    """What is kept differs by 20 % between slides, or not at all; 95 % limits."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(300):
        before = rng.poisson(60, (2, 5))
        kept = np.array([[0.2], [0.9]]) * rng.gamma(shape, 1 / shape, (2, 5))
        after = rng.poisson(before * kept)
        found = henderson_tilton((before[0], after[0]), (before[1], after[1]))
        held += found.low <= 1 - 0.2 / 0.9 <= found.high
    assert 0.92 < held / 300 < 0.995


def test_naive_p_of_the_rats() -> None:
    """Weil 1970: chi2 8.8999, p .00285 where every pup counts (recomputed)."""
    p = naive_p(*(Clusters(np.array([a]), np.array([n])) for a, n in ((142.0, 158.0), (112, 145))))
    assert float(p) == pytest.approx(0.00285, abs=5e-6)


def test_rats_by_litter() -> None:
    """Weil 1970: aware of the litter p is .04 to .15 by other methods, and so here."""
    control = [(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (12, 13), (11, 12)]
    control += [(9, 10), (9, 10), (8, 9), (11, 13), (4, 5), (5, 7), (7, 10), (7, 10)]
    treated = [(12, 12), (11, 11), (10, 10), (9, 9), (10, 11), (9, 10), (9, 10), (8, 9)]
    treated += [(8, 9), (4, 5), (7, 9), (4, 7), (5, 10), (3, 6), (3, 10), (0, 7)]
    sides = [([float(a) for a, _ in arm], [float(n) for _, n in arm]) for arm in (treated, control)]
    found = one_against(*sides)
    assert found.naive_p < 0.004
    assert 0.02 < found.p_value < 0.16
    assert 0.02 < found.permutation_p < 0.16
    assert found.icc == pytest.approx(0.25, abs=0.06)  # by analysis of variance .2506
    assert found.pooled_share == pytest.approx(112 / 145)


def test_a_plain_effect() -> None:
    found = one_against(([60, 52, 71, 66], [80, 75, 90, 85]))
    assert found.p_value < 0.001
    assert found.effect_low > 0.5
    assert found.equivalent is False
    assert found.notes == ()
    assert found.share == pytest.approx(np.mean([60 / 80, 52 / 75, 71 / 90, 66 / 85]))
    assert found.low < found.share < found.high
    assert found.least_p == pytest.approx(2 / 70)
    assert found.permutation_p == pytest.approx(2 / 70)


def test_equivalence_needs_numbers() -> None:
    few = one_against(([2, 3, 2], [80, 90, 85]), ([2, 3, 4], [80, 90, 95]))
    many = one_against(([2, 3, 2] * 3, [80, 90, 85] * 3), ([2, 3, 4] * 3, [80, 90, 95] * 3))
    assert many.equivalent is True
    assert -0.1 < many.equivalence_low < many.equivalence_high < 0.1
    assert one_against(([2, 3, 2], [80, 90, 85]), margin=0.01).equivalent is False
    assert few.equivalence_high > many.equivalence_high


def test_control_itself_is_described_only() -> None:
    found = compare_arms({"control": CONTROL, "treated": CONTROL}, "control")["control"]
    assert math.isnan(found.effect)
    assert math.isnan(found.p_value)
    assert found.equivalent is None
    assert found.low < found.share < found.high


def test_one_slide_is_described_and_not_tested() -> None:
    found = one_against(([60], [80]))
    assert (found.share, found.effect) == pytest.approx((0.75, 0.75 - 0.0452), abs=1e-4)
    assert all(
        math.isnan(value)
        for value in (found.low, found.effect_low, found.p_value, found.p_adjusted, found.icc)
    )
    assert found.equivalent is None
    assert "one slide only" in found.notes[0]


def test_two_slides_say_what_cannot_be_known() -> None:
    found = one_against(([60, 30], [80, 75]), ([2, 5], [80, 95]))
    assert found.effect_high - found.effect_low > 0.6
    assert any("two slides" in note for note in found.notes)
    assert found.least_p == pytest.approx(1 / 3)
    steady = one_against(([76, 71], [80, 75]), ([2, 5], [80, 95]))
    assert any("two slides" in note for note in steady.notes)


@pytest.mark.parametrize("full", [False, True])
def test_all_slides_at_one_end(full: bool) -> None:
    sizes = [50.0, 60.0, 70.0]
    arm: Arm = (sizes if full else [0.0] * 3, sizes)
    found = one_against(arm, arm)
    assert found.p_value == 1
    assert found.effect == 0
    assert found.effect_low == pytest.approx(-found.effect_high)
    assert found.effect_high > 0.1  # none of 180 is not none on other slides
    assert any("no spore differs" in note for note in found.notes)
    assert (found.high == 1) if full else (found.low == 0)


def test_all_broken_against_none() -> None:
    found = one_against(([50, 60, 70], [50, 60, 70]), ([0, 0, 0], [50, 60, 70]))
    assert found.p_value < 0.05
    assert found.effect_low > 0
    assert (found.effect, found.effect_high, found.abbott) == (1, 1, 1)


def test_slides_without_spores_are_left_out_and_said_so() -> None:
    found = one_against(([60, 0, 52, 71], [80, 0, 75, 90]))
    same = one_against(([60, 52, 71], [80, 75, 90]))
    assert (found.slides, found.without_spores) == (3, 1)
    assert found.p_value == same.p_value
    assert "1 slide without spores left out" in found.notes[0]


def test_very_unequal_slides_are_said_to_count_the_same() -> None:
    found = one_against(([1, 2, 150], [10, 10, 200]))
    assert found.share == pytest.approx(0.35)
    assert found.pooled_share == pytest.approx(153 / 220)
    assert any("makes 35% broken, and of all spores together 70%" in note for note in found.notes)


def test_arm_without_spores() -> None:
    found = one_against(([0, 0], [0, 0]))
    assert math.isnan(found.share)
    assert found.slides == 0
    assert any("no spores on any slide" in note for note in found.notes)
    assert math.isnan(one_against(CONTROL, ([], [])).effect)


def test_missing_control() -> None:
    found = compare_arms({"a": CONTROL}, None)["a"]
    assert "no control" in found.notes[-1]
    assert found.low < found.share < found.high
    with pytest.raises(TrialError, match="no such arm among: a, b"):
        compare_arms({"a": CONTROL, "b": CONTROL}, "water")


@pytest.mark.parametrize(
    ("broken", "total", "message"),
    [
        ([1, 2], [10], "2 numbers of broken spores go with 1"),
        ([1, 12], [10, 10], "slide 2: 12 broken of 10"),
        ([-1], [10], "slide 1: -1 broken of 10"),
        ([math.nan], [10], "slide 1: nan broken"),
    ],
)
def test_counts_that_make_no_sense(broken: list[float], total: list[float], message: str) -> None:
    with pytest.raises(TrialError, match=message):
        one_against((broken, total))


def test_level_and_margin_are_bounded() -> None:
    for given_, name in (({"level": 95.0}, "level 95"), ({"margin": 0.0}, "margin 0")):
        with pytest.raises(TrialError, match=name):
            one_against(CONTROL, **given_)


def test_several_arms_are_adjusted_after_holm() -> None:
    treated = {
        "a": ([20.0, 25, 15], [80.0, 90, 85]),
        "b": ([10.0, 25, 8], [80.0, 90, 85]),
        "c": ([7.0, 4, 3], [80.0, 90, 85]),
    }
    found = compare_arms({"control": CONTROL, "rinse": CONTROL, **treated}, "control", tested="abc")
    known = multipletests([found[name].p_value for name in treated], method="holm")[1]
    assert [found[name].p_adjusted for name in treated] == pytest.approx(list(known))
    assert math.isnan(found["rinse"].p_adjusted)
    assert found["rinse"].p_value == 1


def test_broken_shares_need_not_be_whole() -> None:
    low, middle, high = (one_against(([20 + d, 25 + d], [80, 90])).effect for d in (0, 0.5, 1))
    assert low < middle < high


@given(arms(), arms())
@settings(max_examples=20, deadline=None)
def test_arms_swapped_give_the_mirrored_answer(one: Arm, other: Arm) -> None:
    here, there = one_against(one, other), one_against(other, one)
    assert here.effect == pytest.approx(-there.effect)
    assert here.p_value == pytest.approx(there.p_value, abs=1e-7)
    assert here.naive_p == pytest.approx(there.naive_p)
    assert here.permutation_p == pytest.approx(there.permutation_p)
    assert (here.effect_low, here.effect_high) == pytest.approx(
        (-there.effect_high, -there.effect_low), abs=1e-6
    )
    assert here.equivalent == there.equivalent


@given(arms(), arms())
@settings(max_examples=20, deadline=None)
def test_limits_never_contradict_the_test(one: Arm, other: Arm) -> None:
    found = one_against(one, other)
    if abs(found.p_value - 0.05) > 1e-4:
        outside = found.effect_low > 1e-9 or found.effect_high < -1e-9
        assert outside == (found.p_value < 0.05)
        if not math.isnan(found.abbott):
            assert outside == (found.abbott_low > 1e-9 or found.abbott_high < -1e-9)


def drawn(rng: np.random.Generator, trials: int, slides: int, share: float, icc: float) -> Clusters:
    sizes = np.exp(rng.uniform(np.log(5), np.log(300), (trials, slides))).astype(int)
    strength = 1 / icc - 1
    shares = rng.beta(share * strength, (1 - share) * strength, sizes.shape)
    return Clusters(rng.binomial(sizes, shares).astype(float), sizes.astype(float))


@pytest.mark.parametrize(("slides", "others"), [(3, 3), (4, 6), (8, 8), (3, 8)])
def test_no_effect_is_seldom_taken_for_one(slides: int, others: int) -> None:
    """The whole table is in docs/trial-statistics.md; nominal 5 %, and naive far above."""
    rng = np.random.default_rng(7)
    for share in (0.05, 0.5):
        for icc in (0.1, 0.3):
            one, other = drawn(rng, 4000, slides, share, icc), drawn(rng, 4000, others, share, icc)
            assert np.mean(p_of_difference(one, other) < 0.05) < 0.06
            assert np.mean(naive_p(one, other) < 0.05) > 0.25


def test_true_effects_lie_within_the_limits() -> None:
    rng = np.random.default_rng(8)
    for share in (0.1, 0.5, 0.9):
        one, other = drawn(rng, 4000, 5, share, 0.1), drawn(rng, 4000, 5, 0.05, 0.1)
        assert np.mean(p_of_difference(one, other, share - 0.05) >= 0.05) > 0.94
