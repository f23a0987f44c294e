"""The field: scale, sample, light and text, on pictures whose truth is known.

Expected values follow from how each picture is drawn here; no outside source.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sporecount import threads
from sporecount.field.field import Field
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings

BACKGROUND = (228.0, 222.0, 206.0)


def clear(height: int, width: int) -> NDArray[np.float32]:
    return np.broadcast_to(np.float32(BACKGROUND), (height, width, 3)).copy()


def add_spore(
    picture: NDArray[np.float32], x: float, y: float, um_per_px: float, density: float = 0.5
) -> None:
    """Multiply a smooth 12.5 by 8 um ellipse in, with 4 x 4 samples to the pixel."""
    reach = int(np.ceil(10 / um_per_px)) + 2
    left, top = round(x) - reach, round(y) - reach
    steps = (np.arange(4 * (2 * reach + 1)) + 0.5) / 4 - 0.5
    u = (left + steps - x)[None] * um_per_px / 6.25
    v = (top + steps - y)[:, None] * um_per_px / 4.0
    cover = np.clip((1.15 - np.hypot(u, v)) / 0.3, 0, 1)
    light = 10.0 ** -(density * cover[..., None] * np.array([0.5, 1.0, 1.8]))
    side = 2 * reach + 1
    light = light.reshape(side, 4, side, 4, 3).mean(axis=(1, 3))
    picture[top : top + side, left : left + side] *= light.astype(np.float32)


def finish(picture: NDArray[np.float32], noise: float = 2.0, seed: int = 0) -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    noisy = picture + rng.normal(0, noise, picture.shape)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)


def field_of(pixels: NDArray[np.uint8], um_per_px: float) -> Field:
    photo = Photo("drawn.png", pixels, sha256="")
    return make_field(photo, Calibration(um_per_px, "drawn"), FieldSettings())


def spores(height: int, width: int, um_per_px: float, count: int = 25, seed: int = 1) -> tuple:
    rng = np.random.default_rng(seed)
    picture, margin = clear(height, width), 14 / um_per_px + 3
    places: list[tuple[float, float]] = []
    while len(places) < count:
        place = (rng.uniform(margin, width - margin), rng.uniform(margin, height - margin))
        if all(np.hypot(place[0] - x, place[1] - y) > 30 / um_per_px for x, y in places):
            add_spore(picture, *place, um_per_px)
            places.append(place)
    return picture, np.array(places)


def vignette(height: int, width: int, fall: float) -> NDArray[np.float32]:
    y, x = np.mgrid[:height, :width]
    r = np.hypot((x - 0.55 * width) / width, (y - 0.42 * height) / height)
    return (1 - fall * r**2 * 2).astype(np.float32)[..., None]


def test_even_light_is_recovered_under_vignetting() -> None:
    picture = clear(700, 900) * vignette(700, 900, 0.4)
    field = field_of(finish(picture), 0.9)
    blurred = cv2.GaussianBlur(field.density, (0, 0), 6)
    assert np.abs(blurred).max() < 0.02
    step = field.light_step
    truth = picture[step // 2 :: step, step // 2 :: step]
    light = field.light[: truth.shape[0], : truth.shape[1]]
    assert np.abs(np.log10(light / truth)).max() < 0.02


@pytest.mark.parametrize("cover", [0.3, 0.6])
def test_dark_scales_do_not_pull_the_light_down(cover: float) -> None:
    rng = np.random.default_rng(4)
    height, width = 900, 1200
    mask = np.zeros((height, width), np.uint8)
    while mask.mean() < cover:
        centre = rng.uniform([0, 0], [width, height])
        box = cv2.boxPoints((tuple(centre.tolist()), (300.0, 70.0), float(rng.uniform(0, 180))))
        cv2.fillPoly(mask, [box.astype(np.int32)], 1)
    picture = clear(height, width) * vignette(height, width, 0.4)
    picture[mask > 0] *= np.float32([0.25, 0.2, 0.12])
    field = field_of(finish(cv2.GaussianBlur(picture, (0, 0), 1.0)), 0.9)
    background = cv2.erode((mask == 0).astype(np.uint8), np.ones((9, 9))) > 0
    smooth = cv2.blur(field.density, (5, 5))
    off = np.abs(np.median(smooth[background], axis=0))
    assert off.max() < 0.01
    assert np.percentile(np.abs(smooth[background]), 98) < 0.03


@pytest.mark.parametrize("softness_px", [0.8, 6.0])
def test_a_round_field_is_found_to_two_percent(softness_px: float) -> None:
    height, width, um_per_px = 1200, 1600, 0.7
    x0, y0, radius = 860.0, 560.0, 520.0
    y, x = np.mgrid[:height, :width]
    rim = 1 / (1 + np.exp((np.hypot(x - x0, y - y0) - radius) / softness_px))
    picture, _ = spores(height, width, um_per_px, 60)
    field = field_of(finish(picture * rim[..., None].astype(np.float32) + 3), um_per_px)
    # The soft rim itself is not sample: where less than 80 % of the light arrives.
    inside = radius - softness_px * np.log(4) if softness_px > 2 else radius
    truth_mm2 = np.pi * (inside * um_per_px / 1000) ** 2
    assert field.examined_mm2 == pytest.approx(truth_mm2, rel=0.02)
    seen = cv2.GaussianBlur(field.density[..., 1], (0, 0), 2)[field.examined]
    assert abs(np.median(seen)) < 0.01
    assert np.percentile(seen, 1) > -0.05


def test_a_round_field_cut_by_the_picture_keeps_only_its_disc() -> None:
    y, x = np.mgrid[:900, :1200]
    disc = np.hypot(x - 500, y - 380) < 600
    field = field_of(finish(clear(900, 1200) * disc[..., None] + 2), 0.9)
    assert field.examined.sum() == pytest.approx(disc.sum(), rel=0.02)
    assert not field.examined[~disc].any()


def test_a_dark_scale_in_a_corner_stays_sample() -> None:
    picture, _ = spores(800, 1000, 0.9)
    picture[:120, :300] *= 0.15
    field = field_of(finish(picture), 0.9)
    assert field.examined.all()


def test_flips_and_quarter_turns_give_the_same_area() -> None:
    y, x = np.mgrid[:800, :1000]
    picture, _ = spores(800, 1000, 0.9)
    disc = np.hypot(x - 540, y - 410) < 380
    pixels = finish(picture * disc[..., None] + 2)
    area = field_of(pixels, 0.9).examined_mm2
    for turned in (pixels[::-1], pixels[:, ::-1], np.rot90(pixels), np.rot90(pixels, 2)):
        turned_area = field_of(np.ascontiguousarray(turned), 0.9).examined_mm2
        assert turned_area == pytest.approx(area, rel=0.002)


@pytest.mark.parametrize("ink", [(255, 255, 255), (0, 0, 0), (255, 230, 0), (230, 30, 20)])
@pytest.mark.parametrize("quality", [60, 90])
def test_burned_in_marks_are_left_out_and_spores_kept(
    ink: tuple[int, int, int], quality: int
) -> None:
    height, width = 960, 1280
    plain, _ = spores(height, width, 0.65, 40)
    # White writing is only sought where it can be read: not on nearly white ground.
    plain_pixels = finish(plain * (0.8 if ink == (255, 255, 255) else 1.0))
    marked = plain_pixels.copy()
    cv2.putText(marked, "14.05.2031 09:27", (40, 60), 0, 1.3, ink, 3, cv2.LINE_AA)
    cv2.putText(marked, "100 um", (1060, 930), 0, 0.9, ink, 2, cv2.LINE_AA)
    cv2.rectangle(marked, (1050, 885), (1203, 893), ink, -1)
    written = np.abs(marked.astype(int) - plain_pixels).max(axis=2) > 40
    coded = cv2.imencode(".jpg", marked[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    pixels = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    field = field_of(pixels, 0.65)
    xy = field.to_work_px(np.argwhere(written)[:, ::-1].astype(float)).round().astype(int)
    xy = np.clip(xy, 0, np.array(field.examined.shape[::-1]) - 1)
    assert field.examined[xy[:, 1], xy[:, 0]].mean() < 0.02
    assert field.examined.mean() > 0.94


def test_spores_and_scales_are_never_taken_for_text() -> None:
    picture, _ = spores(960, 1280, 0.65, 150)
    box = cv2.boxPoints(((700.0, 90.0), (400.0, 70.0), 7.0)).astype(np.int32)
    mask = cv2.fillPoly(np.zeros((960, 1280), np.uint8), [box], 1)
    picture[mask > 0] *= 0.05
    for k in range(12):  # a row of dark spores on one line, at the border
        add_spore(picture, 100 + 26 * k, 930, 0.65, density=1.2)
    assert field_of(finish(picture), 0.65).examined.all()


@pytest.mark.parametrize("zoom", [0.64, 0.83, 1.0, 1.38, 1.9, 2.6, 4.1, 6.0])
def test_spores_lie_where_the_photo_has_them(zoom: float) -> None:
    um_per_px = 0.9 / zoom
    side = int(620 / um_per_px) + 7
    picture, places = spores(side, int(side * 1.1), um_per_px, 12)
    field = field_of(finish(picture, noise=0.3), um_per_px)
    green = np.clip(field.density[..., 1], 0.01, None)
    for x, y in field.to_work_px(places):
        left, top = round(x) - 12, round(y) - 12
        patch = green[top : top + 25, left : left + 25] - 0.01
        yy, xx = np.mgrid[: patch.shape[0], : patch.shape[1]]
        found = left + (patch * xx).sum() / patch.sum(), top + (patch * yy).sum() / patch.sum()
        assert found == pytest.approx((x, y), abs=0.1)


def test_coordinates_return_to_where_they_came_from() -> None:
    field = field_of(finish(clear(300, 400)), 0.37)
    xy = np.array([[0.0, 0.0], [399.0, 299.0], [12.25, 87.5]])
    np.testing.assert_allclose(field.to_photo_px(field.to_work_px(xy)), xy, atol=1e-9)


def test_the_photo_is_neither_changed_nor_copied() -> None:
    pixels = finish(spores(500, 600, 0.5)[0])
    before = pixels.copy()
    pixels.flags.writeable = False
    field = field_of(pixels, 0.5)
    assert np.array_equal(pixels, before)
    assert field.pixels is pixels
    assert field.density.dtype == np.float32
    assert field.density.shape == (*field.examined.shape, 3)
    coarse = tuple(-(-side // field.light_step) for side in field.examined.shape)
    assert field.light.shape == (*coarse, 3)


@pytest.mark.parametrize("shape", [(1, 1), (3, 500), (40, 40)])
def test_tiny_pictures_give_a_field_and_a_refusal_or_nothing(shape: tuple[int, int]) -> None:
    field = field_of(finish(clear(*shape)), 0.9)
    assert np.isfinite(field.density).all()
    assert field.examined_mm2 >= 0


def test_a_black_picture_gives_finite_densities() -> None:
    field = field_of(np.zeros((300, 300, 3), np.uint8), 0.9)
    assert np.isfinite(field.density).all()
    assert not field.fitness.usable


@pytest.mark.parametrize("round_field", [False, True])
def test_one_thread_gives_the_same_field_as_several(round_field: bool) -> None:
    picture, _ = spores(700, 900, 0.8)
    if round_field:
        y, x = np.mgrid[:700, :900]
        picture *= (np.hypot(x - 460, y - 340) < 330)[..., None]
    before, fields = threads.threads(), []
    for count in (1, 2, 4):
        threads.set_threads(count)
        try:
            fields.append(field_of(finish(picture), 0.8))
        finally:
            threads.set_threads(before)
    for other in fields[1:]:
        np.testing.assert_array_equal(other.density, fields[0].density)
        np.testing.assert_array_equal(other.light, fields[0].light)
        np.testing.assert_array_equal(other.examined, fields[0].examined)
        assert other.fitness == fields[0].fitness
