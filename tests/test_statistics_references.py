"""Beta-binomial likelihoods and stratified tables against published and recomputed values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact

from sporecount.statistics.betabinomial import (
    fit_beta_binomial,
    likelihood_ratio,
    log_likelihood,
)
from sporecount.statistics.clusters import Group, donner, group, likeness, rao_scott
from sporecount.statistics.multiple import holm
from sporecount.statistics.permutation import permute_clusters
from sporecount.statistics.stratified import mantel_haenszel


def pairs(text: str) -> Group:
    events, sizes = zip(*(map(float, pair.split("/")) for pair in text.split()))
    return group(events, sizes)


#: Weil 1970, Fd Cosmet. Toxicol. 8:177, and Crowder 1978, Appl. Statist. 27:34 (table 3), as
#: in R's aod: control and treated rats; Orobanche 73 and 75 with bean and cucumber.
RATS = [
    pairs("13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10"),
    pairs("12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7"),
]
PLATES = [
    pairs("10/39 23/62 23/81 26/51 17/39"),
    pairs("5/6 53/74 55/72 32/51 46/79 10/13"),
    pairs("8/16 10/30 8/28 23/45 0/4"),
    pairs("3/12 22/41 15/30 32/51 3/7"),
]


def test_rats_beta_binomial() -> None:
    """Recomputed maxima: p .89798 phi .02020 logL -21.2535; .74001 .31744 -31.5317."""
    for one, known in zip(RATS, [(0.89798, 0.02020, -21.2535), (0.74001, 0.31744, -31.5317)]):
        fit = fit_beta_binomial([one])
        found = (fit.shares[0], fit.likeness[0], fit.log_likelihood)
        assert found == pytest.approx(known, abs=1e-4)


def test_rats_beta_binomial_ratio_tests() -> None:
    """Recomputed: nothing in common against all, 7.7177 on 2 df; equal shares 2.0717 on 1 df."""
    free = fit_beta_binomial(RATS)
    same = fit_beta_binomial(RATS, common_share=True, common_likeness=True)
    assert (same.shares[0], same.likeness[0]) == pytest.approx((0.81826, 0.21309), abs=1e-4)
    assert same.log_likelihood == pytest.approx(-56.6441, abs=1e-4)
    found = likelihood_ratio(same, free)
    assert (found.statistic, found.df) == (pytest.approx(7.7177, abs=1e-3), 2)
    alike = fit_beta_binomial(RATS, common_likeness=True)
    assert alike.likeness[0] == pytest.approx(0.19272, abs=1e-4)
    found = likelihood_ratio(same, alike)
    assert (found.statistic, found.df) == (pytest.approx(2.0717, abs=1e-3), 1)


def test_cluster_aware_tests_of_the_rats_are_much_less_sure_than_the_naive() -> None:
    """Naive chi2 8.8999, p .00285; aware of litters .04 to .15."""
    free = fit_beta_binomial(RATS, common_likeness=True)
    same = fit_beta_binomial(RATS, common_share=True, common_likeness=True)
    aware = [rao_scott(RATS).p, donner(RATS).p, likelihood_ratio(same, free).p]
    aware.append(permute_clusters(RATS).p)
    assert all(0.04 < p < 0.16 for p in aware)


def test_plates_vary_more_than_chance() -> None:
    """Crowder 1978, table 3: Pearson's 31.6511 on 17 df from binomial with interaction."""
    pearson = sum(
        float(((one.events - one.sizes * one.share) ** 2 / (one.sizes * one.share)).sum())
        / (1 - one.share)
        for one in PLATES
    )
    assert pearson == pytest.approx(31.6511, abs=1e-3)
    assert 0 < likeness(PLATES) < 0.05
    assert 0 < fit_beta_binomial(PLATES, common_likeness=True).likeness[0] < 0.05


def test_the_beta_binomial_of_unlike_units_is_binomial() -> None:
    from scipy.stats import binom

    one = group([3, 4], [10, 12])
    known = binom.logpmf([3, 4], [10, 12], 0.3).sum()
    assert log_likelihood(one, 0.3, 1e-8) == pytest.approx(known, abs=1e-5)


#: Men admitted, men, women admitted, women of six departments (Bickel et al. 1975, Science
#: 187:398).
ADMISSIONS = [
    (512, 825, 89, 108),
    (353, 560, 17, 25),
    (120, 325, 202, 593),
    (138, 417, 131, 375),
    (53, 191, 94, 393),
    (22, 373, 24, 341),
]


def test_admissions() -> None:
    """R's output: OR .9046968; chi2 1.5246 p .2169, corrected 1.4269 p .2323; limits."""
    tables = [[[a, b - a], [c, d - c]] for a, b, c, d in ADMISSIONS]
    found = mantel_haenszel(tables, corrected=False)
    assert found.odds_ratio == pytest.approx(0.9046968, abs=1e-6)
    assert found.limits == pytest.approx((0.7719074, 1.0603298), abs=1e-5)
    assert (found.chi2, found.p) == pytest.approx((1.5246, 0.2169), abs=5e-5)
    found = mantel_haenszel(tables)
    assert (found.chi2, found.p) == pytest.approx((1.4269, 0.2323), abs=5e-5)


RABBITS = [
    [[0, 0], [6, 5]],
    [[3, 0], [3, 6]],
    [[6, 2], [0, 4]],
    [[5, 6], [1, 0]],
    [[2, 5], [0, 0]],
]


def test_penicillin_in_rabbits() -> None:
    """Mantel 1963: OR 7; corrected chi2 3.9286, p .04747; limits 1.026713 to 47.725133."""
    found = mantel_haenszel(RABBITS)
    assert found.odds_ratio == pytest.approx(7)
    assert (found.chi2, found.p) == pytest.approx((3.9286, 0.04747), abs=5e-5)
    assert found.limits == pytest.approx((1.026713, 47.725133), rel=1e-5)


def test_five_strata() -> None:
    """In the tests of statsmodels: OR 3.5912, chi2 11.8852 p .0005658, 1.781135 to 7.240633."""
    tables = [
        [[20, 14], [10, 24]],
        [[15, 12], [3, 15]],
        [[3, 2], [3, 2]],
        [[12, 3], [7, 5]],
        [[1, 0], [3, 2]],
    ]
    found = mantel_haenszel(tables)
    assert found.odds_ratio == pytest.approx(3.5912, abs=5e-5)
    assert (found.chi2, found.p) == pytest.approx((11.8852, 0.0005658), rel=1e-4)
    assert found.limits == pytest.approx((1.781135, 7.240633), rel=1e-5)


def test_groups_swapped_turn_the_odds() -> None:
    one, other = mantel_haenszel(RABBITS), mantel_haenszel(np.asarray(RABBITS)[:, ::-1])
    assert one.odds_ratio == pytest.approx(1 / other.odds_ratio)
    assert one.p == pytest.approx(other.p)


@pytest.mark.parametrize(
    ("table", "alternative", "known"),
    [
        ([[3, 1], [1, 3]], "greater", 17 / 70),  # tea: Agresti 1990, p. 61
        ([[4, 0], [0, 4]], "greater", 1 / 70),
        ([[4, 0], [0, 4]], "two-sided", 2 / 70),
        ([[3, 1], [1, 3]], "two-sided", 0.4857143),
        ([[8, 2], [1, 5]], "greater", None),
        ([[15, 3], [2, 10]], "greater", 0.0004652),  # twins: Fisher 1962
    ],
)
def test_permutation_of_clusters_of_one_is_fisher_s_exact_test(
    table: list[list[int]], alternative: str, known: float | None
) -> None:
    ones = [group([1] * a + [0] * b, [1] * (a + b)) for a, b in table]
    found = permute_clusters(ones, alternative)
    if found.is_exact:
        assert found.p == pytest.approx(fisher_exact(table, alternative)[1], abs=1e-12)
    if known is not None:
        # Too many ways for the twins: a draw of them.
        assert found.p == pytest.approx(known, abs=1e-7 if found.is_exact else 2e-3)


@given(
    st.lists(st.lists(st.integers(1, 30), min_size=4, max_size=4), min_size=1, max_size=5),
    st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_strata_agree_with_statsmodels(tables: list[list[int]], corrected: bool) -> None:
    from statsmodels.stats.contingency_tables import StratifiedTable

    strata = np.reshape(tables, (-1, 2, 2))
    known = StratifiedTable(np.moveaxis(strata.astype(float), 0, -1))
    found = mantel_haenszel(strata, corrected=corrected)
    assert found.odds_ratio == pytest.approx(known.oddsratio_pooled)
    assert found.limits == pytest.approx(known.oddsratio_pooled_confint())
    # Where the tables differ by less than the correction, theirs overshoots and ours is 0.
    test = known.test_null_odds(correction=corrected)
    if found.chi2 > 0:
        assert (found.chi2, found.p) == pytest.approx((test.statistic, test.pvalue))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=7))
@settings(max_examples=15, deadline=None)
def test_holm_agrees_with_statsmodels(values: list[float]) -> None:
    from statsmodels.stats.multitest import multipletests

    assert holm(values) == pytest.approx(list(multipletests(values, method="holm")[1]))
