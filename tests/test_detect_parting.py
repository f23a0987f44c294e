"""Touching bodies are parted."""

import cv2
import numpy as np
import pytest
from scipy.ndimage import binary_fill_holes
from skimage.data import coins

from sporecount.detect.parting import part_touching
from sporecount.errors import SettingsError


def _coin_mask(threshold: float) -> np.ndarray:
    """Coins by a plain threshold on an evened picture; specks dropped."""
    grey = cv2.GaussianBlur(coins().astype(np.float32), (0, 0), 1.5)
    ground = cv2.morphologyEx(grey, cv2.MORPH_OPEN, np.ones((71, 71)))
    mask = (grey - ground > threshold).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((9, 9), np.uint8))
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
    large = stats[:, cv2.CC_STAT_AREA] > 500
    large[0] = False
    return binary_fill_holes(large[labels])


# The picture shows 24 coins in 4 rows of 6, counted by eye.
@pytest.mark.parametrize("threshold", [45, 50, 55])
def test_the_24_coins_of_the_bundled_picture_are_counted(threshold):
    mask = _coin_mask(threshold)
    labels = part_touching(mask, 22.0)
    assert labels.max() == 24
    assert ((labels > 0) == mask).all()


def _ellipse(shape, x, y, length, width, angle):
    mask = np.zeros(shape, np.uint8)
    cv2.ellipse(mask, ((x, y), (length, width), angle), 1, cv2.FILLED)
    return mask > 0


@pytest.mark.parametrize("turn", [0.0, 30.0, 90.0])
@pytest.mark.parametrize("side_by_side", [True, False])
def test_two_touching_ellipses_are_parted(turn, side_by_side):
    apart = 15.0 if side_by_side else 24.5
    way = np.deg2rad(turn + (90.0 if side_by_side else 0.0))
    dx, dy = apart / 2 * np.cos(way), apart / 2 * np.sin(way)
    mask = _ellipse((80, 80), 40 - dx, 40 - dy, 26, 16, turn)
    mask |= _ellipse((80, 80), 40 + dx, 40 + dy, 26, 16, turn)
    labels = part_touching(mask, 8.0)
    assert labels.max() == 2
    one, two = np.bincount(labels.ravel())[1:]
    assert 0.8 < one / two < 1.25


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 80.0])
def test_a_lone_ellipse_stays_whole(turn):
    assert part_touching(_ellipse((60, 60), 30, 30, 34, 20, turn), 10.0).max() == 1


def test_a_turned_mask_gives_turned_counts():
    mask = _coin_mask(50)
    assert part_touching(np.rot90(mask).copy(), 22.0).max() == part_touching(mask, 22.0).max()


def test_thin_bodies_are_not_lost_and_nothing_gives_nothing():
    mask = np.zeros((20, 20), bool)
    assert part_touching(mask, 5.0).max() == 0
    mask[3, 2:9] = True
    mask[10, 2:9] = True
    assert part_touching(mask, 9.0).max() == 2


def test_an_impossible_radius_is_refused():
    with pytest.raises(SettingsError, match="expected_radius_px 0: a body has a positive radius"):
        part_touching(np.ones((4, 4), bool), 0)
