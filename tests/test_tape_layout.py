"""Photos of one tape: how they are found to overlap, where each lies, what is certain."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sporecount.counting import PhotoCount
from sporecount.detect.table import empty_detections
from sporecount.errors import SettingsError
from sporecount.field.make import make_field
from sporecount.photo.photo import Photo
from sporecount.render.camera import compressed
from sporecount.render.tape import RenderedTape, TapePlan, render_tape
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings, TapeSettings
from sporecount.tape.guesses import patches
from sporecount.tape.hidden import Hidden, hidden_overlap
from sporecount.tape.layout import PLACEMENT_COLUMNS, lay_out
from sporecount.tape.pairs import Known
from sporecount.tape.pose import Pose
from sporecount.tape.register import APART, DOUBTFUL, JOINED, Registration, attempt, register
from sporecount.tape.solve import Link, link_rms_um, solve
from sporecount.tape.view import View, make_view

#: Small photos of a tape with much on it, so that the tests are quick.
SMALL = TapePlan(grid=(2, 2), photo_px=(480, 360), overlap=0.35, spores_per_mm2=220)


def view_of(pixels: np.ndarray, name: str, um_per_px: float = 0.9) -> View:
    photo = Photo(name, pixels, sha256=name)
    field = make_field(photo, Calibration(um_per_px, "drawn"), FieldSettings())
    # Whether a photo is fit to count is not what is tested here.
    field = replace(field, fitness=replace(field.fitness, usable=True))
    return make_view(photo, PhotoCount(empty_detections(), {}, field))


def true_pose(made: RenderedTape, number: int) -> Pose:
    one = made.photos[number]
    return Pose(one.x_um, one.y_um, one.angle_deg)


def true_between(made: RenderedTape, first: int, second: int) -> Pose:
    return true_pose(made, first).inverse().after(true_pose(made, second))


def distance_um(one: Pose, other: Pose, size_um: tuple[float, float]) -> float:
    """Return the largest distance at the corners of a photo."""
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * size_um
    return float(np.hypot(*(one.outwards(corners) - other.outwards(corners)).T).max())


@pytest.fixture(scope="module")
def tape() -> RenderedTape:
    return render_tape(SMALL, np.random.default_rng(11))


@pytest.fixture(scope="module")
def views(tape: RenderedTape) -> list[View]:
    return [view_of(one.pixels, f"{n}.jpg") for n, one in enumerate(tape.photos)]


@pytest.fixture(scope="module")
def other_views() -> list[View]:
    made = render_tape(SMALL, np.random.default_rng(12))
    return [view_of(one.pixels, f"other-{n}.jpg") for n, one in enumerate(made.photos)]


turns = st.floats(-180, 180)
shifts = st.floats(-1e4, 1e4)
poses = st.builds(Pose, shifts, shifts, turns)


@given(poses, poses, shifts, shifts)
def test_poses_compose_and_undo(one: Pose, other: Pose, x: float, y: float) -> None:
    point = np.array([[x, y]])
    np.testing.assert_allclose(
        one.after(other).outwards(point), one.outwards(other.outwards(point)), atol=1e-6
    )
    np.testing.assert_allclose(one.inverse().outwards(one.outwards(point)), point, atol=1e-6)
    np.testing.assert_allclose(one.inwards(point), one.inverse().outwards(point), atol=1e-6)


def test_the_matrix_in_pixels_agrees_with_the_pose_in_micrometres() -> None:
    pose = Pose(31.0, -12.0, 7.0)
    pixel = np.array([10.0, 20.0])
    by_um = pose.outwards((pixel[None] + 0.5) * 1.5)[0] / 0.6 - 0.5
    np.testing.assert_allclose(pose.matrix_px(1.5, 0.6) @ [*pixel, 1.0], by_um)


def test_neighbours_are_joined_within_two_micrometres(
    tape: RenderedTape, views: list[View]
) -> None:
    for first, second in ((0, 1), (0, 2), (1, 3), (2, 3)):
        found = register(views[first], views[second])
        assert found.status == JOINED
        assert found.pose is not None
        true = true_between(tape, first, second)
        assert distance_um(found.pose, true, views[0].size_um) < 2.0
        assert found.overlap_share == pytest.approx(0.35, abs=0.05)


def test_registration_does_not_depend_on_the_order(views: list[View]) -> None:
    there, back = register(views[0], views[1]).pose, register(views[1], views[0]).pose
    assert there is not None
    assert back is not None
    assert distance_um(there, back.inverse(), views[0].size_um) < 0.5


def test_brightness_white_balance_and_light_do_not_matter(
    tape: RenderedTape, views: list[View]
) -> None:
    pixels = tape.photos[1].pixels.astype(float)
    shade = np.linspace(0.7, 1.0, pixels.shape[1])[None, :, None] * [0.75, 0.9, 1.0]
    changed = view_of((pixels * shade).astype(np.uint8), "changed")
    plain, found = register(views[0], views[1]).pose, register(views[0], changed).pose
    assert plain is not None
    assert found is not None
    assert distance_um(found, plain, views[0].size_um) < 1.0


def test_photos_at_different_scales_are_joined(tape: RenderedTape, views: list[View]) -> None:
    finer = cv2.resize(tape.photos[1].pixels, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC)
    found = register(views[0], view_of(np.asarray(finer, np.uint8), "finer", 0.6))
    assert found.pose is not None
    assert distance_um(found.pose, true_between(tape, 0, 1), views[0].size_um) < 2.0


def test_photos_of_different_tapes_are_never_joined(
    views: list[View], other_views: list[View]
) -> None:
    found = [register(one, other) for one in views for other in other_views]
    assert {one.status for one in found} <= {APART, DOUBTFUL}
    assert all(one.pose is None for one in found)


def test_an_overlap_that_was_not_recognised_is_within_the_stated_bound() -> None:
    plan = replace(SMALL, overlap=0.08, jitter=0.0, spores_per_mm2=60)
    made = render_tape(plan, np.random.default_rng(4))
    views = [view_of(one.pixels, str(n)) for n, one in enumerate(made.photos)]
    missed = 0
    for first, second in ((0, 1), (0, 2), (1, 3), (2, 3)):
        found = register(views[first], views[second])
        if found.status != JOINED:
            missed += 1
            assert found.hidden_share >= 0.06
    assert missed, "all overlaps were recognised: the test shows nothing"


def test_a_pattern_that_repeats_itself_is_not_guessed_at() -> None:
    ruled = np.full((360, 900, 3), 210, np.uint8)
    for x in range(10, 900, 60):
        for y in range(20, 360, 60):
            cv2.ellipse(ruled, (x, y), (8, 5), 30, 0, 360, (90, 90, 90), -1, cv2.LINE_AA)
    parts = [np.ascontiguousarray(ruled[:, x : x + 480]) for x in (0, 310)]
    found = register(view_of(parts[0], "a"), view_of(parts[1], "b"))
    assert (found.status, found.pose) == (DOUBTFUL, None)


def test_two_blank_photos_are_not_guessed_at() -> None:
    rng = np.random.default_rng(0)
    blank = [np.clip(rng.normal(205, 3, (360, 480, 3)), 0, 255).astype(np.uint8) for _ in range(2)]
    found = register(view_of(blank[0], "a"), view_of(blank[1], "b"))
    assert (found.status, found.pose) == (DOUBTFUL, None)
    assert found.hidden_share > 0.9


def with_specks(pixels: np.ndarray, count: int = 14) -> np.ndarray:
    """Return a photo with sharp specks of dirt, always in the same places."""
    rng = np.random.default_rng(5)
    dirty = pixels.copy()
    for x, y, radius in zip(
        rng.uniform(10, pixels.shape[1] - 10, count),
        rng.uniform(10, pixels.shape[0] - 10, count),
        rng.uniform(2, 6, count),
    ):
        cv2.ellipse(
            dirty, (int(x), int(y)), (int(radius), int(radius * 0.6)), int(x * 7) % 180, 0, 360,
            (60, 60, 60), -1, cv2.LINE_AA,
        )  # fmt: skip
    return dirty


def test_dirt_in_place_joins_nothing_at_zero_shift(
    tape: RenderedTape, other_views: list[View]
) -> None:
    made = render_tape(SMALL, np.random.default_rng(12))
    dirty = view_of(with_specks(tape.photos[0].pixels), "a")
    other = view_of(with_specks(made.photos[0].pixels), "b")
    assert register(dirty, other).status != JOINED


def test_dirt_in_place_does_not_hide_the_true_overlap(tape: RenderedTape) -> None:
    dirty = [view_of(with_specks(one.pixels), str(n)) for n, one in enumerate(tape.photos)]
    found = lay_out(dirty)
    assert found.placements["group"].tolist() == [0, 0, 0, 0]
    for number in range(4):
        true = true_between(tape, 0, number)
        assert distance_um(found.poses[number], true, dirty[0].size_um) < 3.0
    assert any("dirt" in note for note in found.notes)


@pytest.mark.parametrize("blur_px", [0.5, 2.0])
def test_dirt_on_clean_tape_is_not_taken_for_one_view(blur_px: float) -> None:
    rng = np.random.default_rng(0)
    clean = [np.clip(rng.normal(205, 2, (360, 480, 3)), 0, 255).astype(np.uint8) for _ in range(4)]
    dirt = cv2.GaussianBlur(with_specks(np.full((360, 480, 3), 205, np.uint8)), (0, 0), blur_px)
    dirty = [np.clip(p.astype(int) + dirt - 205, 0, 255).astype(np.uint8) for p in clean]
    found = lay_out([view_of(pixels, str(n)) for n, pixels in enumerate(dirty)])
    assert found.placements["group"].tolist() == [0, 1, 2, 3]
    assert (found.placements["repeats_of"] == "").all()
    assert found.doubts.sum() == 12


def framed(pixels: np.ndarray) -> np.ndarray:
    """Return a photo in an eyepiece's round field with burned-in text."""
    height, width = pixels.shape[:2]
    disc = np.zeros((height, width), np.uint8)
    cv2.circle(disc, (width // 2, height // 2), int(0.48 * height), 1, -1)
    out = pixels * disc[..., None]
    cv2.putText(out, "100 um  04.05.2031", (12, height - 14), cv2.FONT_HERSHEY_SIMPLEX, 0.6,
                (255, 255, 0), 2)  # fmt: skip
    return out


def test_a_round_field_and_text_join_nothing(tape: RenderedTape) -> None:
    made = render_tape(SMALL, np.random.default_rng(12))
    one, other = (view_of(framed(t.photos[0].pixels), str(n)) for n, t in enumerate((tape, made)))
    assert not one.examined.all()
    assert register(one, other).status != JOINED


@pytest.fixture(scope="module")
def grid() -> tuple[RenderedTape, list[View]]:
    made = render_tape(replace(SMALL, grid=(3, 3), overlap=0.3), np.random.default_rng(21))
    return made, [view_of(one.pixels, f"{n}.jpg") for n, one in enumerate(made.photos)]


def test_nine_photos_are_laid_out_as_they_were_taken(
    grid: tuple[RenderedTape, list[View]],
) -> None:
    made, views = grid
    found = lay_out(views)
    table = found.placements
    assert list(table.columns) == list(PLACEMENT_COLUMNS)
    assert table["group"].eq(0).all()
    assert table["certain"].all()
    assert table.loc[0, ["x_um", "y_um", "angle_deg"]].tolist() == [0.0, 0.0, 0.0]
    for number in range(9):
        true = true_between(made, 0, number)
        assert distance_um(found.poses[number], true, views[0].size_um) < 3.0
        assert table.loc[number, "angle_deg"] == pytest.approx(true.angle_deg, abs=0.3)


def test_photos_in_any_order_are_laid_out_without_comparing_each_two(
    grid: tuple[RenderedTape, list[View]],
) -> None:
    made, views = grid
    order = np.random.default_rng(3).permutation(9).tolist()
    known: Known = {}
    found = lay_out([views[n] for n in order], known=known)
    assert found.placements["group"].eq(0).all()
    assert len(known) < 30  # of 36
    for place, number in enumerate(order):
        true = true_between(made, order[0], number)
        assert distance_um(found.poses[place], true, views[0].size_um) < 3.0
    # Photos that lie on each other are in the table all the same, with what they have in common.
    joined = found.pairs[found.pairs["status"] == JOINED]
    assert len(joined) >= 12


def test_a_wrong_join_hides_no_comparison(
    grid: tuple[RenderedTape, list[View]], monkeypatch: pytest.MonkeyPatch
) -> None:
    made, views = grid
    right = attempt

    def misled(first: View, second: View, looks: tuple, settings: TapeSettings) -> Registration:
        found = right(first, second, looks, settings)
        if (first.photo, second.photo) != ("4.jpg", "5.jpg") or found.pose is None:
            return found
        aside = Pose(0.0, 150.0)
        return replace(found, pose=aside.after(found.pose), outer_um=found.outer_um + (0.0, 150.0))

    monkeypatch.setattr("sporecount.tape.pairs.attempt", misled)
    found = lay_out(views)
    assert any("contradicted" in note for note in found.notes)
    assert found.placements["group"].eq(0).all()
    for number in range(9):
        true = true_between(made, 0, number)
        assert distance_um(found.poses[number], true, views[0].size_um) < 3.0


def test_what_may_be_hidden_does_not_depend_on_which_pairs_were_asked_before(
    views: list[View], other_views: list[View]
) -> None:
    both = [views[0], views[3], other_views[0], other_views[3]]
    looks = [patches(view) for view in both]
    shared = Hidden(both, looks, 5.0)
    for i, j in ((0, 2), (1, 2), (0, 3), (1, 3), (0, 1)):
        alone = hidden_overlap(both[i], both[j], (looks[i], looks[j]), 5.0)
        assert shared.between(i, j) == pytest.approx(alone, abs=1e-5)


def test_photos_of_two_tapes_stay_in_two_groups(views: list[View], other_views: list[View]) -> None:
    found = lay_out([*views, *other_views])
    assert set(found.placements["group"][:4]) & set(found.placements["group"][4:]) == set()


def test_repeats_are_noticed(tape: RenderedTape, views: list[View]) -> None:
    same_file = replace(views[0], photo="copy.jpg")
    encoded = view_of(compressed(tape.photos[1].pixels, 70), "encoded.jpg")
    shifted = np.roll(tape.photos[2].pixels, (5, 9), (0, 1))[12:, 12:]
    again = view_of(np.ascontiguousarray(shifted), "again.jpg")
    found = lay_out([*views, same_file, encoded, again]).placements.set_index("photo")
    assert found["repeats_of"].to_dict() == {
        **{view.photo: "" for view in views},
        "copy.jpg": "0.jpg",
        "encoded.jpg": "1.jpg",
        "again.jpg": "2.jpg",
    }
    assert found.loc["copy.jpg", "notes"] == "the same file"
    assert found.loc["encoded.jpg", "notes"] == "the same view again"


def test_photos_that_come_later_cost_only_their_own_pairs(views: list[View]) -> None:
    known: Known = {}
    lay_out(views[:3], known=known)
    before = dict(known)
    grown = lay_out(views, known=known)
    assert len(before) <= 3
    assert 1 <= len(known) - len(before) <= 3
    assert all(known[key] is one for key, one in before.items())
    assert grown.poses == lay_out(views).poses


def test_refused_photos_have_no_place(views: list[View]) -> None:
    refused = replace(views[1], usable=False, reason="out of focus")
    row = lay_out([views[0], refused]).placements.loc[1]
    assert row["group"] == -1
    assert np.isnan(row["x_um"])
    assert "out of focus" in row["notes"]


def test_no_photos_give_empty_tables() -> None:
    found = lay_out([])
    assert len(found.placements) == 0
    assert list(found.placements.columns) == list(PLACEMENT_COLUMNS)


def made_up_links(wrong: bool) -> tuple[list[Pose], list[Link]]:
    """Return the poses of five photos in a row with a loop, and links between them."""
    rng = np.random.default_rng(2)
    poses = [Pose(300.0 * n, 10.0 * n, 0.5 * n) for n in range(5)]
    links = []
    for i, j in combinations(range(5), 2):
        if j - i > 2:
            continue
        pose = poses[i].inverse().after(poses[j])
        inner = rng.uniform(0, 200, (8 if j - i == 1 else 5, 2))
        noise = rng.normal(0, 0.3, inner.shape)
        links.append(Link(i, j, pose, pose.outwards(inner) + noise, inner))
    if wrong:
        bad = Pose(-250.0, 80.0, -1.0)
        inner = rng.uniform(0, 200, (5, 2))
        links.append(Link(0, 4, bad, bad.outwards(inner), inner))
    return poses, links


@pytest.mark.parametrize("wrong", [False, True])
def test_a_link_that_contradicts_the_others_is_dropped(wrong: bool) -> None:
    true, links = made_up_links(wrong)
    poses, kept, rejected = solve(5, links)
    assert [(link.first, link.second) for link in rejected] == ([(0, 4)] if wrong else [])
    assert max(distance_um(a, b, (300, 300)) for a, b in zip(poses, true)) < 1.5
    assert max(link_rms_um(poses, link) for link in kept) < 1.0


def test_one_wrong_link_is_dropped_though_it_has_more_points_than_the_right_ones() -> None:
    rng = np.random.default_rng(4)
    true = [Pose(300.0 * column, 240.0 * row) for row in range(3) for column in range(3)]
    links = []
    for i, j in combinations(range(9), 2):
        if j - i == 3 or (j - i == 1 and j % 3):
            wrong = (i, j) == (4, 5)
            inner = rng.uniform(0, 200, (25 if wrong else int(rng.integers(8, 20)), 2))
            pose = true[i].inverse().after(true[j])
            pose = Pose(0.0, 150.0).after(pose) if wrong else pose
            links.append(Link(i, j, pose, pose.outwards(inner), inner))
    poses, kept, rejected = solve(9, links)
    assert [(link.first, link.second) for link in rejected] == [(4, 5)]
    assert len(kept) == 11
    assert max(distance_um(a, b, (300, 240)) for a, b in zip(poses, true)) < 0.1


@pytest.mark.parametrize(
    ("name", "value"), [("least_agreeing", 2), ("least_share", 0.1), ("same_spore_um", 0.0)]
)
def test_settings_that_make_no_sense_are_refused(name: str, value: float) -> None:
    with pytest.raises(SettingsError, match=rf"tape\.{name}"):
        replace(TapeSettings(), **{name: value})


def test_a_drawn_tape_is_the_same_from_the_same_seed() -> None:
    plan = TapePlan(grid=(2, 1), photo_px=(120, 90))
    one, same = (render_tape(plan, np.random.default_rng(3)) for _ in range(2))
    assert all((a.pixels == b.pixels).all() for a, b in zip(one.photos, same.photos))
    assert one.truth.equals(same.truth)


def test_a_drawn_tape_s_truth_is_where_its_spores_are() -> None:
    plan = TapePlan((1, 1), (300, 240), clutter=(), clumped=0.0, spores_per_mm2=200, turn_deg=2.0)
    made = render_tape(plan, np.random.default_rng(8))
    xy = true_pose(made, 0).inwards(made.truth[["x_um", "y_um"]].to_numpy(float)) / 0.9 - 0.5
    inside = ((xy > 8) & (xy < [291, 231])).all(axis=1)
    x, y = np.rint(xy[inside & (made.truth["contrast"] > 0.1).to_numpy()]).astype(int).T
    grey = made.photos[0].pixels.min(axis=2).astype(float)
    around = np.array([grey[b - 3 : b + 4, a - 3 : a + 4].min() for a, b in zip(x, y)])
    assert len(x) > 3
    assert (around < np.median(grey) - 15).mean() > 0.9


def test_photos_of_one_view_are_no_layout() -> None:
    with pytest.raises(SettingsError, match=r"overlap 0\.97"):
        TapePlan(overlap=0.97)
