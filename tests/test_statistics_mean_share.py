"""The mean share of clusters: against closed forms, and by what must always hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import norm, ttest_ind

from sporecount.statistics.clusters import group, likeness
from sporecount.statistics.mean_share import (
    LIKENESS_IF_UNKNOWN,
    Clusters,
    difference_interval,
    moment_likeness,
    p_of_difference,
    p_of_ratio,
    ratio_interval,
    share_interval,
    share_limits,
    used_likeness,
)
from sporecount.statistics.restricted import shares_in_ratio, shares_that_differ_by


def clusters(text: str) -> Clusters:
    events, sizes = zip(*(map(float, pair.split("/")) for pair in text.split()))
    return Clusters(np.array(events), np.array(sizes))


@st.composite
def some_clusters(draw: st.DrawFn) -> Clusters:
    pairs = draw(
        st.lists(st.tuples(st.integers(0, 80), st.integers(0, 80)), min_size=2, max_size=6)
    )
    events, rest = np.array(pairs, float).T
    return Clusters(events, np.maximum(events + rest, 1))


shares = st.floats(0.02, 0.98)
weights = st.floats(2, 300)


@given(shares, shares, weights, weights, st.floats(-0.9, 0.9))
@settings(max_examples=60, deadline=None)
def test_shares_of_a_difference_are_the_likeliest(
    one: float, other: float, weight: float, other_weight: float, difference: float
) -> None:
    """Against a search over all pairs of shares with that difference."""

    def loss(second: float) -> float:
        first = np.clip(second + difference, 1e-12, 1 - 1e-12)
        second = np.clip(second, 1e-12, 1 - 1e-12)
        return -float(
            weight * (one * np.log(first) + (1 - one) * np.log1p(-first))
            + other_weight * (other * np.log(second) + (1 - other) * np.log1p(-second))
        )

    bounds = (max(0.0, -difference), min(1.0, 1 - difference))
    known = minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-9})
    found = shares_that_differ_by(*map(np.asarray, (difference, one, other, weight, other_weight)))
    assert float(found[0] - found[1]) == pytest.approx(difference, abs=1e-9)
    assert loss(float(found[1])) <= known.fun + 1e-6


@given(shares, shares, weights, weights, st.floats(0.05, 20))
@settings(max_examples=60, deadline=None)
def test_shares_in_a_ratio_are_the_likeliest(
    one: float, other: float, weight: float, other_weight: float, ratio: float
) -> None:
    def loss(second: float) -> float:
        first, second = np.clip([ratio * second, second], 1e-12, 1 - 1e-12)
        return -float(
            weight * (one * np.log(first) + (1 - one) * np.log1p(-first))
            + other_weight * (other * np.log(second) + (1 - other) * np.log1p(-second))
        )

    known = minimize_scalar(
        loss, bounds=(0, min(1.0, 1 / ratio)), method="bounded", options={"xatol": 1e-9}
    )
    found = shares_in_ratio(*map(np.asarray, (ratio, one, other, weight, other_weight)))
    assert float(found[0]) == pytest.approx(ratio * float(found[1]), abs=1e-9)
    assert loss(float(found[1])) <= known.fun + 1e-6


def test_no_difference_agrees_with_student_s_t_for_large_alike_clusters() -> None:
    """With the same number of units on every slide the classic t test is nearly the same."""
    rng = np.random.default_rng(2)
    for _ in range(20):
        events = rng.binomial(400, rng.beta(4, 5, (2, 5))).astype(float)
        one, other = (Clusters(part, np.full(5, 400.0)) for part in events)
        known = ttest_ind(*(events / 400)).pvalue
        # Not the same: this variance is the quasi-likelihood's, at the share in common.
        assert float(p_of_difference(one, other)) == pytest.approx(known, rel=0.35, abs=0.003)


def test_moment_likeness_is_the_one_by_analysis_of_variance_where_sizes_are_equal() -> None:
    one, other = clusters("3/20 9/20 5/20"), clusters("15/20 11/20 8/20 16/20")
    known = likeness([group(c.events.tolist(), c.sizes.tolist()) for c in (one, other)])
    assert float(moment_likeness([one, other])) == pytest.approx(known, abs=0.02)


@pytest.mark.parametrize("rho", [0.0, 0.1, 0.3])
def test_likeness_is_told_without_bias_whatever_the_sizes(rho: float) -> None:
    rng = np.random.default_rng(5)
    sizes = np.exp(rng.uniform(np.log(5), np.log(300), (3000, 6))).astype(int)
    alpha = 0.4 * (1 / rho - 1) if rho else 0
    law = rng.beta(alpha, alpha * 1.5, sizes.shape) if rho else np.full(sizes.shape, 0.4)
    arm = Clusters(rng.binomial(sizes, law).astype(float), sizes.astype(float))
    assert float(np.median(moment_likeness([arm]))) == pytest.approx(rho, abs=0.06)
    assert float(np.mean(moment_likeness([arm]))) == pytest.approx(rho, abs=0.02)


def test_likeness_that_nothing_tells_is_assumed() -> None:
    none = clusters("0/50 0/70 0/20")
    assert np.isnan(moment_likeness([none, none]))
    assert float(used_likeness([none, none])) == LIKENESS_IF_UNKNOWN
    one = clusters("0/50 1/70 0/20")
    many = clusters("30/50 42/70 12/20")
    assert 0.1 < float(used_likeness([none, one])) < 0.2  # half told, half assumed
    assert float(used_likeness([none, many])) < 0.01


@given(some_clusters(), some_clusters(), st.floats(-0.9, 0.9))
@settings(max_examples=80, deadline=None)
def test_arms_swapped_mirror(one: Clusters, other: Clusters, difference: float) -> None:
    here, there = p_of_difference(one, other, difference), p_of_difference(other, one, -difference)
    assert float(here) == pytest.approx(float(there), abs=1e-7)
    limits, turned = difference_interval(one, other), difference_interval(other, one)
    assert limits == pytest.approx((-turned.high, -turned.low), abs=1e-6)


@given(some_clusters(), some_clusters(), st.floats(-0.9, 0.9))
@settings(max_examples=80, deadline=None)
def test_events_and_the_rest_swapped_mirror(
    one: Clusters, other: Clusters, difference: float
) -> None:
    rest = [Clusters(arm.sizes - arm.events, arm.sizes) for arm in (one, other)]
    here, there = p_of_difference(one, other, difference), p_of_difference(*rest, -difference)
    assert float(here) == pytest.approx(float(there), abs=1e-7)
    low, high = share_interval(one)
    assert share_interval(rest[0]) == pytest.approx((1 - high, 1 - low), abs=1e-9)


@given(some_clusters(), some_clusters(), st.sampled_from([0.9, 0.95]))
@settings(max_examples=80, deadline=None)
def test_limits_agree_with_the_test(one: Clusters, other: Clusters, level: float) -> None:
    p = float(p_of_difference(one, other))
    assume(abs(p - (1 - level)) > 1e-3)
    low, high = difference_interval(one, other, level)
    assert (low > 1e-9 or high < -1e-9) == (p < 1 - level)
    assert low - 1e-9 <= float(one.share - other.share) <= high + 1e-9
    assert -1 <= low <= high <= 1


@given(some_clusters(), some_clusters())
@settings(max_examples=60, deadline=None)
def test_ratio_and_difference_agree_that_there_is_none(one: Clusters, other: Clusters) -> None:
    assert float(p_of_ratio(one, other)) == pytest.approx(
        float(p_of_difference(one, other)), abs=1e-9
    )


@given(some_clusters(), some_clusters(), st.randoms())
@settings(max_examples=40, deadline=None)
def test_order_of_clusters_does_not_matter(one: Clusters, other: Clusters, random) -> None:  # type: ignore[no-untyped-def]
    order = list(range(one.number))
    random.shuffle(order)
    mixed = Clusters(one.events[order], one.sizes[order])
    assert float(p_of_difference(mixed, other)) == pytest.approx(
        float(p_of_difference(one, other)), abs=1e-9
    )


def test_many_trials_at_once_are_the_same_as_one_by_one() -> None:
    rng = np.random.default_rng(3)
    sizes = rng.integers(5, 90, (7, 4)).astype(float)
    one = Clusters(rng.binomial(sizes.astype(int), 0.4).astype(float), sizes)
    other = Clusters(rng.binomial(sizes.astype(int), 0.2).astype(float), sizes)
    together = p_of_difference(one, other)
    lows, highs = share_limits(one, [other])
    for row in range(7):
        alone = [Clusters(arm.events[row], arm.sizes[row]) for arm in (one, other)]
        assert float(p_of_difference(*alone)) == pytest.approx(float(together[row]))
        limits = share_interval(alone[0], alone[1:])
        assert limits == pytest.approx((float(lows[row]), float(highs[row])))


def test_all_broken_against_none_is_seen_with_three_slides_but_not_with_two() -> None:
    full, none = clusters("100/100 100/100 100/100"), clusters("0/100 0/100 0/100")
    assert float(p_of_difference(full, none)) < 0.02
    assert difference_interval(full, none).low > 0.1
    two = [Clusters(arm.events[:2], arm.sizes[:2]) for arm in (full, none)]
    assert float(p_of_difference(*two)) > 0.05


def test_none_broken_anywhere_is_no_proof_of_none() -> None:
    none = clusters("0/100 0/100 0/100")
    assert float(p_of_difference(none, none)) == 1
    low, high = difference_interval(none, none)
    assert 0.01 < high == pytest.approx(-low)  # 1 % would be the rule of three, spores as units
    # The likeness is assumed where nothing tells it: with the normal law, not Student's.
    spread = norm.isf(0.025) ** 2 * (0.3 + 0.7 / 100) / 3
    assert share_interval(none).high == pytest.approx(spread / (1 + spread), rel=1e-3)


def test_a_ratio_to_hardly_anything_is_hardly_bounded() -> None:
    limits = ratio_interval(clusters("4/5 3/5"), clusters("1/5 0/5"))
    assert limits.low < 7 < limits.high
    assert limits.high > 100
