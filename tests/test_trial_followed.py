"""The same spores before and after treatment: photos laid on each other, and each spore's fate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from sporecount.detect.matching import match_centres
from sporecount.errors import SettingsError
from sporecount.render.conditions import USUAL_CLUTTER
from sporecount.render.treated import Chances, TreatedField, TreatedPlan, render_treated
from sporecount.settings import FollowSettings
from sporecount.tape.pose import Pose
from sporecount.tape.texture import landmarks, texture
from sporecount.tape.view import View
from sporecount.trial.followed.match import (
    CROWDED,
    GONE,
    NEW,
    OUTSIDE,
    SPORE_COLUMNS,
    UNCLEAR,
    follow,
)
from sporecount.trial.followed.register import lay_field

PLAN = TreatedPlan(
    photo_px=(500, 400),
    um_per_px=0.9,
    spores_per_mm2=150.0,
    clutter=tuple((kind, 2 * rate) for kind, rate in USUAL_CLUTTER),
)


def drawn(chances: Chances, seed: int, plan: TreatedPlan = PLAN) -> TreatedField:
    return render_treated(plan, chances, np.random.default_rng(seed))


def view(made: TreatedField, when: str, plan: TreatedPlan = PLAN, dirt: int = 0) -> View:
    """Return a photo with finds taken from the truth, so that nothing hangs on a detector."""
    photo = made.before if when == "before" else made.after
    pose = Pose(photo.x_um, photo.y_um, photo.angle_deg)
    truth = made.truth.copy()
    if when == "after":
        truth = truth[truth["fate"].isin(["intact", "damaged"])].assign(
            state=lambda table: table["fate"]
        )
    at = pose.inwards(truth[["x_um", "y_um"]].to_numpy(float))
    width, height = plan.photo_px
    size_um = (width * plan.um_per_px, height * plan.um_per_px)
    inside = ((at > 0) & (at < size_um)).all(axis=1)
    grey = -np.log10(np.maximum(photo.pixels.astype(np.float32).mean(axis=2), 1) / 255)
    y, x = np.mgrid[: grey.shape[0], : grey.shape[1]]
    for cx, cy in np.random.default_rng(5).uniform(20, 380, (dirt, 2)):
        grey[np.hypot(x - cx, y - cy) < 4] += 0.2
    examined = np.ones(grey.shape, bool)
    even, noise = texture(grey.astype(np.float32), examined, plan.um_per_px)
    finds = pd.DataFrame(at[inside], columns=["x_um", "y_um"]).assign(
        state=truth["state"].to_numpy()[inside]
    )
    return View(
        photo=f"{when}.jpg", sha256=when, um_per_px=plan.um_per_px, photo_um_per_px=plan.um_per_px,
        size_um=size_um, texture=even, examined=examined, picture=photo.pixels,
        landmarks_um=landmarks(even, examined, plan.um_per_px, noise), noise=noise,
        examined_mm2=size_um[0] * size_um[1] / 1e6, detections=finds,
    )  # fmt: skip


def true_pose(made: TreatedField) -> Pose:
    first, second = (Pose(p.x_um, p.y_um, p.angle_deg) for p in (made.before, made.after))
    return first.inverse().after(second)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_litter_lays_photos_on_each_other_though_every_spore_has_gone(seed: int) -> None:
    made = drawn(Chances(gone=1.0), seed)
    laid = lay_field(view(made, "before"), view(made, "after"))
    assert laid.pose is not None, laid.reason
    assert laid.by_litter
    corners = np.array([[0.0, 0.0], [450.0, 360.0]])
    off = laid.pose.outwards(corners) - true_pose(made).outwards(corners)
    assert np.hypot(*off.T).max() < 1.5


def test_photos_of_different_fields_are_never_laid_on_each_other() -> None:
    made = [drawn(Chances(), seed) for seed in range(11, 16)]
    before = [view(one, "before") for one in made]
    after = [view(one, "after") for one in made]
    for n in range(5):
        for m in range(5):
            laid = lay_field(before[n], after[m])
            assert (laid.pose is not None) == (n == m), (n, m, laid)
            assert bool(laid.reason) == (n != m)


@pytest.mark.parametrize("others", [0, 2])
def test_dirt_that_stays_in_place_does_not_join_photos(others: int) -> None:
    """The stage moved, the specks did not: nothing may rest on them."""
    bare = replace(PLAN, clutter=(), spores_per_mm2=40.0)
    made = [drawn(Chances(gone=1.0), seed, bare) for seed in range(21, 22 + others)]
    fields = [view(one, "before", bare, dirt=60) for one in made]
    after = view(made[0], "after", bare, dirt=60)
    assert min(len(one.landmarks_um) for one in (*fields, after)) > 30
    laid = lay_field(fields[0], after, others=fields[1:])
    assert laid.pose is None
    assert ("lens or sensor" in laid.reason) == (others == 0)


def test_a_refused_photo_is_said_to_be_refused() -> None:
    made = drawn(Chances(), 1)
    refused = replace(view(made, "after"), usable=False, reason="too blurred")
    assert "too blurred" in lay_field(view(made, "before"), refused).reason


def test_fates_are_those_drawn() -> None:
    made = drawn(Chances(damaged=0.3, gone=0.3), 4)
    before, after = view(made, "before"), view(made, "after")
    laid = lay_field(before, after)
    assert laid.pose is not None
    found = follow(before, after, laid.pose)
    assert {name: str(kind) for name, kind in found.dtypes.items()}["x_um"] == "float64"
    assert list(found.columns) == list(SPORE_COLUMNS)
    place = Pose(made.before.x_um, made.before.y_um)
    at = place.inwards(made.truth[["x_um", "y_um"]].to_numpy(float))
    old = found[found["fate"] != NEW]
    true = match_centres(old[["x_um", "y_um"]].to_numpy(float), at, 0.01).true
    really = made.truth["fate"].to_numpy()[true]
    matched = ~old["fate"].isin([OUTSIDE, CROWDED, UNCLEAR]).to_numpy()
    assert matched.sum() > 15
    assert (old["fate"].to_numpy()[matched] == really[matched]).all()
    assert not (found["fate"] == NEW).any()


# Made up by hand: three litter-free photos of 200 x 200 um, spores as dark discs.


def plain(spores: list[tuple[float, float, str]], dark: list[tuple[float, float]]) -> View:
    even = np.zeros((200, 200), np.float32)
    y, x = np.mgrid[:200, :200] + 0.5
    for cx, cy in dark:
        even[np.hypot(x - cx, y - cy) < 5] = 0.2
    finds = pd.DataFrame(spores, columns=["x_um", "y_um", "state"])
    return View(
        photo="a.jpg", sha256="a", um_per_px=1.0, photo_um_per_px=1.0, size_um=(200.0, 200.0),
        texture=even, examined=np.ones((200, 200), bool),
        picture=np.zeros((200, 200, 3), np.uint8), landmarks_um=np.zeros((0, 2)), noise=0.005,
        examined_mm2=0.04, detections=finds,
    )  # fmt: skip


def fates(before: View, after: View, pose: Pose | None = None) -> list[str]:
    return [str(one) for one in follow(before, after, pose or Pose())["fate"]]


def test_each_fate_by_hand() -> None:
    before = plain(
        [(50, 50, "intact"), (100, 50, "intact"), (150, 50, "intact"), (50, 100, "intact"),
         (100, 100, "damaged"), (3, 150, "intact")],
        [(50, 50), (100, 50), (150, 50), (50, 100), (100, 100)],
    )  # fmt: skip
    after = plain(
        [(51, 50, "intact"), (100, 52, "damaged"), (147, 55, "fragment"), (154, 46, "fragment"),
         (100, 100, "damaged"), (170, 170, "intact"), (3, 100, "intact")],
        [(51, 50), (100, 52), (100, 100)],
    )  # fmt: skip
    found = follow(before, after, Pose())
    assert found["fate"].tolist() == [
        "intact", "damaged", "fragment", GONE, "damaged", OUTSIDE, NEW,
    ]  # fmt: skip
    assert found["pieces"].tolist() == [0, 0, 2, 0, 0, 0, 0]
    assert found["away_um"].tolist()[:2] == [1.0, 2.0]


def test_what_is_still_there_but_not_called_a_spore_is_not_gone() -> None:
    before = plain([(50, 50, "intact"), (100, 50, "intact")], [(50, 50), (100, 50)])
    assert fates(before, plain([], [(50, 50)])) == [UNCLEAR, GONE]


def test_two_that_may_have_become_one_are_not_matched() -> None:
    before = plain([(50, 50, "intact"), (57, 50, "intact")], [(50, 50), (57, 50)])
    after = plain([(53, 50, "intact")], [])
    assert sorted(fates(before, after)) == [CROWDED, "intact"]


def test_pieces_that_lay_there_before_break_nothing() -> None:
    before = plain([(50, 50, "intact"), (56, 50, "fragment")], [(50, 50)])
    after = plain([(56, 50, "fragment")], [])
    assert fates(before, after) == [GONE]


def test_most_pairs_come_first_then_the_least_distance() -> None:
    """Nearest first would pair the middle two and leave the others without partner."""
    first, second = np.array([[0.0, 0.0], [3.0, 0.0]]), np.array([[2.0, 0.0], [6.5, 0.0]])
    pairs = match_centres(first, second, 4.0)
    assert pairs.found.tolist() == [0, 1]
    assert pairs.true.tolist() == [0, 1]
    assert match_centres(first, np.zeros((0, 2)), 4.0).found.size == 0


def test_a_turned_photo_gives_the_same_fates() -> None:
    before = plain([(60, 90, "intact"), (120, 70, "intact")], [(60, 90), (120, 70)])
    pose = Pose(12.0, -7.0, 6.0)
    at = pose.inwards(np.array([[61.0, 90.0], [120.0, 71.0]]))
    after = plain([(*at[0], "intact"), (*at[1], "damaged")], [(*at[0],), (*at[1],)])
    assert fates(before, after, pose) == ["intact", "damaged"]


def test_nothing_found_gives_all_columns_and_no_rows() -> None:
    empty = plain([], [])
    assert follow(empty, empty, Pose()).shape == (0, len(SPORE_COLUMNS))


@pytest.mark.parametrize(
    ("name", "value"), [("same_place_um", 0.0), ("pieces_within_um", 2.0), ("most_angle_deg", 30.0)]
)
def test_settings_that_make_no_sense_are_refused(name: str, value: float) -> None:
    with pytest.raises(SettingsError, match=rf"follow\.{name}"):
        FollowSettings(**{name: value})
