"""The chain on small pictures drawn here: `sporecount.count` and its summary."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import sporecount
from sporecount.counts.summary import SUMMARY_COLUMNS
from sporecount.detect.table import COLUMNS, SPORE_STATES
from sporecount.errors import PhotoUnreadableError, ScaleError


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    """Return 24 amber ellipses of 12.5 by 8 um on clear ground, at 0.5 um/px."""
    rng = np.random.default_rng(2)
    pixels = np.full((600, 800, 3), (225, 222, 214), np.uint8)
    for place in range(24):
        centre = (80 + 120 * (place % 6), 90 + 140 * (place // 6))
        turn = float(rng.uniform(0, 180))
        cv2.ellipse(pixels, (centre, (25, 16), turn), (120, 75, 30), -1, cv2.LINE_AA)
        cv2.ellipse(pixels, (centre, (15, 8), turn), (190, 140, 80), -1, cv2.LINE_AA)
    noisy = cv2.GaussianBlur(pixels, (0, 0), 1.0) + rng.normal(0, 2.0, pixels.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def test_count_returns_a_named_pair(picture: np.ndarray) -> None:
    counted = sporecount.count(picture, um_per_px=0.5)
    table, summary = counted
    assert counted.detections is table
    assert counted.summary is summary
    assert list(table.columns) == list(COLUMNS)
    assert tuple(summary)[: len(SUMMARY_COLUMNS)] == SUMMARY_COLUMNS
    assert summary["status"] == "counted"


def test_spores_are_the_intact_and_damaged_ones(picture: np.ndarray) -> None:
    table, summary = sporecount.count(picture, um_per_px=0.5)
    assert summary["spores"] == table["state"].isin(SPORE_STATES).sum()
    assert summary["spores"] == summary["intact"] + summary["damaged"]
    assert summary["fragment"] == (table["state"] == "fragment").sum()
    assert summary["per_mm2"] == pytest.approx(summary["spores"] / summary["examined_mm2"])
    assert summary["spores_low"] <= summary["spores"] <= summary["spores_high"]
    assert summary["per_mm2_low"] <= summary["per_mm2"] <= summary["per_mm2_high"]


def test_array_and_file_give_the_same(picture: np.ndarray, tmp_path: Path) -> None:
    file = tmp_path / "a.png"
    Image.fromarray(picture).save(file)
    from_array, _ = sporecount.count(picture, um_per_px=0.5)
    from_file, summary = sporecount.count(file, um_per_px=0.5)
    assert from_array.drop(columns="outline_px").equals(from_file.drop(columns="outline_px"))
    assert summary["photo"] == "a.png"


def test_the_picture_is_left_as_it_was(picture: np.ndarray) -> None:
    before = picture.copy()
    sporecount.count(picture, um_per_px=0.5)
    assert (picture == before).all()


def test_refused_photo_has_a_reason_and_no_counts(picture: np.ndarray) -> None:
    blurred = cv2.GaussianBlur(picture, (0, 0), 12.0)
    black = np.zeros((600, 800, 3), np.uint8)
    for pixels in (blurred, black):
        table, summary = sporecount.count(pixels, um_per_px=0.5)
        assert len(table) == 0
        assert summary["status"] == "refused"
        assert summary["reason"]
        for name in ("spores", "spores_low", "per_mm2", "load_class", "intact", "fragment"):
            assert summary[name] is None


def test_clear_tape_is_a_zero() -> None:
    rng = np.random.default_rng(0)
    clear = rng.normal(210, 2, (600, 800, 3)).astype(np.uint8)
    _, summary = sporecount.count(clear, um_per_px=0.5)
    assert (summary["status"], summary["spores"], summary["load_class"]) == ("counted", 0, 0)
    assert summary["spores_low"] == 0
    assert summary["per_mm2_high"] == pytest.approx(3.6889 / summary["examined_mm2"], rel=1e-4)


def test_a_right_scale_is_not_doubted(picture: np.ndarray) -> None:
    _, summary = sporecount.count(picture, um_per_px=0.5)
    assert summary["warning"] == ""


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_scales_are_refused(picture: np.ndarray, scale: float) -> None:
    with pytest.raises(ScaleError, match="positive number of micrometres per pixel"):
        sporecount.count(picture, um_per_px=scale)


def test_no_scale_is_refused(picture: np.ndarray) -> None:
    with pytest.raises(ScaleError, match="its scale is unknown"):
        sporecount.count(picture)


def test_a_missing_file_is_named() -> None:
    with pytest.raises(PhotoUnreadableError, match=r"nowhere\.jpg"):
        sporecount.count("nowhere.jpg", um_per_px=0.5)
