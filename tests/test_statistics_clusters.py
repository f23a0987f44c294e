"""Proportions and clustered proportions against published and recomputed values."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.statistics.clusters import (
    Group,
    clustered_interval,
    design_effect,
    donner,
    group,
    likeness,
    rao_scott,
)
from sporecount.statistics.proportions import Interval, difference, exact, wilson


def pairs(text: str) -> Group:
    events, sizes = zip(*(map(float, pair.split("/")) for pair in text.split()))
    return group(events, sizes)


#: Weil 1970, Fd Cosmet. Toxicol. 8:177 (pups that lived / pups of a litter), as in R's aod.
RATS = (
    pairs("13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10"),
    pairs("12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7"),
)
#: Crowder 1978, Appl. Statist. 27:34 (seeds that germinated / seeds of a plate), as in R's aod.
SEEDS = (
    pairs("2/43 9/51 5/44 16/71 2/24 0/7"),
    pairs("17/19 43/56 79/87 50/55 9/10"),
    pairs("11/13 47/62 90/104 46/51 9/11"),
)


@pytest.mark.parametrize(
    ("events", "sizes", "by_wilson", "by_exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_newcombe_s_four_examples(
    events: int, sizes: int, by_wilson: tuple[float, float], by_exact: tuple[float, float]
) -> None:
    """Newcombe 1998, Stat. Med. 17:857-872: examples from memory, limits recomputed."""
    assert wilson(events, sizes) == pytest.approx(by_wilson, abs=5e-5)
    assert exact(events, sizes) == pytest.approx(by_exact, abs=5e-5)


def test_limits_as_r_gives_them() -> None:
    """R's binom package for 18/20, as stored in statsmodels (results_proportion.py)."""
    assert wilson(18, 20) == pytest.approx((0.6989663547715128, 0.972133518786232))
    assert exact(18, 20) == pytest.approx((0.6830172859809176, 0.9876514728297052))


@pytest.mark.parametrize(
    ("one", "other", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((0, 10), (0, 20), -0.1611, 0.2775),
        ((0, 10), (0, 10), -0.2775, 0.2775),
        ((10, 10), (0, 20), 0.6791, 1.0),
        ((10, 10), (0, 10), 0.6075, 1.0),
        ((7, 34), (1, 34), 0.01892, 0.34037),
    ],
)
def test_newcombe_s_differences(
    one: tuple[int, int], other: tuple[int, int], low: float, high: float
) -> None:
    """Newcombe 1998, Stat. Med. 17:873-890, method 10: pairs from memory, limits recomputed.

    The last pair is in the tests of statsmodels 0.15 (printed .019, .34).
    """
    limits = difference(one[0] / one[1], wilson(*one), other[0] / other[1], wilson(*other))
    assert limits == pytest.approx((low, high), abs=5e-5)
    turned = difference(other[0] / other[1], wilson(*other), one[0] / one[1], wilson(*one))
    assert turned == pytest.approx((-limits.high, -limits.low))


def test_limits_agree_with_statsmodels() -> None:
    from statsmodels.stats.proportion import proportion_confint

    for events, sizes in ((0, 3), (3, 3), (7, 23), (1, 400)):
        for level in (0.8, 0.95):
            for method, own in (("wilson", wilson), ("beta", exact)):
                known = proportion_confint(events, sizes, 1 - level, method)
                assert own(events, sizes, level) == pytest.approx(known, abs=1e-12)


def test_rats_totals_and_design_effects() -> None:
    """Rao and Scott 1992, Biometrics 48:577-585, formulas as in R's aod; recomputed."""
    assert [one.share for one in RATS] == pytest.approx([142 / 158, 112 / 145])
    assert [design_effect(one) for one in RATS] == pytest.approx([1.2325, 3.9529], abs=5e-5)


def test_rats_rao_scott() -> None:
    """As above: 4.0406, p .0444; with one pooled design effect 2.9001, p .0886."""
    each, pooled = rao_scott(RATS), rao_scott(RATS, pooled=True)
    assert (each.chi2, each.df, each.p) == pytest.approx((4.0406, 1, 0.0444), abs=5e-5)
    assert (pooled.chi2, pooled.p) == pytest.approx((2.9001, 0.0886), abs=5e-5)


def test_rats_donner() -> None:
    """Donner 1989, Biometrics 45:605, as in R's aod; recomputed: rho .2506, 2.7610, p .0966."""
    assert likeness(RATS) == pytest.approx(0.2506, abs=5e-5)
    assert (donner(RATS).chi2, donner(RATS).p) == pytest.approx((2.7610, 0.0966), abs=5e-5)


def test_the_unit_matters() -> None:
    """The naive test of the same rats says chi2 8.8999, p .00285 (recomputed)."""
    apart = [
        group(
            [1.0] * int(one.events.sum()) + [0.0] * int((one.sizes - one.events).sum()),
            [1.0] * int(one.total),
        )
        for one in RATS
    ]
    # With every pup a litter of its own the design effect is n / (n - 1), nearly 1.
    assert rao_scott(apart).chi2 == pytest.approx(8.8999, abs=0.12)
    assert rao_scott(apart).p < 0.004 < rao_scott(RATS).p


def test_germinating_seeds_rao_scott() -> None:
    """Crowder 1978's first table: design effects 2.4532, 2.3839, 1.6545; chi2 155.1414, 2 df."""
    assert [design_effect(one) for one in SEEDS] == pytest.approx(
        [2.4532, 2.3839, 1.6545], abs=5e-5
    )
    found = rao_scott(SEEDS)
    assert (found.chi2, found.df) == pytest.approx((155.1414, 2), abs=5e-4)


def test_likeness_at_its_ends() -> None:
    assert likeness([group([4, 0, 4, 0], [4, 4, 4, 4])]) == pytest.approx(1.0)
    assert likeness([group([2, 2, 2, 2], [4, 4, 4, 4])]) < 0
    assert np.isnan(likeness([group([0, 0], [4, 4])]))
    assert np.isnan(likeness([group([1, 0], [1, 1])]))


def test_alike_adults_make_wider_limits() -> None:
    alike, mixed = group([6, 0, 6, 0, 6, 0], [6] * 6), group([3] * 6, [6] * 6)
    wide, narrow = (clustered_interval(one, likeness([one])) for one in (alike, mixed))
    assert wide.high - wide.low > narrow.high - narrow.low
    assert wide.low < wilson(3, 6).low  # six units at most, since clusters are what counts


def test_adults_that_are_alone_in_their_broods_are_independent() -> None:
    one = group([1, 0, 0, 0, 1], [1] * 5)
    assert clustered_interval(one, float("nan")) == wilson(2, 5)


def test_one_brood_says_little_of_others() -> None:
    one = group([9], [12])
    limits = [clustered_interval(one, rho) for rho in (float("nan"), 0.5, 0.0)]
    assert limits[0] == wilson(0.75, 1)  # as one adult, where all may be alike
    assert limits[2] == wilson(9, 12)
    assert limits[0].low < limits[1].low < limits[2].low


def test_no_infected_adult_in_a_few_broods_is_not_much_evidence() -> None:
    none = group([0, 0, 0], [10, 10, 10])
    limits = clustered_interval(none, float("nan"))
    assert limits.low == 0
    assert limits.high > wilson(0, 3).high > wilson(0, 30).high
    assert clustered_interval(none, 0.0).high < limits.high


def test_the_limits_hold_where_adults_of_a_brood_are_alike() -> None:
    """Simulated: eight adults a brood, likeness 0.3; nominal 95 %, see docs/rearing-log.md."""
    rng = np.random.default_rng(3)
    held = naive = 0
    repeats = 300
    for _ in range(repeats):
        sizes = 1 + rng.poisson(7, 10)
        events = rng.binomial(sizes, rng.beta(0.2 * 7 / 3, 0.8 * 7 / 3, 10))
        one = group(events.tolist(), sizes.tolist())
        held += _within(0.2, clustered_interval(one, likeness([one])))
        naive += _within(0.2, wilson(one.events.sum(), one.total))
    assert held / repeats > 0.91
    assert naive / repeats < 0.80


def _within(share: float, limits: Interval) -> bool:
    return limits.low <= share <= limits.high
