"""Rendered pictures: same seed same bytes, exact truth, what was asked for is there."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from sporecount.render.camera import CameraPlan
from sporecount.render.compose.plan import COMPOSITIONS, ComposePlan
from sporecount.render.light import LightPlan
from sporecount.render.optics import OpticsPlan
from sporecount.render.picture import render
from sporecount.render.plan import (
    FocusPlan,
    PicturePlan,
    SporePlan,
    random_plan,
)
from sporecount.render.spores.look import SporeLook
from sporecount.render.truth import TRUTH_COLUMNS

DARK = SporeLook(tone=1.2, hue=(0.9, 0.95, 1.0), wall_tone=1.0, core_tone=0.9, grain=0.0, rim=0.0)


def _plain(composition="absorb", **changes):
    """Clean, sharp, even picture of lone dark spores."""
    plan = PicturePlan(
        size_px=(420, 300),
        um_per_px=0.5,
        spores=SporePlan(look=DARK, count=10, damaged=0.0, broken=0.0, clumped=0.0),
        focus=FocusPlan(spread_um=0.0),
        compose=ComposePlan(composition, phase_rad=0.0, opacity=0.3),
        light=LightPlan(vignette=0.0, mottle=0.0, haze=0.0),
        camera=CameraPlan(shot=0.0, read=0.0, gamma=1.0, jpeg=()),
    )
    return replace(plan, **changes)


def _found(pixels):
    """Centres (x, y) of dark blobs, weighted by how dark each pixel is."""
    dark = pixels.astype(float).mean(axis=2)
    dark = np.clip(np.median(dark) - dark, 0, None)
    labels, count = ndimage.label(dark > 0.15 * dark.max())
    spread = ndimage.binary_dilation(labels > 0, iterations=2)
    labels, count = ndimage.label(spread)
    centres = ndimage.center_of_mass(dark, labels, range(1, count + 1))
    return np.array([[x, y] for y, x in centres]).reshape(-1, 2), labels


def _isolated(truth, plan, apart_px=45):
    xy = truth[["x_px", "y_px"]].to_numpy()
    distance = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    np.fill_diagonal(distance, np.inf)
    edge = np.minimum(xy, np.array(plan.size_px) - 1 - xy).min(axis=1)
    return truth[(distance.min(axis=1) > apart_px) & (edge > 25)]


CAMERA = CameraPlan(shot=0.0, read=0.0, gamma=1.0, jpeg=())


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"camera": replace(CAMERA, sensor_scale=1.37, resize="area")},
        {"camera": replace(CAMERA, sensor_scale=0.63, resize="cubic")},
        {"optics": OpticsPlan(distortion=0.03)},
        {"optics": OpticsPlan(distortion=-0.03, motion_px=5.0, motion_deg=30.0)},
    ],
    ids=["plain", "shrunk", "blown up", "cushion", "barrel"],
)
@pytest.mark.parametrize("composition", COMPOSITIONS)
def test_truth_lies_on_the_spores_within_a_third_of_a_pixel(composition, changes):
    plan = _plain(composition, **changes)
    checked = 0
    for seed in range(2):
        made = render(plan, np.random.default_rng(seed))
        centres, _ = _found(made.pixels)
        for x, y in _isolated(made.truth, plan)[["x_px", "y_px"]].to_numpy():
            offset = centres - (x, y)
            best = offset[np.hypot(*offset.T).argmin()]
            assert np.hypot(*best) < 0.3, (x, y, best)
            checked += 1
    assert checked >= 4


def test_truth_is_unbiased_where_pixels_are_repeated():
    # Repeating pixels moves each blob by a part of a pixel; the mean must not move.
    plan = _plain(camera=replace(CAMERA, sensor_scale=0.71, resize="nearest"))
    offsets = []
    for seed in range(6):
        made = render(plan, np.random.default_rng(seed))
        centres, _ = _found(made.pixels)
        for x, y in _isolated(made.truth, plan)[["x_px", "y_px"]].to_numpy():
            offset = centres - (x, y)
            offsets.append(offset[np.hypot(*offset.T).argmin()])
    assert len(offsets) > 15
    assert np.abs(np.mean(offsets, axis=0)).max() < 0.15


@pytest.mark.parametrize("composition", COMPOSITIONS)
def test_same_seed_gives_the_same_bytes(composition):
    others = [name for name in COMPOSITIONS if name != composition]
    one, two = (
        render(
            random_plan(np.random.default_rng(5), (120, 90), 0.9, leave_out=others),
            np.random.default_rng(6),
        )
        for _ in range(2)
    )
    assert one.pixels.tobytes() == two.pixels.tobytes()
    assert one.truth.equals(two.truth)


def test_another_seed_gives_another_picture():
    plan = _plain()
    one, two = (render(plan, np.random.default_rng(seed)) for seed in (1, 2))
    assert one.pixels.tobytes() != two.pixels.tobytes()


@pytest.mark.parametrize("count", [0, 1, 7, 40])
def test_the_exact_number_asked_for_is_there(count):
    spores = SporePlan(count=count, damaged=0.4, broken=0.2, clumped=0.6)
    made = render(_plain(spores=spores), np.random.default_rng(count))
    assert int(made.truth["state"].isin(["intact", "damaged"]).sum()) == count


def test_mean_density_of_spores_is_met():
    plan = _plain(spores=SporePlan(per_mm2=400.0, clumped=0.5))
    counts = [
        int((render(plan, np.random.default_rng(s)).truth["state"] != "fragment").sum())
        for s in range(25)
    ]
    expected = 400.0 * plan.area_mm2
    # Five standard errors of a Poisson mean.
    assert abs(np.mean(counts) - expected) < 5 * np.sqrt(expected / 25)


def test_shares_of_damaged_and_broken_are_met():
    spores = SporePlan(count=60, damaged=0.5, broken=0.5, clumped=0.0)
    truth = render(_plain(spores=spores), np.random.default_rng(4)).truth
    assert 15 <= (truth["state"] == "damaged").sum() <= 45
    assert (truth["state"] == "fragment").sum() > 60


def test_random_pictures_have_the_size_and_columns_and_truth_inside():
    for seed in range(25):
        rng = np.random.default_rng(seed)
        um_per_px = float(np.exp(rng.uniform(np.log(0.2), np.log(1.4))))
        plan = random_plan(rng, (131, 97), um_per_px)
        made = render(plan, rng)
        assert made.pixels.shape == (97, 131, 3)
        assert made.pixels.dtype == np.uint8
        assert {name: str(kind) for name, kind in made.truth.dtypes.items()} == TRUTH_COLUMNS
        assert made.truth["x_px"].between(0, 130).all()
        assert made.truth["y_px"].between(0, 96).all()
        assert made.truth["covered"].between(0, 1).all()
        assert (made.truth["contrast"] >= 0).all()


def test_leave_out_is_obeyed():
    for seed in range(30):
        plan = random_plan(
            np.random.default_rng(seed),
            (64, 64),
            0.9,
            leave_out=["wave", "paint", "solid", "round"],
        )
        assert plan.compose.name == "absorb"
        assert plan.spores.style != "solid"


def test_contrast_is_the_optical_density_of_a_lone_sharp_spore():
    plan = _plain(optics=OpticsPlan(blur_px=0.2))
    made = render(plan, np.random.default_rng(0))
    truth = _isolated(made.truth, plan)
    for _, row in truth.iterrows():
        x, y = round(row["x_px"]), round(row["y_px"])
        around = made.pixels[y - 16 : y + 17, x - 16 : x + 17].astype(float) / 255 + 0.01
        ground = np.median(made.pixels.reshape(-1, 3), axis=0) / 255 + 0.01
        peak = np.log10(ground / around).mean(axis=2).max()
        assert row["contrast"] == pytest.approx(peak, abs=0.03)


def test_contrast_falls_with_blur_and_defocus():
    sharp, soft, deep = (
        render(plan, np.random.default_rng(0)).truth["contrast"].mean()
        for plan in (
            _plain(),
            _plain(optics=OpticsPlan(blur_px=5.0)),
            _plain(focus=FocusPlan(offset_um=20.0, spread_um=0.0)),
        )
    )
    assert soft < 0.8 * sharp
    assert deep < 0.8 * sharp


@pytest.mark.parametrize("style", ["profile", "solid", "contour"])
def test_every_style_is_named_in_the_truth(style):
    made = render(
        _plain(spores=SporePlan(style=style, count=5, broken=0.0)), np.random.default_rng(0)
    )
    assert set(made.truth["style"]) == {style}
