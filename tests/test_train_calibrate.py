"""The rates that calibration writes: fitted to finds drawn from a known law, they come out."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from importlib import resources

import numpy as np
import pytest

from sporecount.counts.rates import ConfidenceLaw, load_rates
from sporecount.train.calibrate import false_per_mm2, finds_of, fitted_rates, recall_law
from sporecount.train.confidence_law import LEAST_FALSE, fitted_law

BEFORE = ConfidenceLaw(0.5, 3.0, 2.0, 3.0, 3.0)


def photo(rng: np.random.Generator, real: int, false: int, mm2: float, shift: float = 0.0) -> dict:
    """Return finds whose log odds are normal, 2 apart with variance 2: their ratio is a line."""
    logits = np.concatenate([rng.normal(3.0, 2**0.5, real), rng.normal(1.0, 2**0.5, false)])
    return {
        "few": real < 15 * mm2,
        "mm2": mm2,
        "spores": float(real),
        "hits": float(real),
        "false": float(false),
        "chances": 1 / (1 + np.exp(-(logits + shift))),
        "kind": (np.arange(real + false) < real).astype(float),
        "kept": np.ones(real + false, bool),
    }


def test_the_law_of_few_finds_comes_out_as_drawn() -> None:
    # ln(N(x; 3, 2) / N(x; 1, 2)) = x - 2: power 1, even at the logit 2.
    rng = np.random.default_rng(1)
    photos = [photo(rng, 8, 5, 2.0, rng.normal(0, 0.8)) for _ in range(300)]
    law = fitted_law(photos, BEFORE)
    slope = 2.0 / (2.0 + 0.8**2)  # the common error blurs both kinds alike
    assert law.power == pytest.approx(slope, abs=0.12)
    assert np.log(law.even_confidence / (1 - law.even_confidence)) == pytest.approx(2.0, abs=0.2)
    assert law.common_error == pytest.approx(0.8 * slope, abs=0.15)
    assert (law.dense_false, law.dense_shape) == (3.0, 3.0)


def test_the_law_of_many_finds_comes_out_as_drawn() -> None:
    rng = np.random.default_rng(2)
    photos = []
    for _ in range(400):
        chances = rng.beta(20, 2, 100)
        false = min(100, rng.poisson(1.5 * rng.gamma(2.0, 0.5) * (1 - chances).sum()))
        kind = np.zeros(100)
        kind[rng.permutation(100)[false:]] = 1.0
        photos.append({"mm2": 1.0, "chances": chances, "kind": kind, "kept": np.ones(100, bool)})
    law = fitted_law(photos, BEFORE)
    assert law.dense_false == pytest.approx(1.5, rel=0.1)
    assert law.dense_shape == pytest.approx(2.0, rel=0.25)
    assert law.even_confidence == BEFORE.even_confidence


def test_too_few_false_finds_change_nothing() -> None:
    rng = np.random.default_rng(3)
    photos = [photo(rng, 8, int(n < LEAST_FALSE - 1), 2.0) for n in range(50)]
    assert fitted_law(photos, BEFORE) == BEFORE


def test_a_false_find_on_a_tiny_field_is_not_many_per_mm2() -> None:
    photos = [{"false": 1.0, "mm2": 0.03}] + [{"false": 0.0, "mm2": 1.0}] * 20
    mean, spread = false_per_mm2(photos)
    assert mean == pytest.approx(2 / 20.03)
    assert spread < 1.0
    assert false_per_mm2([{"false": 0.0, "mm2": 1.0}] * 5) == (0.2, 0.2)


def test_false_finds_that_differ_between_photos_spread_as_drawn() -> None:
    rng = np.random.default_rng(4)
    mm2 = rng.uniform(0.3, 2.0, 4000)
    false = rng.poisson(rng.gamma(0.5, 2.0, 4000) * mm2)
    mean, spread = false_per_mm2([{"false": f, "mm2": a} for f, a in zip(false, mm2, strict=True)])
    assert mean == pytest.approx(1.0, rel=0.1)
    assert spread == pytest.approx(0.5**0.5 * 2.0, rel=0.15)


def test_what_is_written_is_what_is_read() -> None:
    rng = np.random.default_rng(5)
    photos = [photo(rng, n, 2, 1.0) for n in (4, 9, 14, 30, 60) * 8]
    written = json.loads(json.dumps(fitted_rates(photos, BEFORE)))
    kept = json.loads(resources.files("sporecount.counts").joinpath("rates.json").read_text())
    assert list(written) == list(kept)
    assert list(written["confidence_law"]) == list(asdict(BEFORE))
    assert "16 rendered photos of every condition, and 24 with few" in written["measured_on"]
    assert load_rates().confidence_law == ConfidenceLaw(**kept["confidence_law"])


def test_photos_with_few_spores_have_few() -> None:
    usual, few = (finds_of(("4x", 1, sparse)) for sparse in (False, True))
    assert usual["few"] is False
    assert few["few"] is True
    assert few["spores"] <= 5 * few["mm2"] + 2 < usual["spores"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"even_confidence": 1.0}, "even_confidence 1.0: lies between 0 and 1"),
        ({"power": 0.0}, "power 0.0: is above 0"),
        ({"dense_shape": float("inf")}, "dense_shape inf: is above 0"),
    ],
)
def test_an_impossible_law_is_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        replace(BEFORE, **change)


def test_the_law_of_recall_comes_out_as_drawn() -> None:
    rng = np.random.default_rng(6)
    spores = rng.integers(1, 60, 3000)
    hits = rng.binomial(spores, rng.beta(9.0, 1.0, 3000))
    mean, spread = recall_law(
        [{"hits": float(h), "spores": float(s)} for h, s in zip(hits, spores, strict=True)]
    )
    assert mean == pytest.approx(0.9, abs=0.01)
    assert spread == pytest.approx((0.9 * 0.1 / 11) ** 0.5, rel=0.1)
