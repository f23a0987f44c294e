"""Fields drawn before and after treatment, and the demonstration trial that is shipped."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from sporecount.photo.read import read_photo
from sporecount.render.treated import FATES, Chances, TreatedField, TreatedPlan, render_treated
from sporecount.render.trial import ARMS, FIELDS, SLIDES
from sporecount.tape.pose import Pose
from sporecount.trial.blind import read_key
from sporecount.trial.plan_file import read_trial
from sporecount.trial.table_file import read_eggs, read_feeding

FOLDER = Path(__file__).parents[1] / "docs/examples/trial"
PLAN = TreatedPlan(
    photo_px=(300, 240), spores_per_mm2=400.0, clutter=(), uneven=0.0, clumped=0.0, damaged=0.0
)


def drawn(chances: Chances, seed: int = 5, plan: TreatedPlan = PLAN) -> TreatedField:
    return render_treated(plan, chances, np.random.default_rng(seed))


def darkness(made: TreatedField, when: str) -> NDArray[np.float64]:
    """Return how much darker than the photo's middle value each spore's place is."""
    photo = made.before if when == "before" else made.after
    pose = Pose(photo.x_um, photo.y_um, photo.angle_deg)
    at = pose.inwards(made.truth[["x_um", "y_um"]].to_numpy(float)) / PLAN.um_per_px - 0.5
    x, y = np.rint(at).astype(int).T
    blue = photo.pixels[..., 2].astype(float)
    inside = (x > 8) & (y > 8) & (x < 291) & (y < 231)
    dark = np.full(len(at), np.nan)
    for n in np.flatnonzero(inside):
        patch = blue[y[n] - 3 : y[n] + 4, x[n] - 3 : x[n] + 4]
        dark[n] = np.median(blue) - patch.mean()
    return dark


def test_spores_lie_where_the_truth_says_before_and_after() -> None:
    made = [drawn(Chances(gone=0.5), seed) for seed in range(5, 9)]
    before, after = (
        np.concatenate([darkness(one, when) for one in made]) for when in ("before", "after")
    )
    gone = np.concatenate([(one.truth["fate"] == "gone").to_numpy() for one in made])
    there = np.isfinite(before) & np.isfinite(after)
    assert (there & gone).sum() > 8
    assert (there & ~gone).sum() > 8
    assert (before[there] > 10).all()
    assert (after[there & ~gone] > 10).all()
    assert np.mean(after[there & gone] < 6) > 0.8  # another may lie beside it


def test_the_same_seed_draws_the_same_bytes() -> None:
    one, other = (drawn(Chances(0.3, 0.2, 0.1)) for _ in range(2))
    assert one.after.pixels.tobytes() == other.after.pixels.tobytes()
    pd.testing.assert_frame_equal(one.truth, other.truth)


def test_fates_come_as_often_as_asked() -> None:
    truth = drawn(Chances(0.4, 0.0, 0.3), plan=PLAN).truth
    share = truth["fate"].value_counts(normalize=True)
    for fate, asked in zip(FATES, (0.3, 0.4, 0.0, 0.3), strict=True):
        assert share.get(fate, 0.0) == pytest.approx(asked, abs=0.15)


def test_the_shipped_trial_is_whole_and_small() -> None:
    trial = read_trial(FOLDER / "trial.toml")
    sheet = pd.read_csv(FOLDER / "photos.csv")
    assert len(sheet) == len(ARMS) * SLIDES * FIELDS * 2
    assert sorted(sheet["photo"]) == sorted(path.name for path in (FOLDER / "photos").iterdir())
    assert {row.code for row in read_key(FOLDER / trial.key)} == set(sheet["slide"])
    assert [arm.name for arm in trial.arms] == [one.arm.name for one in ARMS]
    assert read_eggs(FOLDER / trial.eggs).groupby("arm").size().min() >= 3
    assert set(read_feeding(FOLDER / trial.feeding)["arm"]) < {arm.name for arm in trial.arms}
    assert sum(path.stat().st_size for path in FOLDER.rglob("*") if path.is_file()) < 12e6
    assert read_photo(FOLDER / "photos" / sheet["photo"][0]).pixels.shape == (750, 1000, 3)


def test_the_shipped_truth_is_that_of_its_readme() -> None:
    truth = pd.read_csv(FOLDER / "truth.csv")
    readme = (FOLDER / "README.md").read_text("utf-8")
    intact = truth[truth["state"] == "intact"]
    for arm, own in intact.groupby("arm"):
        shares = " | ".join(f"{100 * (own['fate'] == fate).mean():.0f} %" for fate in FATES)
        assert f"| {arm} | {len(own)} | {shares} |" in readme
    still = (intact["fate"] == "intact").groupby(intact["arm"]).mean()
    assert still["hypochlorite"] < 0.35
    assert still[["untreated", "water", "uv-c"]].min() > 0.93
