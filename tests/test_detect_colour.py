"""Colours of finds, and how far their hues are apart.

Expected values follow from how each field is made here; no outside source.
"""

import numpy as np
import pytest

from sporecount.detect.colour import LEAST_SPREAD, MOST_APART, colours, hue_apart
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings

BROWN, GREY = np.array([0.1, 0.2, 0.3]), np.array([0.2, 0.2, 0.2])


def test_a_disc_has_the_density_it_was_painted_with() -> None:
    y, x = np.mgrid[:300, :400]
    light = np.full((300, 400, 3), 200.0)
    light[np.hypot(x - 120, y - 150) < 14] *= 10**-BROWN
    field = make_field(
        Photo("disc", light.round().astype(np.uint8), sha256=""),
        Calibration(0.6, "drawn"),
        FieldSettings(),
    )
    places = field.to_work_px(np.array([[120.0, 150.0], [300.0, 100.0]]))
    seen = colours(field, places)
    np.testing.assert_allclose(seen[0], BROWN, atol=0.015)
    np.testing.assert_allclose(seen[1], 0.0, atol=0.01)
    assert colours(field, places[:0]).shape == (0, 3)


def test_depth_of_tone_is_no_hue() -> None:
    seen = np.outer([0.5, 1.0, 2.0, 1.0], BROWN)
    np.testing.assert_allclose(hue_apart(seen, np.ones(4)), 0.0, atol=1e-9)


def test_hues_are_measured_in_what_sure_ones_differ_by() -> None:
    rng = np.random.default_rng(1)
    parts = np.array([1 / 6, 1 / 3, 1 / 2]) + rng.normal(0, 0.05, (200, 1)) * [1, -2, 1]
    apart = hue_apart(np.vstack([parts, BROWN]), np.append(np.ones(200), 0.0))
    # Two normal deviations of equal size, in their own spreads, squared and added: mean 2.
    assert np.sqrt(np.mean(apart[:-1] ** 2)) == pytest.approx(2**0.5, rel=0.15)
    tight = hue_apart(np.vstack([[BROWN] * 9, GREY]), np.append(np.ones(9), 0.0))
    assert tight[-1] == MOST_APART
    near = BROWN / BROWN.sum() + [0.5 * LEAST_SPREAD, -0.5 * LEAST_SPREAD, 0.0]
    assert hue_apart(np.vstack([[BROWN] * 9, near]), np.append(np.ones(9), 0.0))[-1] == (
        pytest.approx(0.5)
    )


def test_without_a_sure_find_no_hue_is_known() -> None:
    assert hue_apart(np.vstack([BROWN, GREY]), np.zeros(2)).tolist() == [0.0, 0.0]
