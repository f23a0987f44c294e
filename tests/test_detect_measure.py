"""Outlines are measured right, and cut ones completed."""

import numpy as np
import pandas as pd
import pytest

from sporecount.detect.edge import completed_ellipse, whole_objects
from sporecount.detect.measure import measure_shape
from sporecount.settings import DetectSettings


def _ellipse_points(x=50.0, y=40.0, length=20.0, width=12.0, angle=30.0, n=48):
    turn = np.arange(n) * 2 * np.pi / n
    a, way = np.deg2rad(angle), np.stack([length / 2 * np.cos(turn), width / 2 * np.sin(turn)])
    return np.column_stack(
        [x + way[0] * np.cos(a) - way[1] * np.sin(a), y + way[0] * np.sin(a) + way[1] * np.cos(a)]
    )


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 155.0])
def test_an_ellipse_has_the_size_and_angle_it_was_made_with(angle):
    row = measure_shape(_ellipse_points(angle=angle)[None], 0.5).iloc[0]
    assert row["length_um"] == pytest.approx(10.0, rel=1e-6)
    assert row["width_um"] == pytest.approx(6.0, rel=1e-6)
    assert (row["angle_deg"] - angle + 90) % 180 - 90 == pytest.approx(0.0, abs=1e-6)
    assert (row["x_px"], row["y_px"]) == pytest.approx((50.0, 40.0))
    # A 48-gon inscribed in an ellipse: 48/2 sin(2 pi/48) a b.
    assert row["area_um2"] == pytest.approx(24 * np.sin(2 * np.pi / 48) * 5 * 3)
    assert row["solidity"] == pytest.approx(1.0, abs=1e-5)


def test_the_sense_of_the_outline_makes_no_difference():
    points = _ellipse_points()
    one, other = measure_shape(np.stack([points, points[::-1]]), 1.0).to_numpy()
    assert one == pytest.approx(other)


def test_a_bite_lowers_solidity():
    points = _ellipse_points()
    points[10:14] = 0.5 * points[10:14] + 0.5 * np.array([50.0, 40.0])
    assert measure_shape(points[None], 1.0)["solidity"].iloc[0] < 0.95


@pytest.mark.parametrize("seen", [0.5, 0.6, 0.75])
def test_a_cut_ellipse_is_completed(seen):
    points = _ellipse_points(n=96)
    line = np.quantile(points[:, 0], 1 - seen)
    free = points[:, 0] > line
    x, y, length, width, angle = completed_ellipse(points, free, (20.0, 12.0))
    assert (x, y) == pytest.approx((50.0, 40.0), abs=0.05)
    assert (length, width) == pytest.approx((20.0, 12.0), abs=0.05)
    assert angle == pytest.approx(30.0, abs=0.2)


def test_too_little_in_view_is_not_completed():
    points = _ellipse_points()
    assert completed_ellipse(points, points[:, 0] > 56, (20.0, 12.0)) is None


def test_an_unlikely_ellipse_is_not_believed():
    points = _ellipse_points()
    assert completed_ellipse(points, np.ones(48, bool), (40.0, 24.0)) is None


@pytest.mark.parametrize("part", [0.3, 0.7])
def test_the_part_in_view_is_that_of_the_area(part):
    whole = _ellipse_points(length=12.5, width=8.0, angle=0.0, n=400)
    line = 50.0 + 12.5 * (0.5 - part)
    cut = whole[:, 0] < line
    seen = np.where(cut[:, None], [line, 0.0], whole) + cut[:, None] * [0.0, 1.0] * whole
    shape = measure_shape(seen[None], 1.0)
    result, in_view = whole_objects(shape, seen[None], cut[None], cut[None], 1.0, DetectSettings())
    # Area of an ellipse beyond a chord: a circular segment, stretched.
    t = 2 * part - 1
    share = (np.pi / 2 + np.arcsin(t) + t * np.sqrt(1 - t * t)) / np.pi
    assert in_view[0] == pytest.approx(share, abs=0.03)
    if part > 0.5:
        assert result["length_um"].iloc[0] == pytest.approx(12.5, rel=0.02)
    pd.testing.assert_frame_equal(shape, measure_shape(seen[None], 1.0))
