"""The illustrated maker of benchmark pictures: repeatable, true to its own truth, independent.

The bounds on contrast are common practice, no source.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from imported import modules_imported

BENCHMARKS = Path(__file__).parent / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))

from other_hands.illustrated import CONDITIONS, draw  # noqa: E402
from other_hands.photograph import Photograph  # noqa: E402

DRAWN = ("trial", "chat", "40x")

#: um per pixel: what such an objective and camera give; a chat program shrinks by 0.5 to 0.75.
SCALES = {"trial": (0.22, 0.8), "chat": (0.22 / 0.75, 0.72 / 0.5), "40x": (0.15, 0.25)}


@cache
def drawn(condition: str) -> Photograph:
    return draw(condition, 1, 1)


def decoded(photo: Photograph) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(photo.packed, np.uint8), cv2.IMREAD_COLOR).astype(float)


def stands_out(picture: np.ndarray, x: float, y: float, length: float, width: float) -> float:
    """Levels by which a place differs from a ring around it, in the colour that shows it best."""
    left, top = max(0, int(x - length)), max(0, int(y - length))
    part = picture[top : int(y + length) + 2, left : int(x + length) + 2]
    rows, columns = np.mgrid[: part.shape[0], : part.shape[1]]
    away = np.hypot(columns + left - x, rows + top - y)
    ring = part[(away > 0.6 * length) & (away < 0.85 * length)]
    return np.abs(part[away < 0.35 * width].mean(0) - np.median(ring, 0)).max()


def test_the_same_seed_gives_the_same_photo_and_another_seed_another():
    first, again, other = drawn("trial"), draw("trial", 1, 1), draw("trial", 1, 2)
    assert again.packed == first.packed
    assert again.um_per_px == first.um_per_px
    assert again.truth.equals(first.truth)
    assert other.packed != first.packed
    assert not other.truth.equals(first.truth)


@pytest.mark.parametrize("condition", DRAWN)
def test_the_truth_lies_in_the_picture_at_a_plausible_scale_and_size(condition):
    photo = drawn(condition)
    height, width = decoded(photo).shape[:2]
    truth = photo.truth
    assert truth["x_px"].between(-0.5, width - 0.5).all()
    assert truth["y_px"].between(-0.5, height - 0.5).all()
    lowest, highest = SCALES[condition]
    assert lowest <= photo.um_per_px <= highest
    assert truth["seen"].dtype == bool
    whole = truth[truth["state"] == "intact"]
    # The species is 9 to 17 um long; a bend or blunt end takes a little off.
    assert whole["length_um"].between(8.5, 17.5).all()
    assert (truth["width_um"] <= truth["length_um"]).all()
    assert truth["angle_deg"].between(0, 180, inclusive="left").all()


@pytest.mark.parametrize("condition", DRAWN)
def test_seen_spores_differ_from_their_surroundings_where_the_truth_says(condition):
    photo = drawn(condition)
    picture = decoded(photo)
    spores = photo.truth[photo.truth["seen"] & (photo.truth["state"] == "intact")]
    assert len(spores) > 0
    sizes = spores[["length_um", "width_um"]].to_numpy() / photo.um_per_px
    at_truth = [
        stands_out(picture, x, y, *size)
        for (x, y), size in zip(spores[["x_px", "y_px"]].to_numpy(), sizes)
    ]
    rng = np.random.default_rng(0)
    anywhere = rng.uniform(0, 1, (len(spores), 2)) * [picture.shape[1], picture.shape[0]]
    elsewhere = [stands_out(picture, *place, *size) for place, size in zip(anywhere, sizes)]
    assert np.percentile(at_truth, 10) > 15
    assert np.median(at_truth) > 3 * np.median(elsewhere)


def test_a_trial_shows_whole_damaged_and_broken_spores():
    truth = drawn("trial").truth
    assert set(truth["state"]) == {"intact", "damaged", "fragment"}
    assert (truth.loc[truth["state"] == "intact", "damage"] == "").all()
    assert (truth.loc[truth["state"] != "intact", "damage"] != "").all()


def test_a_blank_holds_no_spores_but_the_same_columns():
    photo = draw("blank", 0, 1)
    assert len(photo.truth) == 0
    assert photo.truth.dtypes.equals(drawn("trial").truth.dtypes)
    assert decoded(photo).std() > 1  # there is litter on it


def test_an_unknown_condition_is_named():
    with pytest.raises(ValueError, match="no condition '100x'"):
        draw("100x", 0, 1)
    assert "100x" not in CONDITIONS


def test_the_maker_shares_no_code_with_the_package():
    for path in (BENCHMARKS / "other_hands" / "illustrated").rglob("*.py"):
        names = modules_imported(path)
        assert not any(name.split(".")[0] == "sporecount" for name in names), path
