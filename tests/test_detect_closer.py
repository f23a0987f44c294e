"""The closer look: what the network is shown of each find."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.detect.closer import CLOSER_UM_PER_PX, SIDE, relative_tones, soft_disc, windows
from sporecount.detect.colour import colours
from sporecount.detect.seeds import Seeds, no_seeds
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings


def _field_with_bar(um_per_px: float, angle_deg: float) -> Field:
    """Draw one dark bar, 14 by 4 um, denser at one end, in the middle of a clear photo."""
    side = round(240 / um_per_px)
    at = (np.arange(side) - (side - 1) / 2) * um_per_px
    turn = np.deg2rad(angle_deg)
    along = at[None, :] * np.cos(turn) + at[:, None] * np.sin(turn)
    across = at[:, None] * np.cos(turn) - at[None, :] * np.sin(turn)
    inside = (np.abs(along) < 7) & (np.abs(across) < 2)
    pixels = np.full((side, side, 3), 220, np.uint8)
    pixels[inside] = 110
    pixels[inside & (along > 4)] = 40
    return make_field(Photo("bar", pixels, ""), Calibration(um_per_px, "drawn"), FieldSettings())


def _middle_seed(field: Field, angle_deg: float) -> Seeds:
    middle = (field.pixels.shape[0] - 1) / 2
    return Seeds(np.full((1, 2), middle), np.array([14.0]), np.array([4.0]), np.array([angle_deg]))


@pytest.mark.parametrize("um_per_px", [0.2, 0.4, 0.7, 1.1])
@pytest.mark.parametrize("angle_deg", [0.0, 35.0, 120.0])
def test_long_axis_lies_level_and_in_the_middle(um_per_px: float, angle_deg: float) -> None:
    field = _field_with_bar(um_per_px, angle_deg)
    seen = windows(field, _middle_seed(field, angle_deg))
    assert seen.shape == (1, 3, SIDE, SIDE)
    ys, xs = np.nonzero(seen[0].mean(axis=0) > 0.3)
    step = max(CLOSER_UM_PER_PX, um_per_px)
    assert np.ptp(xs) * CLOSER_UM_PER_PX == pytest.approx(14.0, abs=2 * step)
    assert np.ptp(ys) * CLOSER_UM_PER_PX == pytest.approx(4.0, abs=2 * step)
    assert xs.mean() == pytest.approx((SIDE - 1) / 2, abs=1.0)
    assert ys.mean() == pytest.approx((SIDE - 1) / 2, abs=1.0)
    # The denser end comes to lie on the right: turned, not mirrored.
    assert (
        seen[0, :, SIDE // 2, SIDE // 2 + 14].mean() > seen[0, :, SIDE // 2, SIDE // 2 - 14].mean()
    )


def test_corners_are_never_seen() -> None:
    disc = soft_disc()
    assert disc[0, 0] == 0.0
    assert disc[SIDE // 2, SIDE // 2] == 1.0
    assert np.array_equal(disc, disc[::-1, ::-1].T)


def test_no_finds_give_no_windows() -> None:
    field = _field_with_bar(0.7, 0.0)
    assert windows(field, no_seeds()).shape == (0, 3, SIDE, SIDE)


def test_tones_tell_a_ghost_beside_its_like() -> None:
    pixels = np.full((300, 600, 3), 220, np.uint8)
    places = [(100 * k + 50, 150) for k in range(6)]
    for number, (x, y) in enumerate(places):
        pixels[y - 12 : y + 13, x - 12 : x + 13] = 200 if number == 3 else 130
    field = make_field(Photo("row", pixels, ""), Calibration(0.5, "drawn"), FieldSettings())
    xy = field.to_work_px(np.array(places, np.float64))
    tones = relative_tones(colours(field, xy), np.ones(6, bool))
    assert tones[3, 0] < -1.0
    assert np.abs(np.delete(tones[:, 0], 3)).max() < 0.2
    assert np.all(tones[:, -1] == 1.0)
    # By itself a find has nothing to be compared with.
    assert np.all(relative_tones(colours(field, xy[3:4]), np.ones(1, bool)) == 0.0)
    assert np.all(relative_tones(colours(field, xy), np.zeros(6, bool)) == 0.0)
    assert relative_tones(colours(field, xy[:0]), np.zeros(0, bool)).shape == (0, 3)
