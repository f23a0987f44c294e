"""Chances of finds, alone and given how common spores are on their photo."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.detect import engine
from sporecount.detect.calibration import calibrated, chance_of, fitted_to_photo, photo_evidence
from sporecount.train.calibrate import fit_line


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


def test_a_lonely_find_is_less_likely_than_one_among_many():
    alone, among = np.array([0.7]), np.array([0.7] + [0.999] * 40)
    assert fitted_to_photo(alone)[0] < 0.5 < fitted_to_photo(among)[0]


def test_doubtful_company_makes_a_find_less_likely():
    calm, busy = ([0.8] + [0.99] * 5 + [0.3] * number for number in (0, 40))
    assert fitted_to_photo(np.array(busy))[0] < fitted_to_photo(np.array(calm))[0]


def test_what_a_photo_shows_is_learned_from_photos_of_both_kinds():
    # By Bayes' rule a find's log odds rise with the number of spores among the others, where
    # photos differ in how many there are. Fitted to such photos, what is said comes true.
    photos = []
    for seed in range(400):
        spores = 0 if seed % 2 else 30
        chances, spore = drawn(np.random.default_rng(seed), spores, 12)
        photos.append((chances, spore))
    evidence = np.concatenate([photo_evidence(chances) for chances, _ in photos])
    truth = np.concatenate([spore for _, spore in photos])
    weights = np.concatenate([np.full(len(c), 3.0 if not s.any() else 1.0) for c, s in photos])
    line = fit_line(evidence, truth, weights)
    said = [
        np.concatenate([chance_of(photo_evidence(c), line) for c, _ in photos[k::2]])
        for k in (0, 1)
    ]
    true = [np.concatenate([s for _, s in photos[k::2]]) for k in (0, 1)]
    assert line[1] > 0.3
    assert said[0].mean() == pytest.approx(true[0].mean(), abs=0.03)
    assert said[1].mean() < 0.03 < np.concatenate([c for c, _ in photos[1::2]]).mean()


def test_no_chance_is_raised():
    chances, _ = drawn(np.random.default_rng(5), 6, 60)
    fitted = fitted_to_photo(chances)
    assert (fitted <= chances).all()
    assert (fitted < chances).any()


def test_finds_that_do_not_speak_change_no_other():
    chances = np.array([0.9, 0.6, 0.95, 0.95])
    speaks = np.array([True, True, False, False])
    fitted = fitted_to_photo(chances, among=speaks)
    np.testing.assert_allclose(fitted[:2], fitted_to_photo(chances[:2]))
    assert fitted[2] == fitted[3] > fitted[0]


def test_a_find_of_another_hue_is_less_likely():
    chances = np.array([0.7, 0.7] + [0.999] * 20)
    brown, grey = [0.1, 0.2, 0.3], [0.2, 0.2, 0.2]
    fitted = fitted_to_photo(chances, np.array([brown, grey] + [brown] * 20, np.float32))
    assert fitted[1] < 0.8 * fitted[0]
    # Where nothing is surely a spore, no hue is known.
    alone = fitted_to_photo(np.array([0.3, 0.3]), np.array([brown, grey], np.float32))
    assert alone[0] == pytest.approx(alone[1], abs=0.02)


def test_nothing_found_gives_nothing():
    assert fitted_to_photo(np.zeros(0)).shape == (0,)


@pytest.mark.parametrize(("spores", "litter"), [(10, 30), (1, 5), (0, 2)])
def test_order_is_kept(spores, litter):
    chances, _ = drawn(np.random.default_rng(3), spores, litter)
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
