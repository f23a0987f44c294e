"""The layered maker of benchmark pictures: repeatable, true to its own truth, independent.

The bounds on contrast are common practice, no source.
"""

from __future__ import annotations

import io
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from imported import modules_imported
from PIL import Image

BENCHMARKS = Path(__file__).parent / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))

from other_hands.layered import CONDITIONS, draw  # noqa: E402
from other_hands.photograph import Photograph  # noqa: E402

DRAWN = ("40x", "clumps", "trial")

#: um per pixel that such an objective and camera give.
SCALES = {"40x": (0.15, 0.25), "clumps": (0.35, 0.8), "trial": (0.25, 0.75)}


@cache
def drawn(condition: str) -> Photograph:
    return draw(condition, 1, 5)


def decoded(photo: Photograph) -> np.ndarray:
    """Brightness of the file's pixels, 0 to 255."""
    return np.asarray(Image.open(io.BytesIO(photo.packed)).convert("RGB")).mean(-1)


def contrast(brightness: np.ndarray, x: float, y: float, length: float, width: float) -> float:
    """Levels by which the brightness of a disc, or its spread, differs from a ring around it."""
    left, top = max(0, int(x - length)), max(0, int(y - length))
    part = brightness[top : int(y + length) + 2, left : int(x + length) + 2]
    rows, columns = np.mgrid[: part.shape[0], : part.shape[1]]
    away = np.hypot(columns + left - x, rows + top - y)
    disc = part[away < 0.5 * width]
    ring = part[(away > 0.6 * length) & (away < 0.9 * length)]
    return max(abs(disc.mean() - np.median(ring)), disc.std() - ring.std())


def test_the_same_seed_gives_the_same_photo_and_another_seed_another():
    first, again, other = drawn("40x"), draw("40x", 1, 5), draw("40x", 1, 6)
    assert again.packed == first.packed
    assert again.um_per_px == first.um_per_px
    assert again.truth.equals(first.truth)
    assert other.packed != again.packed
    assert not other.truth.equals(again.truth)


@pytest.mark.parametrize("condition", DRAWN)
def test_the_truth_lies_in_the_picture_at_a_plausible_scale_and_size(condition):
    photo = drawn(condition)
    height, width = decoded(photo).shape
    truth = photo.truth
    assert truth["x_px"].between(-0.5, width - 0.5).all()
    assert truth["y_px"].between(-0.5, height - 0.5).all()
    lowest, highest = SCALES[condition]
    assert lowest <= photo.um_per_px <= highest
    whole = truth[truth["state"] == "intact"]
    # Of the species: 9 to 17 um long, and 0.55 to 0.75 as wide.
    assert whole["length_um"].between(9, 17).all()
    assert (whole["width_um"] / whole["length_um"]).between(0.549, 0.751).all()
    assert (truth["width_um"] <= truth["length_um"]).all()
    assert truth["angle_deg"].between(0, 180, inclusive="left").all()


@pytest.mark.parametrize("condition", DRAWN)
def test_seen_spores_differ_from_their_surroundings_where_the_truth_says(condition):
    photo = drawn(condition)
    picture = decoded(photo)
    spores = photo.truth[photo.truth["seen"] & (photo.truth["state"] == "intact")]
    assert len(spores) > 5
    sizes = spores[["length_um", "width_um"]].to_numpy() / photo.um_per_px
    centres = spores[["x_px", "y_px"]].to_numpy()
    at_truth = [contrast(picture, *centre, *size) for centre, size in zip(centres, sizes)]
    height, width = picture.shape
    mirrored = np.array([width - 1, height - 1]) - centres
    elsewhere = [contrast(picture, *place, *size) for place, size in zip(mirrored, sizes)]
    assert np.percentile(at_truth, 10) > 10
    assert np.median(at_truth) > 3 * np.median(elsewhere)


def test_a_trial_shows_whole_damaged_and_broken_spores():
    truth = drawn("trial").truth
    assert set(truth["state"]) == {"intact", "damaged", "fragment"}
    assert (truth.loc[truth["state"] == "intact", "damage"] == "").all()
    assert (truth.loc[truth["state"] != "intact", "damage"] != "").all()


def test_not_all_spores_of_a_clump_can_be_seen():
    seen = drawn("clumps").truth["seen"]
    assert seen.dtype == bool
    assert 0.5 < seen.mean() < 1


def test_a_blank_holds_no_spores_but_the_same_columns():
    photo = draw("blank", 2, 5)
    assert len(photo.truth) == 0
    assert photo.truth.dtypes.equals(drawn("trial").truth.dtypes)
    assert decoded(photo).std() > 1  # there is litter on it


def test_an_unknown_condition_is_named():
    with pytest.raises(ValueError, match="no condition '100x'"):
        draw("100x", 0, 5)
    assert "100x" not in CONDITIONS


def test_the_maker_shares_no_code_with_the_package():
    files = list((BENCHMARKS / "other_hands" / "layered").rglob("*.py"))
    assert len(files) > 20
    for path in files:
        names = modules_imported(path)
        assert not any(name.split(".")[0] == "sporecount" for name in names), path
