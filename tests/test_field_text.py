"""Burned-in marks are found, and what lies on the glass is not taken for them.

Expected values follow from how each picture is drawn here; no outside source.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sporecount.field.text import _pieces, find_text

SHAPE = (900, 1200)


def ground(level: float = 215.0, seed: int = 0) -> NDArray[np.uint8]:
    rng = np.random.default_rng(seed)
    noisy = level + rng.normal(0, 2.0, (*SHAPE, 3))
    return np.clip(noisy, 0, 255).astype(np.uint8)


def as_jpeg(pixels: NDArray[np.uint8], quality: int = 90) -> NDArray[np.uint8]:
    coded = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.ascontiguousarray(np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR))[..., ::-1])


def hidden_by(pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    hidden = np.zeros(pixels.shape[:2], bool)
    for left, top, right, bottom in find_text(pixels):
        hidden[int(top) : int(np.ceil(bottom)), int(left) : int(np.ceil(right))] = True
    return hidden


@pytest.mark.parametrize("level", [90.0, 215.0, 232.0])
def test_white_writing_is_found_on_dark_and_on_nearly_white_ground(level: float) -> None:
    plain = ground(level)
    marked = plain.copy()
    cv2.putText(marked, "03.06.2031 11:42", (30, 60), 0, 1.2, (255, 255, 255), 3, cv2.LINE_AA)
    written = np.abs(marked.astype(int) - plain).max(axis=2) > 10
    hidden = hidden_by(as_jpeg(marked))
    assert hidden[written].mean() > 0.98
    assert hidden.mean() < 3 * written.mean() + 0.02


@pytest.mark.parametrize(("ink", "back"), [((255, 255, 255), (0, 0, 0)), ((0, 0, 0), (255,) * 3)])
def test_the_box_behind_a_label_is_left_out_with_it(
    ink: tuple[int, int, int], back: tuple[int, int, int]
) -> None:
    marked = ground(170.0)
    cv2.rectangle(marked, (940, 800), (1190, 890), back, -1)
    cv2.putText(marked, "100 um", (960, 870), 0, 1.3, ink, 3, cv2.LINE_AA)
    hidden = hidden_by(as_jpeg(marked))
    assert hidden[800:891, 940:1191].mean() > 0.98
    assert hidden.mean() < 0.04


def test_a_short_caption_goes_with_its_bar() -> None:
    marked = ground()
    cv2.rectangle(marked, (1000, 820), (1119, 826), (0, 0, 0), -1)
    cv2.putText(marked, "5u", (1030, 870), 0, 1.1, (0, 0, 0), 3, cv2.LINE_AA)
    hidden = hidden_by(as_jpeg(marked))
    assert hidden[820:827, 1000:1120].all()
    assert hidden[845:871, 1032:1070].mean() > 0.95


def test_a_black_scale_with_stripes_is_not_writing() -> None:
    picture = ground(235.0).astype(np.float32)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    for angle, top in ((0.0, 40), (8.0, 60), (90.0, 700)):
        turn = np.deg2rad(angle)
        u = (x - 600) * np.cos(turn) + (y - top - 40) * np.sin(turn)
        v = (y - top - 40) * np.cos(turn) - (x - 600) * np.sin(turn)
        scale = (np.abs(u) < 380) & (np.abs(v) < 70)
        level = 26.0 + 14.0 * np.sin(2 * np.pi * v / 9.0) + 6.0 * np.sin(u / 23.0)
        picture[scale] = level[scale][:, None]
    soft = np.clip(cv2.GaussianBlur(picture, (0, 0), 0.8), 0, 255).astype(np.uint8)
    assert find_text(as_jpeg(soft)) == []


def test_sharpened_crumbs_with_glowing_rims_are_not_writing() -> None:
    rng = np.random.default_rng(3)
    picture = ground(225.0).astype(np.float32)
    for _ in range(220):
        centre = rng.integers([10, 10], [SHAPE[1] - 10, SHAPE[0] - 10])
        corners = rng.normal(0, 9, (7, 2)) + centre
        hull = cv2.convexHull(corners.astype(np.int32))
        cv2.fillPoly(picture, [hull], (38.0, 34.0, 33.0))
    soft = cv2.GaussianBlur(picture, (0, 0), 0.8)
    sharp = soft + 1.5 * (soft - cv2.GaussianBlur(soft, (0, 0), 2.0))
    assert find_text(as_jpeg(np.clip(sharp, 0, 255).astype(np.uint8))) == []


def test_a_row_of_black_crumbs_in_a_line_is_not_writing() -> None:
    picture = ground()
    rng = np.random.default_rng(5)
    for k in range(8):
        axes = (int(rng.integers(4, 12)), int(rng.integers(9, 12)))
        cv2.ellipse(picture, (100 + 30 * k, 40), axes, 0, 0, 360, (4, 4, 4), -1, cv2.LINE_AA)
    assert find_text(as_jpeg(picture)) == []


@pytest.mark.parametrize("turned", [False, True])
def test_the_lines_of_a_ruling_are_not_bars(turned: bool) -> None:
    picture = ground()
    for k in range(12):
        cv2.rectangle(picture, (60, 30 + 15 * k), (160, 33 + 15 * k), (0, 0, 0), -1)
    if turned:
        picture = np.ascontiguousarray(np.rot90(picture))
    assert find_text(picture) == []


def test_marks_lie_where_a_large_photo_has_them() -> None:
    large = cv2.resize(ground(), (4800, 3600), interpolation=cv2.INTER_NEAREST)
    cv2.putText(large, "tape 12", (100, 3500), 0, 6.0, (0, 0, 0), 14, cv2.LINE_AA)
    written = large.max(axis=2) < 60
    assert hidden_by(large)[written].mean() > 0.98


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_pieces_have_the_boxes_and_areas_that_opencv_sums_up(share: float) -> None:
    rng = np.random.default_rng(int(100 * share))
    blobs = cv2.GaussianBlur(rng.random((90, 130)).astype(np.float32), (0, 0), 1.2)
    ink = (blobs < np.quantile(blobs, share)).astype(np.uint8)
    stats = cv2.connectedComponentsWithStats(ink, connectivity=8)[2][1:]
    wanted = stats[stats[:, cv2.CC_STAT_AREA] >= 6]
    found = _pieces(ink)
    assert len(found) == len(wanted) > 0
    assert sorted(found.tolist()) == sorted(wanted.tolist())
