"""A wrong scale is noticed, a right one and a blank tape are left alone."""

from dataclasses import replace

import numpy as np
import pytest

from sporecount.counting import count
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.settings import DetectSettings, Settings


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
