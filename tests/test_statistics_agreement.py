"""Agreement on classes and on numbers against published tables and other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import cohens_kappa

from sporecount.statistics.agreement import (
    LINEAR,
    PLAIN,
    QUADRATIC,
    concordance,
    cross_table,
    limits_of_agreement,
    repeatability,
    weighted_kappa,
)

#: Cohen 1968, Psychol. Bull. 70:213-220: shares of 200 patients.
COHEN = 200 * np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])

#: Table in the statsmodels tests (test_inter_rater.py), with the figures that SAS gives for it.
SAS = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]

#: Husbands (rows) and wives: data of R's vcd, SexualFun. Figures computed from them.
COUPLES = [[7, 7, 2, 3], [2, 8, 3, 7], [1, 5, 4, 9], [2, 8, 9, 14]]

#: Patients of two neurologists, Winnipeg: data of R's vcd, MSPatients. Figures computed.
WINNIPEG = [[38, 5, 0, 1], [33, 11, 3, 0], [10, 14, 5, 6], [3, 7, 3, 10]]

#: Bland & Altman 1986, Lancet i:307-310: peak flow of 17 people, twice by each of two meters.
WRIGHT = (
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
    [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
)
MINI = (
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
)


@pytest.mark.parametrize(
    ("weights", "kappa"),
    [
        (PLAIN, 0.492),
        ([[0, 1, 3], [1, 0, 6], [3, 6, 0]], 0.348),
        ([[0, 1, 4], [1, 0, 6], [2, 2, 0]], 0.353),
    ],
)
def test_kappas_that_cohen_printed(weights: object, kappa: float) -> None:
    assert weighted_kappa(COHEN, weights).kappa == pytest.approx(kappa, abs=5e-4)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("weights", "kappa", "error"),
    [
        (PLAIN, 0.491525, 0.051002),
        (LINEAR, 0.473684, 0.054432),
        (QUADRATIC, 0.454545, 0.066454),
        ([[0, 1, 3], [1, 0, 6], [3, 6, 0]], 0.347826, 0.075504),
    ],
)
def test_standard_errors_of_cohens_table(weights: object, kappa: float, error: float) -> None:
    # Formula of Fleiss, Cohen & Everitt 1969, Psychol. Bull. 72:323; computed from the table.
    found = weighted_kappa(COHEN, weights)  # type: ignore[arg-type]
    assert found.kappa == pytest.approx(kappa, abs=5e-7)
    assert found.standard_error == pytest.approx(error, abs=5e-7)


def test_the_table_of_fleiss_with_its_weights_of_agreement() -> None:
    # Fleiss, Cohen & Everitt 1969: table seen, both kappas computed from it.
    table = [[106, 10, 4], [22, 28, 10], [2, 12, 6]]
    alike = np.array([[1, 0, 0.4444], [0, 1, 0.6667], [0.4444, 0.6667, 1]])
    assert weighted_kappa(table, PLAIN).kappa == pytest.approx(0.428571, abs=5e-7)
    assert weighted_kappa(table, 1 - alike).kappa == pytest.approx(0.50707, abs=5e-6)


@pytest.mark.parametrize(
    ("weights", "expected"),
    [(PLAIN, (0.4842, 0.1380, 0.2137, 0.7547)), (LINEAR, (0.4701, 0.1457, 0.1845, 0.7558))],
)
def test_kappa_error_and_limits_that_sas_prints(weights: str, expected: tuple[float, ...]) -> None:
    found = weighted_kappa(SAS, weights)
    assert found[:4] == pytest.approx(expected, abs=6e-5)
    assert found.n == 19


@pytest.mark.parametrize(
    ("table", "kappas"),
    [(COUPLES, (0.1293, 0.2374, 0.3320)), (WINNIPEG, (0.2079, 0.3797, 0.5246))],
)
def test_kappas_of_ordered_classes(table: list[list[int]], kappas: tuple[float, ...]) -> None:
    found = [weighted_kappa(table, weights).kappa for weights in (PLAIN, LINEAR, QUADRATIC)]
    assert found == pytest.approx(kappas, abs=5e-5)


def test_errors_of_ordered_classes() -> None:
    found = [weighted_kappa(COUPLES, w).standard_error for w in (PLAIN, LINEAR, QUADRATIC)]
    assert found == pytest.approx((0.0686, 0.0783, 0.0973), abs=5e-5)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 30), min_size=16, max_size=16))
def test_any_table_is_as_statsmodels_has_it(cells: list[int]) -> None:
    table = np.reshape(cells, (4, 4)) + 2 * np.eye(4, dtype=int) + 1
    for weights, name in ((PLAIN, None), (LINEAR, "linear"), (QUADRATIC, "quadratic")):
        theirs, found = cohens_kappa(table, wt=name), weighted_kappa(table, weights)
        assert found.kappa == pytest.approx(theirs.kappa, abs=1e-9)
        assert found.standard_error == pytest.approx(theirs.std_kappa, rel=1e-9)


def test_kappa_of_two_lists_is_as_scikit_learn_has_it() -> None:
    metrics = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(3)
    first = rng.integers(0, 6, 80)
    second = np.clip(first + rng.integers(-1, 2, 80), 0, 5)
    table = cross_table(first.tolist(), second.tolist(), range(6))
    for weights in (LINEAR, QUADRATIC):
        theirs = metrics.cohen_kappa_score(first, second, weights=weights)
        assert weighted_kappa(table, weights).kappa == pytest.approx(theirs)


def test_all_agreeing_on_few_is_no_certainty() -> None:
    few, many = (weighted_kappa(np.diag([n, n, n])) for n in (1, 40))
    assert few.kappa == many.kappa == few.high == 1.0
    assert few.low < 0.1
    # Upper limit of what may have gone unseen, exact: 1 - .025^(1/120); over 2/3 by chance.
    assert many.low == pytest.approx(1 - (1 - 0.025 ** (1 / 120)) / (2 / 3))


def test_one_class_only_tells_nothing() -> None:
    assert math.isnan(weighted_kappa([[9, 0], [0, 0]]).kappa)


def test_limits_cover_the_true_kappa_of_many_samples() -> None:
    rng = np.random.default_rng(8)
    shares = np.array([[0.3, 0.05, 0.02], [0.06, 0.2, 0.05], [0.02, 0.05, 0.25]])
    true = weighted_kappa(shares * 1e6).kappa
    inside = []
    for _ in range(400):
        found = weighted_kappa(rng.multinomial(100, shares.ravel()).reshape(3, 3))
        inside.append(found.low <= true <= found.high)
    assert 0.92 <= np.mean(inside) <= 0.98


def test_peak_flow_first_readings() -> None:
    # Bias -2.1, SD 38.8, limits -79.7 and 75.5 (two SD, rounded) are printed there (from
    # memory); the digits below are computed from the printed readings, with 1.96 SD.
    found = limits_of_agreement(WRIGHT[0], MINI[0])
    assert (found.bias, found.sd) == pytest.approx((-2.1176, 38.7651), abs=5e-5)
    assert (found.low, found.high) == pytest.approx((-78.097, 73.862), abs=2e-3)
    assert found.bias_limits == pytest.approx((-22.05, 17.81), abs=5e-3)
    # They take two SD for 1.96: their limits' limits are around -79.65 and 75.41.
    further = (2 - 1.959964) * found.sd
    low, high = found.low_limits, found.high_limits
    assert (low.low - further, low.high - further) == pytest.approx((-114.17, -45.13), abs=5e-3)
    assert (high.low + further, high.high + further) == pytest.approx((40.89, 109.93), abs=5e-3)
    assert found.n == 17


def test_peak_flow_repeatability() -> None:
    assert repeatability(*WRIGHT) == pytest.approx(43.29, abs=5e-3)
    assert repeatability(*MINI) == pytest.approx(56.32, abs=5e-3)


def test_peak_flow_concordance() -> None:
    # Lin 1989, Biometrics 45:255: formula; computed from the readings, either denominator.
    assert concordance(WRIGHT[0], MINI[0]).concordance == pytest.approx(0.942742, abs=5e-7)
    found = concordance(WRIGHT[0], MINI[0], ddof=1).concordance
    assert found == pytest.approx(0.942752, abs=5e-7)
    assert concordance(*WRIGHT).concordance == pytest.approx(0.982131, abs=5e-7)
    assert concordance(MINI[0], WRIGHT[0]).concordance == pytest.approx(0.942742, abs=5e-7)
    assert concordance(*MINI).concordance == pytest.approx(0.966566, abs=5e-7)


@pytest.mark.parametrize(("rho", "shift", "stretch"), [(0.9, 0.3, 1.2), (0.6, 0.0, 1.0)])
def test_limits_of_concordance_cover_the_true_value(
    rho: float, shift: float, stretch: float
) -> None:
    rng = np.random.default_rng(12)
    true = 2 * rho * stretch / (1 + stretch**2 + shift**2)
    inside = []
    for _ in range(500):
        x = rng.normal(size=60)
        y = stretch * (rho * x + math.sqrt(1 - rho**2) * rng.normal(size=60)) + shift
        found = concordance(x, y)
        inside.append(found.low <= true <= found.high)
    assert 0.92 <= np.mean(inside) <= 0.98


def test_concordance_falls_where_correlation_does_not() -> None:
    x = np.arange(20.0)
    found = concordance(x, x + 5 + 0.1 * (-1) ** x)
    assert found.concordance < 0.75
    assert concordance(x, x) == (1.0, 1.0, 1.0, 20)
    assert math.isnan(concordance([3, 3, 3], [3, 3, 3]).concordance)
    assert math.isnan(concordance([1, 2, 3], [1, 3, 3]).low)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 500)), min_size=4, max_size=30).filter(
        lambda pairs: len(set(pairs)) > 2
    )
)
def test_swapping_the_two_turns_the_bias_and_nothing_else(pairs: list[tuple[int, int]]) -> None:
    first, second = map(list, zip(*pairs))
    one, other = limits_of_agreement(first, second), limits_of_agreement(second, first)
    assert one.bias == pytest.approx(-other.bias)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low))
    assert concordance(first, second) == pytest.approx(
        concordance(second, first), nan_ok=True, abs=1e-9
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: weighted_kappa([[1, 2]]), "a row and a column for each class"),
        (lambda: weighted_kappa([[0, 0], [0, 0]]), "not all 0"),
        (lambda: weighted_kappa([[1, 0], [0, 1]], "cubic"), "known are linear, quadratic, plain"),
        (lambda: weighted_kappa([[1, 0], [0, 1]], [[1, 0], [0, 1]]), "0 on the diagonal"),
        (lambda: limits_of_agreement([1], [2]), "1 pairs: at least 2"),
        (lambda: concordance([1, 2], [1, 2, 3]), "a pair for each thing"),
        (lambda: repeatability([1, math.nan], [1, 2]), "all are finite"),
        (lambda: cross_table([1], [9], [1, 2]), "class 9: known are 1, 2"),
        (lambda: cross_table([1], [], [1, 2]), "1 and 0 classes"),
    ],
)
def test_what_cannot_be_meant_is_refused(wrong: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        wrong()  # type: ignore[operator]
