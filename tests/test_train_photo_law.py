"""What a photo's finds tell of its mistakes: fitted to photos drawn from a law, it comes out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sporecount.counts.detector_error import missed_chances, spores_range
from sporecount.counts.rates import DetectorRates, PhotoLaw
from sporecount.train.photo_law import MARGIN, fitted_photo_law

LAW = PhotoLaw(
    power=1.3,
    common_error=1.2,
    missed_per_found=0.05,
    missed_per_doubtful=1.5,
    missed_shape=1.5,
)
RATES = DetectorRates(0.9, 0.05, 0.1, confidence_is_calibrated=True, photo_law=LAW)


def drawn(rng: np.random.Generator, finds: int) -> dict:
    """Return one photo's finds: true ones and missed ones as `LAW` has them."""
    said = rng.uniform(0.0, 6.0, finds)
    doubt = rng.uniform(-4.0, 0.0, rng.poisson(6))
    logits = LAW.power * said + LAW.common_error * rng.normal()
    spore = rng.random(finds) < 1 / (1 + np.exp(-logits))
    doubtful = 1 / (1 + np.exp(-doubt))
    hits = int(spore.sum())
    mean = LAW.missed_per_found * hits + LAW.missed_per_doubtful * doubtful.sum()
    missed = rng.poisson(mean * rng.gamma(LAW.missed_shape) / LAW.missed_shape)
    return {
        "chances": np.concatenate([1 / (1 + np.exp(-said)), doubtful]),
        "kept": np.arange(finds + len(doubt)) < finds,
        "kind": np.concatenate([spore.astype(float), np.zeros(len(doubt))]),
        "hits": float(hits),
        "spores": float(hits + missed),
    }


def test_the_law_comes_out_as_drawn() -> None:
    rng = np.random.default_rng(1)
    law = fitted_photo_law([drawn(rng, int(rng.integers(5, 60))) for _ in range(500)])
    assert law.power == pytest.approx(LAW.power, rel=0.15)
    assert law.common_error == pytest.approx(MARGIN * LAW.common_error, rel=0.15)
    assert law.missed_per_found == pytest.approx(LAW.missed_per_found, rel=0.25)
    assert law.missed_per_doubtful == pytest.approx(LAW.missed_per_doubtful, rel=0.15)
    assert law.missed_shape == pytest.approx(LAW.missed_shape / MARGIN, rel=0.25)


def test_the_range_holds_what_was_drawn_as_often_as_it_says() -> None:
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(400):
        photo = drawn(rng, int(rng.integers(1, 40)))
        kept = photo["kept"]
        low, high = spores_range(
            int(kept.sum()),
            1.0,
            RATES,
            confidences=photo["chances"][kept],
            doubtful=float(photo["chances"][~kept].sum()),
            level=0.9,
        )
        held += low <= photo["spores"] <= high
    # 90 % wanted; whole numbers make it more. 0.865 is two standard errors below.
    assert 0.865 < held / 400 < 0.99


def test_misses_follow_a_negative_binomial_law() -> None:
    from scipy.stats import nbinom

    mean = 0.05 * 20 + 1.5 * 3.0
    expected = nbinom.pmf(np.arange(60), 1.5, 1.5 / (1.5 + mean))
    np.testing.assert_allclose(missed_chances(20, 59, RATES, 3.0), expected, rtol=1e-9)
    assert missed_chances(0, 5, RATES, 0.0).tolist() == [1.0, 0, 0, 0, 0, 0]


def test_more_in_doubt_is_a_higher_limit() -> None:
    ranges = [
        spores_range(30, 1.0, RATES, confidences=np.full(30, 0.99), doubtful=doubtful)
        for doubtful in (0.0, 2.0, 20.0)
    ]
    assert ranges[0].high < ranges[1].high < ranges[2].high
    # What is in doubt is told by no one where a person counted, or on other microscopes.
    other = replace(RATES, photo_law=None)
    plain, same = (
        spores_range(30, 1.0, other, confidences=np.ones(30), doubtful=d) for d in (None, 20.0)
    )
    assert plain == same


def test_an_impossible_law_is_refused() -> None:
    with pytest.raises(ValueError, match=r"missed_shape 0\.0: is above 0"):
        replace(LAW, missed_shape=0.0)
