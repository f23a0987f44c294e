"""Close-ups show the photo's own pixels where and as large as asked for."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.field.closeup import close_up, close_ups
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings


def field_with_spot(um_per_px: float, x: float, y: float, sigma_um: float = 4.0) -> Field:
    yy, xx = np.mgrid[:400, :500]
    away_um2 = ((xx - x) ** 2 + (yy - y) ** 2) * um_per_px**2
    density = 0.5 * np.exp(-away_um2 / (2 * sigma_um**2))
    pixels = np.rint(210 * 10.0 ** -density[..., None] * np.ones(3)).astype(np.uint8)
    photo = Photo("spot.png", pixels, sha256="")
    return make_field(photo, Calibration(um_per_px, "drawn"), FieldSettings())


@pytest.mark.parametrize("um_per_px", [0.15, 0.3, 0.5, 0.9, 1.3])
@pytest.mark.parametrize("wanted", [0.25, 0.4, 0.9])
def test_the_spot_lies_in_the_middle_at_the_scale_asked_for(
    um_per_px: float, wanted: float
) -> None:
    x, y = 203.3, 151.8
    patch = close_up(field_with_spot(um_per_px, x, y), x, y, 14.0, wanted)
    side = 2 * int(np.ceil(14.0 / wanted)) + 1
    assert patch.shape == (side, side, 3)
    assert patch.dtype == np.float32
    steps_um = (np.arange(side) - side // 2) * wanted
    away_um2 = steps_um[:, None] ** 2 + steps_um[None] ** 2
    truth = 0.5 * np.exp(-away_um2 / (2 * 4.0**2))
    # 0.02 is what a shift by 0.25 um, or a spread wrong by 5 %, would make.
    assert np.abs(patch[..., 1] - truth).max() < 0.02


def test_many_at_once_equal_one_by_one() -> None:
    field = field_with_spot(0.15, 200.0, 150.0)
    rng = np.random.default_rng(2)
    places = rng.uniform([0, 0], [499, 399], (60, 2))
    many = close_ups(field, places, 9.0, 0.4)
    for patch, (x, y) in zip(many, places):
        np.testing.assert_allclose(patch, close_up(field, x, y, 9.0, 0.4), atol=0.01)


def test_places_at_and_beyond_the_edge_repeat_the_edge() -> None:
    field = field_with_spot(0.3, 200.0, 150.0)
    places = np.array([[0.0, 0.0], [499.0, 399.0], [-20.0, 500.0]])
    for scale in (0.2, 0.9):
        patches = close_ups(field, places, 10.0, scale)
        assert np.abs(patches).max() < 0.02


def test_no_places_give_no_patches() -> None:
    assert close_ups(field_with_spot(0.5, 9, 9), np.empty((0, 2)), 8.0, 0.4).shape == (0, 41, 41, 3)
