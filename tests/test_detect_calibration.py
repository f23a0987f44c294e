"""Chances of finds, alone and given how common spores are on their photo."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.detect import engine
from sporecount.detect.calibration import calibrated, fitted_to_photo


def drawn(rng: np.random.Generator, spores: int, litter: int) -> tuple[np.ndarray, np.ndarray]:
    """Return chances that are right where half the finds are spores, and what is one."""
    odds = np.exp(np.concatenate([rng.normal(2.0, 2.0, spores), rng.normal(-2.0, 2.0, litter)]))
    return odds / (1 + odds), np.arange(spores + litter) < spores


def test_chances_rise_with_heat():
    heat = np.linspace(0.01, 0.99, 99)
    even = np.full((99, 4), 0.25)
    for chance in calibrated(heat, heat, even):
        assert (np.diff(chance) > 0).all()
        assert 0.0 <= chance[0] < 0.01
        assert 0.97 < chance[-1] <= 1.0


def test_the_closer_look_raises_what_it_takes_for_a_spore():
    heat, none = np.full(3, 0.6), np.full(3, 0.1)
    shares = np.array([[0.02, 0.02, 0.01, 0.95], [0.25, 0.25, 0.25, 0.25], [0.6, 0.38, 0.01, 0.01]])
    spore, _ = calibrated(heat, none, shares)
    assert (np.diff(spore) > 0.05).all()
    _, fragment = calibrated(none, heat, shares[:, [2, 3, 0, 1]])
    assert fragment[2] > fragment[0]


def test_a_photo_of_litter_makes_every_find_less_likely():
    # Equal normal laws, apart by 4 with variance 4: log odds of spore against litter are x.
    rng = np.random.default_rng(1)
    chances, _ = drawn(rng, 0, 60)
    fitted = fitted_to_photo(chances, 0.5)
    assert (fitted < chances).all()
    assert (fitted >= 0.5).sum() < (chances >= 0.5).sum()


def test_chances_come_closer_to_right_where_litter_prevails():
    said, truly = [], []
    for seed in range(200):
        chances, spore = drawn(np.random.default_rng(seed), 4, 60)
        fitted = fitted_to_photo(chances, 0.5)
        said.append([chances.sum(), fitted.sum()])
        truly.append(spore.sum())
    plain, shifted = np.abs(np.mean(said, axis=0) - np.mean(truly))
    assert shifted < 0.75 * plain


def test_a_photo_full_of_spores_leaves_chances_as_they_are():
    chances, _ = drawn(np.random.default_rng(2), 80, 5)
    np.testing.assert_allclose(fitted_to_photo(chances, 0.5), chances, rtol=1e-6)


@pytest.mark.parametrize("chances", [np.zeros(0), np.array([0.01, 0.02])])
def test_nothing_telling_changes_nothing(chances):
    np.testing.assert_array_equal(fitted_to_photo(chances, 0.7), chances)


def test_order_is_kept():
    chances, _ = drawn(np.random.default_rng(3), 10, 30)
    np.testing.assert_array_equal(
        np.argsort(fitted_to_photo(chances)), np.argsort(chances, kind="stable")
    )


def test_weights_from_elsewhere_are_run_until_told_otherwise(tmp_path):
    field = np.full((1, 4, 4, 48), 51, np.uint8)
    before = engine.run("search", field)
    try:
        engine.use_weights(tmp_path)
        with pytest.raises(FileNotFoundError):
            engine.run("search", field)
    finally:
        engine.use_weights(None)
    np.testing.assert_array_equal(engine.run("search", field), before)
