"""Each spore and each square millimetre once, and the rule for photos in doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sporecount.detect.table import empty_detections
from sporecount.settings import TapeSettings
from sporecount.tape.doubt import counted_groups
from sporecount.tape.picture import draw_layout
from sporecount.tape.pose import Pose
from sporecount.tape.tape import FIELD_COLUMNS, assemble
from sporecount.tape.union import UNITED_COLUMNS, make_region, unite
from sporecount.tape.view import View

#: Size of the made-up photos, um and pixels.
SIDE_UM, SIDE_PX = (900.0, 600.0), (500, 333)


def made_up(name: str, spores_um: np.ndarray, state: str = "intact") -> View:
    """Return a photo without texture that shows spores at given places."""
    columns, rows = SIDE_PX
    scale = SIDE_UM[0] / columns
    xy = np.asarray(spores_um, float).reshape(-1, 2)
    table = empty_detections().reindex(range(len(xy)))
    table["x_px"], table["y_px"] = xy[:, 0] / scale - 0.5, xy[:, 1] / scale - 0.5
    table["x_um"], table["y_um"], table["state"] = xy[:, 0], xy[:, 1], state
    table["angle_deg"] = 170.0
    return View(
        photo=name,
        sha256=name,
        um_per_px=scale,
        photo_um_per_px=scale,
        size_um=(columns * scale, rows * scale),
        texture=np.zeros((rows, columns), np.float32),
        examined=np.ones((rows, columns), bool),
        picture=np.full((rows, columns, 3), 200, np.uint8),
        landmarks_um=np.zeros((0, 2)),
        noise=0.0,
        examined_mm2=columns * rows * scale**2 / 1e6,
        detections=table,
    )


def photographed(
    spores_um: np.ndarray, poses: list[Pose], off_um: float, seed: int = 0
) -> list[View]:
    """Return photos at given poses of spores at given places of the tape, each a little off."""
    rng = np.random.default_rng(seed)
    views = []
    for number, pose in enumerate(poses):
        xy = pose.inwards(spores_um)
        shown = ((xy > 0) & (xy < made_up("", np.zeros((0, 2))).size_um)).all(axis=1)
        views.append(made_up(str(number), xy[shown] + rng.normal(0, off_um, (shown.sum(), 2))))
    return views


def nine_poses(overlap: float, seed: int = 3) -> list[Pose]:
    rng = np.random.default_rng(seed)
    step = np.array(SIDE_UM) * (1 - overlap)
    return [
        Pose(*(step * (column, row) + rng.uniform(-9, 9, 2)).tolist(), float(rng.uniform(-2, 2)))
        for row in range(3)
        for column in range(3)
    ]


def test_the_area_of_two_photos_is_that_of_their_union() -> None:
    views = [made_up("a", np.zeros((0, 2))), made_up("b", np.zeros((0, 2)))]
    width, height = (side / 1000 for side in views[0].size_um)
    region = make_region(views, [Pose(), Pose(600.0, 0.0)], [0, 1], 0)
    areas = region.areas_mm2(2)
    assert areas.sum() == pytest.approx((width + 0.6) * height, rel=0.003)
    assert areas[0] == pytest.approx(areas[1], rel=0.02)


def test_a_turned_photo_keeps_its_area() -> None:
    view = made_up("a", np.zeros((0, 2)))
    region = make_region([view], [Pose(5.0, 7.0, 33.0)], [0], 0)
    assert region.areas_mm2(1)[0] == pytest.approx(view.examined_mm2, rel=0.004)


def test_what_was_not_examined_adds_no_area() -> None:
    view = made_up("a", np.zeros((0, 2)))
    half = view.examined.copy()
    half[:, SIDE_PX[0] // 2 :] = False
    left = replace(view, examined=half)
    region = make_region([left, view], [Pose(), Pose()], [0], 0)
    assert region.areas_mm2(2)[0] == pytest.approx(view.examined_mm2 / 2, rel=0.005)
    owners = region.owner_at(np.array([[100.0, 100.0], [800.0, 100.0]]))
    assert owners.tolist() == [0, -1]


@pytest.mark.parametrize("overlap", [0.1, 0.2, 0.3, 0.4])
@pytest.mark.parametrize("seed", [1, 2])
def test_nine_photos_count_each_spore_once(overlap: float, seed: int) -> None:
    poses = nine_poses(overlap, seed)
    rng = np.random.default_rng(seed)
    spores = rng.uniform(-50, [2750, 1850], (1200, 2))
    views = photographed(spores, poses, 1.0, seed)
    shown = np.zeros(len(spores), bool)
    for pose in poses:
        xy = pose.inwards(spores)
        shown |= ((xy > 0) & (xy < views[0].size_um)).all(axis=1)
    region = make_region(views, poses, list(range(9)), 0)
    table, _ = unite(views, poses, list(range(9)), region)
    # Within 1 % of the truth; spores on the rim of the layout may jitter out of it.
    assert abs(len(table) - shown.sum()) <= 0.01 * shown.sum()
    assert sum(len(view.detections) for view in views) > 1.1 * shown.sum()


def test_a_spore_on_a_seam_counts_once_whichever_way_the_photos_err() -> None:
    poses = [Pose(), Pose(600.0, 0.0)]
    seam = (600.0 + SIDE_UM[0]) / 2
    for left_off, right_off in ((-2.0, 2.0), (2.0, -2.0), (2.0, 2.0), (-1.9, -1.9), (0.0, 0.0)):
        views = [
            made_up("a", np.array([[seam + left_off, 300.0]])),
            made_up("b", np.array([[seam + right_off - 600.0, 300.0]])),
        ]
        region = make_region(views, poses, [0, 1], 0)
        table, elsewhere = unite(views, poses, [0, 1], region)
        assert (len(table), elsewhere) == (1, 0)
        assert table["seen_in"].tolist() == [2]


def test_neighbours_in_a_clump_are_not_taken_for_one() -> None:
    poses = [Pose(), Pose(300.0, 0.0)]
    clump = 500.0 + np.array([[0.0, 0.0], [6.5, 0.0], [0.0, 6.5], [6.5, 6.5]])
    views = photographed(clump, poses, 0.8)
    region = make_region(views, poses, [0, 1], 0)
    table, _ = unite(views, poses, [0, 1], region)
    assert len(table) == 4


def test_the_photo_that_owns_a_place_decides_what_is_there() -> None:
    poses = [Pose(), Pose(600.0, 0.0)]
    # Both photos show both places; one spore deep in each, found by the other photo only.
    views = [made_up("a", np.array([[850.0, 300.0]])), made_up("b", np.array([[50.0, 300.0]]))]
    region = make_region(views, poses, [0, 1], 0)
    table, elsewhere = unite(views, poses, [0, 1], region)
    assert (len(table), elsewhere) == (0, 2)


def test_united_detections_are_in_the_tape_s_coordinates() -> None:
    pose = Pose(100.0, 50.0, 20.0)
    view = made_up("a", np.array([[400.0, 300.0]]))
    table, _ = unite([view], [pose], [0], make_region([view], [pose], [0], 0))
    assert list(table.columns) == list(UNITED_COLUMNS)
    expected = pose.outwards(np.array([[400.0, 300.0]]))[0]
    np.testing.assert_allclose(table.loc[0, ["x_um", "y_um"]].to_numpy(float), expected)
    assert table.loc[0, "tape_angle_deg"] == pytest.approx(10.0)
    assert table.loc[0, "angle_deg"] == 170.0


@st.composite
def doubtful_groups(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    count = draw(st.integers(1, 9))
    upper = draw(st.lists(st.booleans(), min_size=count**2, max_size=count**2))
    doubts = np.triu(np.array(upper).reshape(count, count), 1)
    areas = draw(st.lists(st.floats(0.01, 5.0), min_size=count, max_size=count))
    spores = draw(st.lists(st.integers(0, 30), min_size=count, max_size=count))
    return doubts | doubts.T, np.array(areas), np.array(spores)


@given(doubtful_groups())
def test_the_rule_counts_nothing_twice_and_makes_nothing_cleaner(
    groups: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    doubts, areas, spores = groups
    chosen = counted_groups(doubts, areas, spores)
    assert chosen.any()
    assert not doubts[np.ix_(chosen, chosen)].any()
    assert chosen[~doubts.any(axis=1)].all(), "what is in no doubt is always counted"
    assert (spores[chosen].sum() > 0) == (spores.sum() > 0), "a spore seen never becomes a zero"


@given(st.lists(st.floats(0.01, 5.0), min_size=1, max_size=8), st.data())
def test_the_choice_lacks_less_than_one_spore_of_its_share(
    areas: list[float], data: st.DataObject
) -> None:
    count = len(areas)
    spores = np.array(data.draw(st.lists(st.integers(0, 9), min_size=count, max_size=count)))
    area = np.array(areas)
    chosen = counted_groups(~np.eye(count, dtype=bool), area, spores)
    assert chosen.sum() == 1
    share = spores.sum() * area[chosen].sum() / area.sum()
    assert spores[chosen].sum() > share - 1


def test_a_large_part_is_not_given_up_for_a_small_one_that_is_a_little_denser() -> None:
    doubts = ~np.eye(2, dtype=bool)
    chosen = counted_groups(doubts, np.array([3.4, 0.6]), np.array([4, 1]))
    assert chosen.tolist() == [True, False]


def test_blank_photos_in_doubt_count_as_one_area() -> None:
    views = [made_up(str(n), np.zeros((0, 2))) for n in range(4)]
    tape = assemble(views)
    assert tape.spores == 0
    assert tape.examined_mm2 == pytest.approx(views[0].examined_mm2, rel=0.005)
    assert tape.examined_if_apart_mm2 == pytest.approx(4 * views[0].examined_mm2, rel=0.005)
    assert tape.fields["counted"].tolist() == [True, False, False, False]
    assert any("may overlap" in note and "3 photos left out" in note for note in tape.notes)
    assert not tape.layout.placements["certain"].any()


def test_whoever_moved_on_by_more_than_a_photo_gets_the_whole_area() -> None:
    views = [made_up(str(n), np.array([[300.0, 300.0]])) for n in range(4)]
    tape = assemble(views, replace(TapeSettings(), taken_apart=True))
    assert tape.spores == 4
    assert tape.examined_mm2 == pytest.approx(4 * views[0].examined_mm2, rel=0.005)
    assert any("100 %" in note for note in tape.notes)


def test_spores_in_doubtful_photos_are_stated_both_ways() -> None:
    counts = [0, 1, 0, 2]
    views = [
        made_up(str(n), np.array([[100.0 + 90 * k, 300.0] for k in range(count)]).reshape(-1, 2))
        for n, count in enumerate(counts)
    ]
    tape = assemble(views)
    assert (tape.spores, tape.spores_if_apart) == (1, 3)
    assert tape.detections["counted"].sum() == 1
    assert len(tape.detections) == 3


def test_fields_add_up_to_the_tape() -> None:
    views = [made_up(str(n), np.array([[300.0, 300.0], [20.0, 40.0]])) for n in range(3)]
    tape = assemble(views, replace(TapeSettings(), taken_apart=True))
    assert list(tape.fields.columns) == list(FIELD_COLUMNS)
    counted = tape.fields[tape.fields["counted"]]
    assert counted["spores"].sum() == tape.spores == 6
    assert counted["examined_mm2"].sum() == pytest.approx(tape.examined_mm2)


def test_fragments_are_listed_and_not_counted() -> None:
    tape = assemble([made_up("a", np.array([[300.0, 300.0]]), state="fragment")])
    assert (tape.spores, len(tape.detections)) == (0, 1)


def test_the_same_file_twice_counts_once() -> None:
    view = made_up("a", np.array([[300.0, 300.0]]))
    tape = assemble([view, replace(view, photo="b")])
    assert (tape.spores, len(tape.fields)) == (1, 1)
    assert tape.examined_mm2 == pytest.approx(view.examined_mm2, rel=0.005)
    assert any("repeats another" in note for note in tape.notes)


@pytest.mark.parametrize("views", [[], [replace(made_up("a", np.zeros((0, 2))), usable=False)]])
def test_without_a_usable_photo_nothing_was_examined(views: list[View]) -> None:
    tape = assemble(views)
    assert (tape.spores, tape.examined_mm2, len(tape.fields)) == (0, 0.0, 0)
    assert "counted" in tape.detections.columns
    assert draw_layout(views, tape).shape[2] == 3


def test_inputs_are_not_changed() -> None:
    view = made_up("a", np.array([[300.0, 300.0]]))
    before = view.detections.copy()
    draw_layout([view], assemble([view]))
    pd.testing.assert_frame_equal(view.detections, before)
    assert (view.picture == 200).all()


def test_the_picture_marks_spores_and_pales_what_is_not_counted() -> None:
    views = [made_up("a", np.array([[450.0, 300.0]])), made_up("b", np.zeros((0, 2)))]
    picture = draw_layout(views, assemble(views))
    assert max(picture.shape) <= 3200
    blue = (np.abs(picture.astype(int) - (110, 215, 255)).max(axis=2) < 12).sum()
    assert blue > 30, "the spore is outlined"
    photo = (picture == 200).all(axis=2).sum()
    pale = (np.abs(picture.astype(int) - (84, 91, 98)).max(axis=2) < 4).sum()
    assert photo > 50_000
    assert pale > 50_000
