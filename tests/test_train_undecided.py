"""What nobody could tell from a spore is left out of teaching, and what anybody could is not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sporecount.render.picture import render
from sporecount.render.plan import PicturePlan, SporePlan
from sporecount.train.objects import LENGTH, STATE, WEIGHT, WIDTH, X, Y, object_rows
from sporecount.train.undecided import undecided_rows

AMBER = np.array([0.3, 0.6, 1.0], np.float32)
NONE = np.zeros((0, 8), np.float32)


def _mask(draw) -> np.ndarray:
    """Draw on an 8 times finer sheet, about the middle (256, 256); 1 um is 8.9 fine pixels."""
    sheet = np.zeros((512, 512), np.uint8)
    draw(sheet)
    return cv2.resize(sheet, (64, 64), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def _ellipse(length_um: float, width_um: float, thick: int = -1, at=(256, 256)):
    axes = (round(length_um / 0.9 * 4), round(width_um / 0.9 * 4))
    return lambda sheet: cv2.ellipse(sheet, at, axes, 30, 0, 360, 255, thick)


def _branched(sheet) -> None:
    for turn in (0.2, 2.2, 4.4):
        end = (round(256 + 55 * np.cos(turn)), round(256 + 55 * np.sin(turn)))
        cv2.line(sheet, (256, 256), end, 255, 22)


def _square(sheet) -> None:
    cv2.rectangle(sheet, (206, 226), (306, 286), 255, -1)


def _found(mask: np.ndarray, hue: np.ndarray = AMBER, rows: np.ndarray = NONE) -> np.ndarray:
    density = 0.4 * mask[..., None] * hue
    density = cv2.GaussianBlur(density.astype(np.float32), (0, 0), 0.8)
    return undecided_rows(density, rows, 0.002)


@pytest.mark.parametrize("thick", [-1, 12])
def test_a_smooth_oval_or_its_empty_rim_is_left_out(thick):
    found = _found(_mask(_ellipse(12.0, 7.5, thick)))
    assert len(found) == 1
    assert np.hypot(found[0, X] - 31.6, found[0, Y] - 31.6) < 0.7
    assert found[0, LENGTH] == pytest.approx(13.0, abs=3.0)
    assert found[0, WIDTH] == pytest.approx(8.0, abs=3.0)
    assert found[0, STATE] >= 0
    assert found[0, WEIGHT] == 0


@pytest.mark.parametrize(
    ("draw", "hue"),
    [
        (_ellipse(13.0, 12.5), AMBER),
        (_ellipse(5.0, 3.0), AMBER),
        (_ellipse(26.0, 16.0), AMBER),
        (_ellipse(15.0, 4.0), AMBER),
        (_branched, AMBER),
        (_square, AMBER),
        (_ellipse(13.0, 8.0), np.array([1.0, 0.4, 0.8], np.float32)),
        (_ellipse(13.0, 8.0), np.array([1.0, 0.8, 0.4], np.float32)),
    ],
    ids=["round", "small", "large", "rod", "branched", "square", "green", "blue"],
)
def test_what_anybody_could_tell_stays_in(draw, hue):
    assert len(_found(_mask(draw), hue)) == 0


GREY = np.array([0.8, 0.8, 0.8], np.float32)


def test_a_grey_oval_is_left_out_only_beside_grey_spores():
    """Shadows and soot are smooth ovals too; where spores are amber they can be told."""
    mask = _mask(_ellipse(12.0, 7.5))
    assert len(_found(mask, GREY)) == 0
    apart = _mask(_ellipse(12.0, 7.5, at=(100, 100)))
    spore = np.zeros((1, 8), np.float32)
    spore[0, [X, Y, WEIGHT]] = 12.1, 12.1, 1.0
    for hue, left_out in ((GREY, 1), (AMBER, 0)):
        density = 0.4 * (mask[..., None] * GREY + apart[..., None] * hue)
        density = cv2.GaussianBlur(density.astype(np.float32), (0, 0), 0.8)
        assert len(undecided_rows(density, spore, 0.002)) == left_out


def test_a_true_spore_and_a_pair_that_touches_are_not_left_out():
    one = np.zeros((1, 8), np.float32)
    one[0, [X, Y, WEIGHT]] = 31.6, 33.0, 1.0
    assert len(_found(_mask(_ellipse(13.0, 8.0)), rows=one)) == 0
    pair = np.repeat(one, 2, axis=0)
    pair[:, X] += (-7.0, 7.0)
    assert len(_found(_mask(_ellipse(18.0, 14.0)), rows=pair)) == 0


def test_faint_buried_and_noisy_objects_are_not_taught():
    plan = PicturePlan((96, 96), 0.8, spores=SporePlan(count=3))
    truth = render(plan, np.random.default_rng(3)).truth.head(1)
    given = {"in_field": True, "contrast": 0.3, "covered": 0.0, "shown": 0.15, "busy": 0.02}
    for changed, taught in (
        ({}, 1.0),
        ({"shown": 0.01}, 0.0),
        ({"busy": 0.3}, 0.0),
        ({"contrast": 0.02}, 0.0),
    ):
        row = truth.assign(**(given | changed))
        assert object_rows(row, np.array([5.0]), np.array([5.0]), 0.01)[0, WEIGHT] == taught
    row = truth.assign(**given)
    assert object_rows(row, np.array([5.0]), np.array([5.0]), 0.12)[0, WEIGHT] == 0.0
