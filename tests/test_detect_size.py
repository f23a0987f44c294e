"""A wrong scale is noticed, a right one and a blank tape are left alone."""

from dataclasses import replace

import numpy as np
import pytest

from sporecount.counting import count
from sporecount.detect.rescaled import FACTORS, parts_like_spores
from sporecount.detect.spots import spots
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.scale.calibration import Calibration
from sporecount.settings import DetectSettings, FieldSettings, Settings


@pytest.fixture(scope="module")
def tape():
    rng = np.random.default_rng(12)
    plan = condition_plan("10x", rng, (900, 700))
    return render(replace(plan, spores=replace(plan.spores, count=40, per_mm2=0.0)), rng)


@pytest.mark.parametrize(
    ("wrong", "word"),
    [(2.0, "too long"), (2.5, "too long"), (0.5, "too short"), (0.4, "too short")],
)
def test_a_scale_wrong_by_a_usual_factor_raises_a_warning_that_names_it(tape, wrong, word):
    _, summary = count(tape.pixels, um_per_px=tape.plan.um_per_px * wrong)
    assert word in summary["warning"]
    assert "off by a factor 2" in summary["warning"]


def test_the_right_scale_raises_none(tape):
    _, summary = count(tape.pixels, um_per_px=tape.plan.um_per_px)
    assert summary["warning"] == ""
    assert summary["spores"] > 20


def test_a_littered_blank_tape_raises_none():
    rng = np.random.default_rng(3)
    made = render(condition_plan("blank", rng, (900, 700)), rng)
    _, summary = count(made.pixels, um_per_px=made.plan.um_per_px)
    assert summary["warning"] == ""


def test_the_search_at_other_scales_can_be_turned_off(tape):
    settings = Settings(detect=DetectSettings(check_scale=False))
    _, summary = count(tape.pixels, um_per_px=tape.plan.um_per_px * 2.5, settings=settings)
    assert summary["warning"] == ""


def field_at(tape, wrong):
    scale = Calibration(tape.plan.um_per_px * wrong, "drawn")
    return make_field(Photo("tape", tape.pixels, sha256=""), scale, FieldSettings())


@pytest.mark.parametrize(
    ("wrong", "smaller"), [(2.0, True), (2.5, True), (0.5, False), (0.4, False)]
)
def test_spots_look_like_spores_only_on_the_side_that_mends_the_scale(tape, wrong, smaller):
    factors = [part.factor for part in parts_like_spores(field_at(tape, wrong))]
    assert factors == [factor for factor in FACTORS if (factor < 1) == smaller]


def test_at_the_right_scale_no_spot_looks_like_a_spore_at_another_size(tape):
    assert parts_like_spores(field_at(tape, 1.0)) == []


def test_a_part_keeps_its_views_inside_and_as_wide_as_the_search_is_shown(tape):
    field = field_at(tape, 0.5)
    for part in parts_like_spores(field):
        for x, y in ((part.left, part.top), (part.left + part.width - 1, part.top)):
            view = part.about(x, y)
            assert view.left >= part.left
            assert view.left + view.width <= part.left + part.width
            density, examined = view.resized(field)
            assert density.shape[:2] == examined.shape == (48, 48)


def test_spots_are_small_dark_and_compact_and_the_clearest_come_first():
    yy, xx = np.mgrid[:80, :80]

    def blob(x, y, size, height):
        return height * np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / (2 * size**2))

    picture = blob(20, 20, 1.5, 0.2) + blob(60, 20, 1.5, 0.4) + blob(20, 60, 14, 0.4)
    picture -= blob(60, 40, 1.5, 0.3)
    picture[70, :] += 0.4
    assert spots(picture.astype(np.float32)).tolist() == [[60, 20], [20, 20]]
