"""The eyepiece's field: found in drawn photos with known circles, and turned into a scale."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from sporecount.errors import ScaleError
from sporecount.scale.eyepiece import (
    Eyepiece,
    calibration_from_eyepiece,
    eyepiece_calibration,
    find_eyepiece_circle,
)


def view(
    height, width, x, y, radius, *, seed=0, soft_px=3.0, dirt=0, surround=6, tint=(1, 0.95, 0.8)
):
    """Draw a bright disc with uneven light, debris, a soft rim and noise."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[:height, :width]
    distance = np.hypot(columns - x, rows - y)
    inside = 0.5 - 0.5 * np.tanh((distance - radius) / soft_px)
    light = 215 * (1 - 0.25 * (distance / radius) ** 2) * np.ones_like(distance)
    for _ in range(dirt):
        angle, share = rng.uniform(0, 2 * np.pi), rng.uniform(0, 1.02)
        centre = (int(x + share * radius * np.cos(angle)), int(y + share * radius * np.sin(angle)))
        axes = (int(radius * rng.uniform(0.02, 0.08)), int(radius * rng.uniform(0.01, 0.04)))
        cv2.ellipse(light, centre, axes, float(rng.uniform(0, 180)), 0, 360, 50.0, -1)
    grey = surround + inside * (light - surround)
    rgb = grey[..., None] * np.array(tint) + rng.normal(0, 3, (height, width, 3))
    return np.clip(np.rint(rgb), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    ("height", "width", "x", "y", "radius", "dirt"),
    [
        (600, 800, 400.3, 300.7, 240.0, 0),
        (600, 800, 380.2, 310.1, 250.5, 60),
        (600, 800, 250.0, 330.0, 320.0, 40),  # cut left, top and bottom
        (600, 800, 400.0, 300.0, 420.0, 40),  # only the corners are dark
        (900, 500, 260.0, 420.0, 200.0, 30),
        (300, 400, 200.5, 150.5, 60.0, 0),
        (600, 800, 620.0, 120.0, 300.0, 30),
    ],
)
def test_circles_of_known_size(height, width, x, y, radius, dirt):
    pixels = view(height, width, x, y, radius, dirt=dirt)
    before = pixels.copy()
    circle = find_eyepiece_circle(pixels)
    np.testing.assert_array_equal(pixels, before)
    assert circle.radius_px == pytest.approx(radius, rel=0.001)
    assert math.hypot(circle.x - x, circle.y - y) < 0.005 * radius + 0.3
    assert 0 < circle.standard_error_px < 0.01 * radius


def test_the_stated_error_is_about_the_real_one():
    """Over many drawn photos, error over stated error scatters by about 1 (a simulation)."""
    rng = np.random.default_rng(5)
    scores = []
    for seed in range(24):
        radius = rng.uniform(110, 140)
        x, y = rng.uniform(150, 170), rng.uniform(110, 130)
        pixels = view(240, 320, x, y, radius, seed=seed, dirt=25, soft_px=2.0)
        circle = find_eyepiece_circle(pixels)
        scores.append((circle.radius_px - radius) / circle.standard_error_px)
    assert np.sqrt(np.mean(np.square(scores))) < 2.5


@pytest.mark.parametrize("turn", [1, 2, 3])
def test_quarter_turns_turn_the_circle(turn):
    pixels = view(300, 400, 180.0, 160.0, 130.0, dirt=20)
    circle = find_eyepiece_circle(pixels)
    turned = find_eyepiece_circle(np.ascontiguousarray(np.rot90(pixels, turn)))
    assert turned.radius_px == pytest.approx(circle.radius_px, abs=0.1)


def flat(level):
    return np.full((300, 400, 3), level, np.uint8)


def square():
    pixels = flat(8)
    pixels[60:240, 100:300] = 210
    return pixels


def half_dark():
    pixels = flat(8)
    pixels[:, 150:] = 210
    return pixels


def noise():
    return np.random.default_rng(0).integers(0, 255, (300, 400, 3), dtype=np.uint8)


def bubble():
    """A dark ring on bright ground, as an air bubble looks."""
    pixels = flat(210)
    cv2.circle(pixels, (200, 150), 80, (30, 30, 30), 8)
    return pixels


def debris():
    pixels = flat(210)
    rng = np.random.default_rng(1)
    for _ in range(60):
        centre = (int(rng.integers(0, 400)), int(rng.integers(0, 300)))
        cv2.ellipse(pixels, centre, (40, 12), float(rng.uniform(0, 180)), 0, 360, (40, 30, 20), -1)
    return pixels


def ellipse():
    pixels = flat(8)
    cv2.ellipse(pixels, (200, 150), (150, 100), 0, 0, 360, (210, 210, 210), -1)
    return pixels


@pytest.mark.parametrize(
    "pixels",
    [
        flat(0),
        flat(220),
        square(),
        half_dark(),
        noise(),
        bubble(),
        debris(),
        ellipse(),
        flat(9)[:1, :1],
    ],
    ids=["black", "white", "square", "half", "noise", "bubble", "debris", "ellipse", "pixel"],
)
def test_photos_without_a_round_field_are_refused(pixels):
    with pytest.raises(ScaleError, match="round"):
        find_eyepiece_circle(pixels)


# Diameter of the field = field number / magnification of the objective (microscope
# handbooks): FN 18 gives 4.5, 1.8, 0.9 and 0.45 mm at 4x, 10x, 20x and 40x; areas
# 15.904, 2.5447, 0.6362 and 0.1590 mm2; FN 20 and 22 at 10x give 2.0 and 2.2 mm.
@pytest.mark.parametrize(
    ("field_number", "objective", "mm", "mm2"),
    [
        (18, 4, 4.5, 15.904),
        (18, 10, 1.8, 2.5447),
        (18, 20, 0.9, 0.6362),
        (18, 40, 0.45, 0.1590),
        (20, 10, 2.0, 3.1416),
        (22, 10, 2.2, 3.8013),
    ],
)
def test_field_of_view(field_number, objective, mm, mm2):
    assert Eyepiece(field_number, objective).field_mm == pytest.approx(mm)
    scale = calibration_from_eyepiece(2400.0, field_number, objective, standard_error_px=4.8)
    assert scale.um_per_px == pytest.approx(mm * 1000 / 2400)
    assert math.pi * (scale.um_per_px * 1.2) ** 2 == pytest.approx(mm2, rel=3e-4)  # mm2: 1200 px
    assert scale.standard_error == pytest.approx(scale.um_per_px * 0.002)
    assert f"field number {field_number}" in scale.source


def test_numbers_that_no_microscope_has():
    with pytest.raises(ScaleError, match=r"field number 180.*5 to 30 mm"):
        calibration_from_eyepiece(1000, 180, 10)
    with pytest.raises(ScaleError, match="objective 1000x"):
        calibration_from_eyepiece(1000, 18, 1000)
    with pytest.raises(ScaleError, match="field number nan"):
        calibration_from_eyepiece(1000, math.nan, 10)
    for diameter in (0.0, -5.0, math.nan, math.inf):
        with pytest.raises(ScaleError, match="positive number of pixels"):
            calibration_from_eyepiece(diameter, 18, 10)


def test_from_photo_to_scale():
    pixels = view(600, 800, 400.0, 300.0, 250.0, dirt=20)
    scale = eyepiece_calibration(pixels, Eyepiece(18, 10))
    assert scale.um_per_px == pytest.approx(1800 / 500, rel=0.003)
    assert 0 < scale.standard_error < 0.01 * scale.um_per_px
