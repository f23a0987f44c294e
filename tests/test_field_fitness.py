"""Each refusal happens on a photo made for it, and on no good one.

Limits are common practice of photographing slides, no source; pictures are drawn here.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sporecount.field.field import Field
from sporecount.field.fitness import NOTHING_TO_FOCUS_ON, ONLY_SHADOWS
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings


def scene(um_per_px: float = 0.7, count: int = 60, seed: int = 3) -> NDArray[np.float32]:
    """Return spores and a few scales on a slightly uneven ground, in light of 0 to 255."""
    rng = np.random.default_rng(seed)
    height, width = 750, 1000
    picture = np.full((height, width, 3), (226, 220, 205), np.float32)
    picture *= np.linspace(0.9, 1.0, width, dtype=np.float32)[None, :, None]
    shapes = [(count, 12.5, 8.0, (0.3, 0.5, 0.9)), (5, 180.0, 45.0, (0.6, 0.7, 0.8))]
    for number, length, across, density in shapes:
        for _ in range(number):
            cover = np.zeros((height, width), np.float32)
            centre = tuple(rng.uniform([0, 0], [width, height]).tolist())
            box = (centre, (length / um_per_px, across / um_per_px), float(rng.uniform(0, 180)))
            cv2.ellipse(cover, box, 1.0, -1)
            picture *= 10.0 ** -(cover[..., None] * np.float32(density))
    return cv2.GaussianBlur(picture, (0, 0), 1.0)


def finish(picture: NDArray[np.float32], noise: float = 2.0) -> NDArray[np.uint8]:
    rng = np.random.default_rng(0)
    return np.clip(np.rint(picture + rng.normal(0, noise, picture.shape)), 0, 255).astype(np.uint8)


def field_of(pixels: NDArray[np.uint8], um_per_px: float = 0.7) -> Field:
    photo = Photo("drawn.png", pixels, sha256="")
    return make_field(photo, Calibration(um_per_px, "drawn"), FieldSettings())


def smeared(picture: NDArray[np.float32], length_px: int, angle_deg: float) -> NDArray[np.float32]:
    kernel = np.zeros((length_px, length_px), np.float32)
    middle = (length_px - 1) / 2
    kernel[length_px // 2] = 1
    turn = cv2.getRotationMatrix2D((middle, middle), angle_deg, 1.0)
    kernel = cv2.warpAffine(kernel, turn, (length_px, length_px))
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


@pytest.mark.parametrize("um_per_px", [0.2, 0.5, 0.7, 1.3])
def test_a_good_photo_is_not_refused(um_per_px: float) -> None:
    fitness = field_of(finish(scene(um_per_px)), um_per_px).fitness
    assert fitness.usable, fitness
    assert fitness.reason == fitness.remedy == ""


def test_slight_blur_and_strong_compression_are_countable() -> None:
    soft = finish(cv2.GaussianBlur(scene(), (0, 0), 1.3))
    coded = cv2.imencode(".jpg", soft, [cv2.IMWRITE_JPEG_QUALITY, 50])[1]
    assert field_of(cv2.imdecode(coded, cv2.IMREAD_COLOR)).fitness.usable


def test_some_objects_out_of_focus_are_countable() -> None:
    picture = scene()
    picture[:, :600] = cv2.GaussianBlur(picture, (0, 0), 12)[:, :600]
    assert field_of(finish(picture)).fitness.usable


@pytest.mark.parametrize("noise", [0.0, 1.0, 6.0])
def test_a_clean_tape_is_not_refused_for_want_of_anything_sharp(noise: float) -> None:
    ground = np.full((750, 1000, 3), (226, 220, 205), np.float32)
    field = field_of(finish(ground, noise))
    assert field.fitness.usable, field.fitness
    assert NOTHING_TO_FOCUS_ON in field.notes


def lens_dirt(density: tuple[float, float, float], soft_px: float) -> NDArray[np.float32]:
    """Return a clean tape with seven broad shadows, each as dense as said."""
    rng = np.random.default_rng(8)
    picture = np.full((750, 1000, 3), (226, 220, 205), np.float32)
    for _ in range(7):
        cover = np.zeros((750, 1000), np.float32)
        centre = rng.uniform([50, 50], [950, 700]).astype(int).tolist()
        cv2.circle(cover, centre, int(rng.integers(18, 40)), 1.0, -1)
        cover = cv2.GaussianBlur(cover, (0, 0), soft_px)
        picture *= 10.0 ** -(cover[..., None] * np.array(density, np.float32))
    return picture


@pytest.mark.parametrize("soft_px", [3.0, 5.0, 8.0])
def test_a_clean_tape_behind_a_dirty_lens_is_countable(soft_px: float) -> None:
    field = field_of(finish(lens_dirt((0.06, 0.06, 0.06), soft_px)))
    assert field.fitness.usable, field.fitness
    assert any(NOTHING_TO_FOCUS_ON in note for note in field.notes)


def test_the_shadows_on_a_dirty_lens_are_named() -> None:
    assert ONLY_SHADOWS in field_of(finish(lens_dirt((0.06, 0.06, 0.06), 4.0))).notes


@pytest.mark.parametrize(
    "density", [(0.04, 0.06, 0.11), (0.4, 0.4, 0.4)], ids=["tinted as spores are", "dark"]
)
def test_what_may_be_a_sample_out_of_focus_is_not_taken_for_a_dirty_lens(
    density: tuple[float, float, float],
) -> None:
    fitness = field_of(finish(lens_dirt(density, 5.0))).fitness
    assert not fitness.usable
    assert "in focus" in fitness.reason


@pytest.mark.parametrize("sigma_px", [8, 16, 25])
def test_blur_is_refused(sigma_px: float) -> None:
    fitness = field_of(finish(cv2.GaussianBlur(scene(), (0, 0), sigma_px))).fitness
    assert not fitness.usable
    assert "in focus" in fitness.reason
    assert "focus" in fitness.remedy


@pytest.mark.parametrize("angle_deg", [0, 37, 90, 140])
def test_a_smear_is_refused_whatever_its_direction(angle_deg: float) -> None:
    fitness = field_of(finish(smeared(scene(), 81, angle_deg))).fitness
    assert not fitness.usable
    assert "smeared" in fitness.reason


def test_the_dark_is_refused() -> None:
    fitness = field_of(finish(scene() * 0.08)).fitness
    assert not fitness.usable
    assert "too dark" in fitness.reason
    assert "lamp" in fitness.remedy


def test_a_burnt_out_photo_is_refused() -> None:
    fitness = field_of(finish(scene() * 8.0)).fitness
    assert not fitness.usable
    assert "burnt out" in fitness.reason


def test_a_veil_that_hides_everything_is_refused() -> None:
    veiled = 250 + 0.01 * (scene() - 220)
    fitness = field_of(finish(veiled, 1.0)).fitness
    assert not fitness.usable
    assert "so bright that nothing would show" in fitness.reason


def test_a_bright_photo_whose_light_falls_off_is_not_veiled() -> None:
    height, width = 750, 1000
    light = np.full((height, width, 3), 251, np.float32)
    light *= np.minimum(np.linspace(0.78, 1.04, width, dtype=np.float32), 1)[None, :, None]
    cv2.ellipse(light, ((400, 300), (24, 15), 30), (90, 60, 30), -1)
    fitness = field_of(finish(cv2.GaussianBlur(light, (0, 0), 1.0), 0.5)).fitness
    settings = FieldSettings()
    # So few edges on so bright a ground are refused where the light is even.
    assert fitness.measures["edges"] < settings.least_edges
    assert fitness.measures["brightness"] > settings.most_blank_brightness
    assert fitness.usable, fitness


def test_too_coarse_a_photo_is_refused() -> None:
    fitness = field_of(finish(scene()), 2.6).fitness
    assert not fitness.usable
    assert "too coarse" in fitness.reason
    assert "4.8 pixels" in fitness.reason  # 12.5 um / 2.6 um/px


def test_too_little_sample_is_refused() -> None:
    y, x = np.mgrid[:750, :1000]
    picture = scene() * (np.hypot(x - 500, y - 375) < 110)[..., None]
    fitness = field_of(finish(picture + 2)).fitness
    assert not fitness.usable
    assert "too little" in fitness.reason
