"""The three composers, on objects whose light can be worked out by hand."""

import numpy as np
import pytest

from sporecount.render.compose.absorb import compose_absorb
from sporecount.render.compose.paint import compose_paint
from sporecount.render.compose.place import Placed, focus_levels, window
from sporecount.render.compose.plan import COMPOSITIONS, ComposePlan
from sporecount.render.compose.wave import compose_wave
from sporecount.render.drawn import Drawn, DrawnSpore

COMPOSE = {"absorb": compose_absorb, "paint": compose_paint, "wave": compose_wave}
SHAPE = (120, 140)


def _square(side, density, spore):
    patch = np.zeros((side + 10, side + 10, 3), np.float32)
    patch[5:-5, 5:-5] = density
    centre = ((side + 9) / 2, (side + 9) / 2)
    if spore:
        return DrawnSpore(
            patch, centre, "spore", side * 0.5, side * 0.5, 0.0, "intact", 1.0, "profile"
        )
    return Drawn(patch, centre, "litter")


def _at(drawn, left, top, defocus_um=0.0):
    return Placed(drawn, left, top, defocus_um)


@pytest.mark.parametrize("name", COMPOSITIONS)
def test_nothing_there_is_clear_light(name):
    made = COMPOSE[name]([], SHAPE, 0.5, ComposePlan(name))
    assert np.allclose(made.light, 1.0, atol=1e-5)
    assert (made.cover == -1).all()


@pytest.mark.parametrize("name", COMPOSITIONS)
def test_a_wide_object_lets_through_what_its_density_says(name):
    plan = ComposePlan(name, opacity=0.0, phase_rad=0.0)
    made = COMPOSE[name]([_at(_square(40, 0.5, True), 40, 30)], SHAPE, 0.5, plan)
    assert made.light[55, 65].mean() == pytest.approx(10**-0.5, rel=0.05)
    assert made.light[5, 5].mean() == pytest.approx(1.0, abs=0.03)
    assert made.bare.mean() == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("name", ["absorb", "wave"])
def test_densities_of_overlapping_objects_add(name):
    plan = ComposePlan(name, phase_rad=0.0)
    two = [_at(_square(40, 0.3, False), 30, 30), _at(_square(40, 0.2, True), 30, 30)]
    made = COMPOSE[name](two, SHAPE, 0.5, plan)
    assert made.light[55, 55].mean() == pytest.approx(10**-0.5, rel=0.05)
    assert made.bare[55, 55].mean() == pytest.approx(10**-0.3, rel=0.05)


def test_paint_hides_what_lies_below_but_not_what_lies_above():
    plan = ComposePlan("paint", opacity=1.0)
    litter, spore = _square(40, 1.0, False), _square(10, 0.6, True)
    below = compose_paint([_at(spore, 45, 45), _at(litter, 30, 30)], SHAPE, 0.5, plan)
    above = compose_paint([_at(litter, 30, 30), _at(spore, 45, 45)], SHAPE, 0.5, plan)
    assert np.abs(below.light[50:60, 50:60] - below.bare[50:60, 50:60]).max() < 0.01
    assert below.cover[54, 54] == 1
    assert np.abs(above.light[54, 54] - above.bare[54, 54]).max() > 0.05
    assert above.cover[54, 54] == 0


@pytest.mark.parametrize("name", ["absorb", "wave"])
def test_opaque_litter_covers_and_thin_litter_does_not(name):
    for density, covers in ((1.2, True), (0.2, False)):
        made = COMPOSE[name](
            [_at(_square(40, density, False), 30, 30)], SHAPE, 0.5, ComposePlan(name)
        )
        assert (made.cover[54, 54] > 0) is np.bool_(covers)
        assert made.cover[5, 5] == -1


@pytest.mark.parametrize("name", COMPOSITIONS)
def test_objects_out_of_focus_are_softer(name):
    plan = ComposePlan(name, fringe=0.0, phase_rad=0.0, opacity=0.0, closure=0.0)
    sharp, soft = (
        COMPOSE[name]([_at(_square(12, 0.6, True), 50, 50, z)], SHAPE, 0.5, plan).light
        for z in (0.0, 25.0)
    )
    assert soft.min() > sharp.min() + 0.1


def test_rims_change_sides_with_the_sign_of_the_defocus():
    plan = ComposePlan("absorb", fringe=1.5, closure=1.0, cone=0.1)
    near, far = (
        compose_absorb([_at(_square(20, 0.4, True), 50, 50, z)], SHAPE, 0.5, plan).light
        for z in (12.0, -12.0)
    )
    assert near.max() > 1.01
    assert far.max() < 1.005


def test_phase_alone_shows_only_out_of_focus_and_reverses():
    # A transparent bead: contrast in focus is faint, and turns about on the other side
    # (from memory: any textbook on bright-field imaging of phase objects).
    plan = ComposePlan("wave", phase_rad=1.5, closure=0.9, cone=0.25)
    bead = _square(12, 0.05, True)
    below, above = (
        compose_wave([_at(bead, 50, 50, z)], SHAPE, 0.5, plan).light[55:63, 55:63].mean()
        for z in (-10.0, 10.0)
    )
    assert abs(below - above) > 0.01


@pytest.mark.parametrize("name", COMPOSITIONS)
def test_patches_larger_than_the_canvas_or_off_it_are_clipped(name):
    huge, gone = _square(400, 0.3, False), _square(10, 0.3, True)
    made = COMPOSE[name](
        [_at(huge, -100, -150, 3.0), _at(gone, 900, 0)], SHAPE, 0.5, ComposePlan(name)
    )
    assert made.light.shape == (*SHAPE, 3)
    assert np.isfinite(made.light).all()


def test_window_of_a_patch_beside_the_canvas_is_none():
    assert window(-10, 0, (5, 5, 3), (20, 20)) is None


def test_focus_levels_keep_every_object_and_its_sign():
    many = [_at(_square(4, 0.1, False), 0, 0, float(z)) for z in np.linspace(-8, 8, 30)]
    groups = focus_levels(many, 5)
    assert sum(len(members) for _, members in groups) == 30
    assert groups[0][0] < 0 < groups[-1][0]
