"""Detections that a person asks for, against the truth of drawn photos."""

from __future__ import annotations

import json

import cv2
import numpy as np
import pandas as pd
import pytest

from sporecount.counting import PhotoCount, count_photo
from sporecount.detect.table import COLUMNS
from sporecount.photo.read import photo_from_array
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import Rendered, render
from sporecount.review.actions import Action
from sporecount.review.errors import ReviewError
from sporecount.review.grow import grown
from sporecount.review.regroup import joined, parted
from sporecount.review.reviewed import reviewed
from sporecount.scale.calibration import Calibration
from sporecount.settings import DetectSettings

SETTINGS = DetectSettings()


def photo_and_count(condition: str, seed: int) -> tuple[Rendered, PhotoCount]:
    rng = np.random.default_rng([seed, 7])
    made = render(condition_plan(condition, rng, (700, 520)), rng)
    photo = photo_from_array(made.pixels, "drawn")
    return made, count_photo(photo, Calibration(made.plan.um_per_px, "given"))


@pytest.fixture(scope="module", params=["10x", "4x"])
def drawn(request: pytest.FixtureRequest) -> tuple[Rendered, PhotoCount]:
    return photo_and_count(request.param, 1)


@pytest.fixture(scope="module")
def clumps() -> tuple[Rendered, PhotoCount]:
    return photo_and_count("clumps", 1)


def clear_spores(made: Rendered) -> pd.DataFrame:
    truth = made.truth
    seen = truth["in_field"] & (truth["covered"] < 0.1) & (truth["shown"] > 0.08)
    return truth[seen & (truth["state"] != "fragment")].reset_index(drop=True)


def without(table: pd.DataFrame, x: float, y: float, within_px: float) -> pd.DataFrame:
    return table[np.hypot(table["x_px"] - x, table["y_px"] - y) > within_px]


def test_a_click_beside_the_middle_grows_to_the_spore(
    drawn: tuple[Rendered, PhotoCount],
) -> None:
    made, counted = drawn
    um_per_px, rng = made.plan.um_per_px, np.random.default_rng(3)
    good = []
    truth = clear_spores(made).iloc[:12]
    for spore in truth.itertuples():
        others = without(counted.detections, spore.x_px, spore.y_px, 4 / um_per_px)
        turn, off = rng.uniform(0, 2 * np.pi), 2.0 / um_per_px
        at = spore.x_px + off * np.cos(turn), spore.y_px + off * np.sin(turn)
        new = grown(counted.field, others, *at, SETTINGS)
        wrong_um = np.hypot(new["x_px"] - spore.x_px, new["y_px"] - spore.y_px) * um_per_px
        good.append(wrong_um < 1.0 and abs(new["area_um2"] / spore.area_um2 - 1) < 0.25)
    assert len(good) >= 10
    assert sum(good) >= len(good) - 1


def test_what_is_grown_can_be_added_and_kept(drawn: tuple[Rendered, PhotoCount]) -> None:
    made, counted = drawn
    spore = clear_spores(made).iloc[0]
    before = counted.detections.copy(deep=True)
    others = without(counted.detections, spore["x_px"], spore["y_px"], 4 / made.plan.um_per_px)
    new = grown(counted.field, others, spore["x_px"], spore["y_px"], SETTINGS)
    assert set(new) == set(COLUMNS) - {"confidence"}
    action = Action("add", made=({"id": "p1", **json.loads(json.dumps(new))},))
    table = reviewed(others, [action])
    assert table["id"].iloc[-1] == "p1"
    assert table["outline_px"].iloc[-1].shape == (48, 2)
    pd.testing.assert_frame_equal(counted.detections, before)


def test_a_place_that_was_not_examined_or_is_taken_is_refused(
    drawn: tuple[Rendered, PhotoCount],
) -> None:
    _, counted = drawn
    with pytest.raises(ReviewError, match="outside of what was examined"):
        grown(counted.field, counted.detections, -50.0, 10.0, SETTINGS)
    first = counted.detections.iloc[0]
    with pytest.raises(ReviewError, match="there is a detection already"):
        grown(counted.field, counted.detections, first["x_px"], first["y_px"], SETTINGS)


def test_where_there_is_no_edge_a_usual_spore_is_drawn(
    drawn: tuple[Rendered, PhotoCount],
) -> None:
    _, counted = drawn
    rows, columns = counted.field.examined.shape
    yy, xx = np.mgrid[20 : rows - 20 : 6, 20 : columns - 20 : 6]
    places = np.stack([xx.ravel(), yy.ravel()], axis=1)
    grey = cv2.blur(counted.field.density.max(axis=2), (25, 25))
    at = places[np.argmin(grey[places[:, 1], places[:, 0]])].astype(float)
    new = grown(
        counted.field, counted.detections, *counted.field.to_photo_px(at).tolist(), SETTINGS
    )
    assert 5 < new["length_um"] < 20
    assert new["state"] in ("intact", "damaged")


def merged_pairs(made: Rendered, counted: PhotoCount) -> list[tuple[pd.DataFrame, pd.DataFrame]]:
    """Return detections in which two spores that touch are one, and the two."""
    table, um_per_px = counted.detections, made.plan.um_per_px
    places, out = table[["x_px", "y_px"]].to_numpy(), []
    for one in range(len(table)):
        apart = np.hypot(*(places - places[one]).T) * um_per_px
        other = int(np.argsort(apart)[1])
        if apart[other] < 13 and one < other:
            pair = table.iloc[[one, other]]
            made_one = joined(counted.field, table, [one, other], SETTINGS)
            hull = cv2.convexHull(np.concatenate(pair["outline_px"].tolist()).astype(np.float32))
            row = {**made_one, "confidence": 1.0, "outline_px": hull.reshape(-1, 2).astype(float)}
            rest = table.drop(index=pair.index)
            merged = pd.concat([rest, pd.DataFrame([row])[list(COLUMNS)]], ignore_index=True)
            out.append((merged, pair))
    return out


def test_a_clump_is_parted_into_its_spores(clumps: tuple[Rendered, PhotoCount]) -> None:
    made, counted = clumps
    pairs = merged_pairs(made, counted)[:8]
    assert len(pairs) >= 3
    good = 0
    for merged, pair in pairs:
        parts = parted(counted.field, merged, len(merged) - 1, 2, SETTINGS)
        assert len(parts) == 2
        places = np.array([[part["x_px"], part["y_px"]] for part in parts])
        truth = pair[["x_px", "y_px"]].to_numpy()
        apart = np.hypot(*(places[:, None] - truth).transpose(2, 0, 1))
        nearest = min(apart.trace(), apart[::-1].trace())
        good += nearest / 2 * made.plan.um_per_px < 1.0
    assert good >= len(pairs) - 1


def test_pieces_of_one_spore_are_joined_to_it(drawn: tuple[Rendered, PhotoCount]) -> None:
    made, counted = drawn
    good = []
    for spore in range(min(8, len(counted.detections))):
        row = counted.detections.iloc[spore]
        table, halves = halved(counted.detections, spore)
        new = joined(counted.field, table, halves, SETTINGS)
        apart_um = np.hypot(new["x_px"] - row["x_px"], new["y_px"] - row["y_px"])
        apart_um *= made.plan.um_per_px
        good.append(apart_um < 1.0 and abs(new["area_um2"] / row["area_um2"] - 1) < 0.25)
    assert sum(good) >= len(good) - 1


def halved(table: pd.DataFrame, spore: int) -> tuple[pd.DataFrame, list[int]]:
    """Return a table in which a detection is two halves, and their rows."""
    row = table.iloc[spore]
    turn = np.deg2rad(row["angle_deg"])
    axis = np.array([np.cos(turn), np.sin(turn)])
    along = (row["outline_px"] - [row["x_px"], row["y_px"]]) @ axis
    pieces = []
    for side in (-1, 1):
        outline = row["outline_px"][side * along > 0]
        x, y = outline.mean(axis=0)
        pieces.append({**row, "x_px": x, "y_px": y, "outline_px": outline, "area_um2": 20.0})
    out = pd.concat([table.drop(index=table.index[spore]), pd.DataFrame(pieces)], ignore_index=True)
    return out, [len(out) - 2, len(out) - 1]


def test_too_few_parts_or_pieces_are_refused(drawn: tuple[Rendered, PhotoCount]) -> None:
    _, counted = drawn
    with pytest.raises(ReviewError, match="two or more"):
        parted(counted.field, counted.detections, 0, 1, SETTINGS)
    with pytest.raises(ReviewError, match="only several can be joined"):
        joined(counted.field, counted.detections, [0, 0], SETTINGS)


def test_without_necks_or_spores_seen_it_is_cut_across_its_long_axis(
    drawn: tuple[Rendered, PhotoCount],
) -> None:
    _, counted = drawn
    first = counted.detections.iloc[[0]]
    parts = parted(counted.field, first, 0, 3, SETTINGS)
    places = np.array([[part["x_px"], part["y_px"]] for part in parts])
    steps = np.diff(places, axis=0)
    turn = np.deg2rad(first["angle_deg"].iloc[0])
    assert np.all(steps @ [np.cos(turn), np.sin(turn)] > 0)
