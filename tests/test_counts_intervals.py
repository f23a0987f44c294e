"""Classes, exact Poisson limits and the range of spores that the detector's mistakes leave."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sporecount.counts.detector_error import (
    _false_from_confidences,
    missed_chances,
    spores_range,
)
from sporecount.counts.loadclass import class_range, load_class
from sporecount.counts.poisson import density_per_mm2, poisson_limits
from sporecount.counts.rates import DetectorRates, load_rates
from sporecount.errors import SettingsError
from sporecount.settings import CountSettings

RATES = DetectorRates(recall_mean=0.88, recall_sd=0.06, false_per_mm2=0.4, false_per_mm2_sd=0.3)

# Garwood 1936, Biometrika 28:437-442; recomputed from the chi-square formula.
GARWOOD = {
    0: (0.0, 3.6889),
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    7: (2.8144, 14.4227),
    12: (6.2006, 20.9616),
    25: (16.1787, 36.9049),
    100: (81.3640, 121.6268),
    1000: (938.9730, 1063.9521),
}


@pytest.mark.parametrize(
    ("spores", "expected"),
    # Altizer, Oberhauser & Brower 2000; the cut-offs are from memory.
    [(0, 0), (1, 1), (2, 2), (20, 2), (21, 3), (100, 3), (101, 4), (1000, 4), (1001, 5), (9**9, 5)],
)
def test_load_class_at_its_bounds(spores: int, expected: int) -> None:
    assert load_class(spores) == expected


def test_load_class_follows_the_bounds_a_person_gives() -> None:
    assert load_class(10, (0, 1, 5, 10)) == 3
    assert class_range(2, (0, 1, 5, 10)) == "5-9 spores"


def test_load_class_refuses_a_negative_count() -> None:
    with pytest.raises(ValueError, match="spores -1: a count is 0 or more"):
        load_class(-1)


@pytest.mark.parametrize("bounds", [(), (1, 2), (0, 1, 1), (0, 5, 2)])
def test_settings_refuse_bounds_that_do_not_rise_from_0(bounds: tuple[int, ...]) -> None:
    with pytest.raises(SettingsError, match="starts at 0 and rises"):
        CountSettings(class_lower_bounds=bounds)


@pytest.mark.parametrize("level", [0.0, 1.0, 95.0, math.nan])
def test_settings_refuse_an_impossible_level(level: float) -> None:
    with pytest.raises(SettingsError, match="lies between 0 and 1"):
        CountSettings(level=level)


@pytest.mark.parametrize(("count", "limits"), GARWOOD.items())
def test_poisson_limits_match_garwood(count: int, limits: tuple[float, float]) -> None:
    assert poisson_limits(count) == pytest.approx(limits, abs=5e-5)


@pytest.mark.parametrize("count", [1, 3, 40, 700])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_poisson_limits_match_statsmodels(count: int, level: float) -> None:
    rates = pytest.importorskip("statsmodels.stats.rates")
    expected = rates.confint_poisson(count, 1.0, method="exact-c", alpha=1 - level)
    assert poisson_limits(count, level) == pytest.approx(expected, rel=1e-9)


def test_density_matches_r_on_15_events_in_400() -> None:
    # R results held in the statsmodels 0.15.0 wheel, stats/tests/test_rates_poisson.py.
    density = density_per_mm2(15, 400.0)
    assert density == pytest.approx((0.0375, 0.0209884653319583, 0.0618505471787146), rel=1e-10)


@pytest.mark.parametrize("area", [0.0, -1.0, math.nan, math.inf])
def test_density_refuses_an_area_that_is_none(area: float) -> None:
    with pytest.raises(ValueError, match="an examined area is larger than 0"):
        density_per_mm2(3, area)


@settings(deadline=None, max_examples=60)
@given(
    detections=st.integers(0, 3000),
    area=st.floats(0.0, 50.0),
    mean=st.floats(0.5, 1.0),
    false=st.floats(0.0, 5.0),
    false_sd=st.floats(0.0, 3.0),
)
def test_range_always_holds_the_count(
    detections: int, area: float, mean: float, false: float, false_sd: float
) -> None:
    rates = DetectorRates(mean, 0.05 if mean < 0.95 else 0.0, false, false_sd)
    low, high = spores_range(detections, area, rates)
    assert 0 <= low <= detections <= high


def test_nothing_found_can_be_nothing_there_and_never_much() -> None:
    assert spores_range(0, 3.0, RATES).low == 0
    assert 1 <= spores_range(0, 3.0, RATES).high <= 3


def test_perfect_detector_leaves_no_doubt() -> None:
    perfect = DetectorRates(recall_mean=1.0, recall_sd=0.0, false_per_mm2=0.0)
    assert spores_range(37, 2.0, perfect) == (37, 37)


def test_more_false_alarms_lower_the_range_and_more_misses_raise_it() -> None:
    plain = spores_range(50, 2.0, DetectorRates(0.9, 0.05, 0.1))
    alarms = spores_range(50, 2.0, DetectorRates(0.9, 0.05, 5.0))
    misses = spores_range(50, 2.0, DetectorRates(0.7, 0.05, 0.1))
    assert alarms.low < plain.low
    assert misses.high > plain.high


def test_range_does_not_hold_sampling() -> None:
    # A near-perfect detector: sampling alone would give 81 to 122 (Garwood).
    low, high = spores_range(100, 1.0, DetectorRates(0.999, 0.0, 0.0))
    assert (low, high) == (100, 101)


@pytest.mark.parametrize("spores", [0, 3, 30, 300])
def test_range_covers_the_truth(spores: int) -> None:
    """Simulated photos: the truth is inside for at least 93 of 100 (95 are aimed at)."""
    rng, area, runs = np.random.default_rng(spores), 3.0, 600
    a, b = RATES.recall_beta
    shape = (RATES.false_per_mm2 / RATES.false_per_mm2_sd) ** 2
    found = rng.binomial(spores, rng.beta(a, b, runs))
    false = rng.poisson(area * rng.gamma(shape, RATES.false_per_mm2 / shape, runs))
    ranges = {n: spores_range(int(n), area, RATES) for n in np.unique(found + false)}
    inside = [ranges[n].low <= spores <= ranges[n].high for n in found + false]
    assert np.mean(inside) >= 0.93


def test_calibrated_confidences_take_the_place_of_the_rate() -> None:
    sure = DetectorRates(1.0, 0.0, 9.0, confidence_is_calibrated=True)
    assert spores_range(20, 2.0, sure, confidences=np.ones(20)) == (20, 20)
    doubtful = spores_range(20, 2.0, sure, confidences=np.full(20, 0.5))
    # 20 fair coins: 6 to 14 heads hold 95 percent (binomial quantiles).
    assert doubtful == (6, 20)


def test_confidences_that_are_not_calibrated_are_left_aside() -> None:
    assert spores_range(20, 2.0, RATES, confidences=np.full(20, 0.01)) == spores_range(
        20, 2.0, RATES
    )


def test_confidences_must_be_one_for_each_detection() -> None:
    rates = DetectorRates(0.9, 0.05, 0.1, confidence_is_calibrated=True)
    with pytest.raises(ValueError, match="one for each of 3 detections"):
        spores_range(3, 1.0, rates, confidences=[0.5, 0.5])


def test_missed_spores_follow_the_beta_negative_binomial_law() -> None:
    stats = pytest.importorskip("scipy.stats")
    a, b = RATES.recall_beta
    expected = stats.betanbinom(8, a - 1, b).pmf(np.arange(30))
    assert missed_chances(7, 29, RATES) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"recall_mean": 0.0}, "recall_mean 0.0"),
        ({"recall_mean": 1.2}, "recall_mean 1.2"),
        ({"recall_sd": 0.45}, "recall_sd 0.45"),
        ({"recall_sd": -0.1}, "recall_sd -0.1"),
        ({"false_per_mm2": -1.0}, "false_per_mm2 -1.0"),
        ({"false_per_mm2_sd": math.inf}, "false_per_mm2_sd inf"),
    ],
)
def test_impossible_rates_are_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        DetectorRates(**{"recall_mean": 0.9, "recall_sd": 0.05, "false_per_mm2": 0.1, **change})


def test_the_rates_in_the_package_say_what_they_were_measured_on() -> None:
    assert load_rates().measured_on


def test_many_sure_and_unsure_detections_give_the_whole_law_of_false_ones() -> None:
    # Independent reference: the law's generating function, turned back by a discrete Fourier
    # transform (Hong 2013, Computational Statistics & Data Analysis 59, 41-51).
    rng = np.random.default_rng(4)
    true = np.concatenate([np.ones(300), rng.uniform(0.3, 1.0, 700)])
    turn = np.exp(2j * np.pi * np.arange(1001) / 1001)
    points = np.prod(true[:, None] + (1 - true[:, None]) * turn, axis=0)
    expected = np.fft.fft(points).real / 1001
    assert _false_from_confidences(true, 1000, None) == pytest.approx(expected, abs=1e-12)
