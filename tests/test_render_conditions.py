"""Each named condition renders, and shows what its name says."""

import numpy as np
import pytest

from sporecount.errors import SettingsError
from sporecount.render.conditions import CONDITIONS, RUINED, condition_plan
from sporecount.render.picture import render

SIZE = (320, 240)


def _make(name, seed=0, size=SIZE):
    rng = np.random.default_rng(seed)
    return render(condition_plan(name, rng, size), rng)


@pytest.fixture(scope="module")
def made():
    return {name: _make(name) for name in CONDITIONS}


@pytest.mark.parametrize("name", list(CONDITIONS))
def test_condition_renders_at_its_scale_and_size(made, name):
    low, high, _ = CONDITIONS[name]
    one = made[name]
    assert one.pixels.shape == (240, 320, 3)
    assert low <= one.plan.um_per_px <= high


@pytest.mark.parametrize("name", [name for name in CONDITIONS if name not in ("blank", *RUINED)])
def test_spores_can_be_seen(made, name):
    truth = made[name].truth
    whole = truth[(truth["state"] == "intact") & truth["in_field"] & (truth["covered"] < 0.2)]
    assert len(whole) > 0
    assert whole["contrast"].median() > 0.08


def test_blank_has_litter_but_no_spores(made):
    assert len(made["blank"].truth) == 0
    assert made["blank"].pixels.std() > 3


@pytest.mark.parametrize("name", RUINED)
def test_ruined_photos_hide_their_spores(made, name):
    picture = made[name].pixels.astype(float).mean(axis=2)
    if name == "ruined-dark":
        assert np.median(picture) < 40
    elif name == "ruined-glare":
        assert np.median(picture) > 235
    else:
        assert made[name].truth["contrast"].median() < 0.12


def test_phone_has_a_dark_surround_outside_the_field(made):
    one = made["phone"]
    assert one.plan.light.field is not None
    assert one.pixels[0, 0].mean() < 0.5 * np.median(one.pixels[100:140, 140:180])


def test_spores_outside_the_round_field_are_marked():
    truths = [_make("phone", seed).truth for seed in range(3)]
    marks = np.concatenate([truth["in_field"].to_numpy() for truth in truths])
    assert marks.any()
    assert not marks.all()


def test_clumps_have_close_neighbours(made):
    one = made["clumps"]
    truth = one.truth[one.truth["state"] != "fragment"]
    xy = truth[["x_px", "y_px"]].to_numpy() * one.plan.um_per_px
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    assert np.median(apart.min(axis=1)) < 17


def test_trial_has_all_three_states(made):
    assert set(made["trial"].truth["state"]) == {"intact", "damaged", "fragment"}


def test_thick_scales_cover_some_spores():
    covered = np.concatenate([_make("thick-scales", s).truth["covered"] for s in range(2)])
    assert (covered > 0.5).any()
    assert (covered < 0.1).any()


def test_overlay_hides_what_lies_below():
    made = [_make("overlay", seed) for seed in range(4)]
    marked = np.concatenate([one.truth["in_field"].to_numpy() for one in made])
    assert marked.mean() > 0.5
    assert not marked.all()


def test_unknown_condition_is_named_in_the_error():
    with pytest.raises(SettingsError, match="condition '5x': there is no such condition"):
        condition_plan("5x", np.random.default_rng(0))
