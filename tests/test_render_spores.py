"""Spores as drawn against their stated truth. Bounds are this project's own, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import label, regionprops

from sporecount.errors import SporecountError
from sporecount.render.spores import (
    STYLES,
    SporeLook,
    draw_fragments,
    draw_spore,
    random_look,
    vary_look,
)

# No halo, no clear core: what is thresholded is the outline.
PLAIN = SporeLook(rim=0.0, wall_tone=1.0, core_tone=0.9, grain=0.0, tone=0.8)
FINE_UM = 0.1


def looks(count: int, seed: int = 0) -> list[SporeLook]:
    rng = np.random.default_rng(seed)
    return [vary_look(rng, random_look(rng)) for _ in range(count)]


def plainly(look: SporeLook) -> SporeLook:
    return replace(look, rim=0.0, wall_tone=1.0, core_tone=0.9, grain=0.0, tone=max(look.tone, 0.6))


def mask_of(spore):
    blue = spore.density[..., 2]
    return blue > 0.25 * np.quantile(blue[blue > 0.02], 0.7)


def turn_between(one: float, other: float) -> float:
    return abs((one - other + 90.0) % 180.0 - 90.0)


@pytest.mark.parametrize("style", STYLES)
def test_an_intact_spore_measures_what_its_truth_says(style):
    for seed, look in enumerate(looks(12)):
        spore = draw_spore(np.random.default_rng(seed), FINE_UM, plainly(look), "intact", style)
        whole = max(regionprops(label(mask_of(spore))), key=lambda region: region.area)
        angle = np.deg2rad(spore.angle_deg)
        rows, columns = whole.coords.T
        along = np.ptp(columns * np.cos(angle) + rows * np.sin(angle)) * FINE_UM
        across = np.ptp(rows * np.cos(angle) - columns * np.sin(angle)) * FINE_UM
        assert along == pytest.approx(spore.length_um, rel=0.06)
        assert across == pytest.approx(spore.width_um, rel=0.06)
        assert whole.area_filled * FINE_UM**2 == pytest.approx(spore.area_um2, rel=0.08)
        # Filled: a bright stripe is a hole in the mask, not in the spore.
        y, x = np.argwhere(whole.image_filled).mean(axis=0) + whole.bbox[:2]
        assert np.hypot(x - spore.centre_px[0], y - spore.centre_px[1]) * FINE_UM < 0.15
        # regionprops: angle from the row axis towards +column, anticlockwise on screen
        measured = 90.0 - np.rad2deg(whole.orientation)
        if spore.width_um < 0.72 * spore.length_um:
            assert turn_between(measured, spore.angle_deg) < 5.0


@pytest.mark.parametrize("style", ["profile", "contour"])
def test_length_and_width_follow_the_look(style):
    for seed in range(6):
        look = replace(PLAIN, length_um=9.5 + 1.3 * seed, slenderness=0.52 + 0.05 * seed)
        spore = draw_spore(np.random.default_rng(seed), 0.2, look, "intact", style)
        assert spore.length_um == pytest.approx(look.length_um, rel=0.06)
        assert spore.width_um == pytest.approx(look.length_um * look.slenderness, rel=0.06)


def test_a_body_in_space_is_never_longer_or_wider_than_its_look():
    look = replace(PLAIN, length_um=14.0, slenderness=0.6)
    drawn = [draw_spore(np.random.default_rng(n), 0.2, look, "intact", "solid") for n in range(25)]
    assert max(spore.length_um for spore in drawn) < 14.0 * 1.04
    assert np.median([spore.length_um for spore in drawn]) > 14.0 * 0.93
    assert min(spore.length_um for spore in drawn) < 14.0 * 0.98  # some are foreshortened


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0, 135.0])
def test_the_angle_asked_for_is_drawn(style, angle_deg):
    look = replace(PLAIN, slenderness=0.55)
    spore = draw_spore(np.random.default_rng(4), 0.3, look, "intact", style, angle_deg=angle_deg)
    assert turn_between(spore.angle_deg, angle_deg) < 5.0


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("state", ["intact", "damaged"])
def test_size_in_um_does_not_depend_on_the_scale(style, state):
    agree = []
    for seed, look in enumerate(looks(10, seed=3)):
        fine, coarse = (
            draw_spore(np.random.default_rng(seed), scale, look, state, style)
            for scale in (0.2, 0.9)
        )
        # The scale moves the drawing by parts of a pixel, and texture with it, not the shape.
        area = coarse.area_um2 == pytest.approx(fine.area_um2, rel=0.10)
        agree.append(area and coarse.length_um == pytest.approx(fine.length_um, rel=0.08))
    # A damaged spore that is nearly a sliver may be drawn again at one scale only.
    assert sum(agree) >= (10 if state == "intact" else 9)


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("um_per_px", [0.1, 0.35, 0.9, 1.6])
def test_averaging_down_keeps_the_centre(style, um_per_px):
    # At coarse scales the centroid of density, over several spores, must not be biased.
    off = []
    for seed in range(12):
        look = replace(PLAIN, core_tone=1.0)
        spore = draw_spore(np.random.default_rng(seed), um_per_px, look, "intact", style)
        weight = np.maximum(spore.density[..., 2], 0.0)
        rows, columns = np.indices(weight.shape)
        centre = np.array([(weight * columns).sum(), (weight * rows).sum()]) / weight.sum()
        off.append((centre - spore.centre_px) * um_per_px)
    assert np.abs(np.mean(off, axis=0)).max() < 0.25


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("state", ["intact", "damaged"])
def test_a_patch_is_float32_finite_and_zero_at_its_border(style, state):
    for seed, look in enumerate(looks(15, seed=5)):
        spore = draw_spore(np.random.default_rng(seed), 0.7, look, state, style)
        density = spore.density
        assert density.dtype == np.float32
        assert density.ndim == 3
        assert density.shape[2] == 3
        assert np.isfinite(density).all()
        border = np.concatenate([density[0], density[-1], density[:, 0], density[:, -1]])
        assert not border.any()
        assert (spore.state, spore.style, spore.kind) == (state, style, "spore")
        assert 0.0 <= spore.angle_deg < 180.0
        assert spore.width_um <= spore.length_um


@pytest.mark.parametrize("style", STYLES)
def test_the_same_seed_gives_the_same_drawing(style):
    for state in ("intact", "damaged"):
        one, other = (
            draw_spore(np.random.default_rng(7), 0.5, PLAIN, state, style) for _ in range(2)
        )
        np.testing.assert_array_equal(one.density, other.density)
        assert one.centre_px == other.centre_px
    one, other = (draw_fragments(np.random.default_rng(7), 0.5, PLAIN, style) for _ in range(2))
    assert [place for _, place in one] == [place for _, place in other]


@pytest.mark.parametrize("style", STYLES)
def test_fragments_lie_apart_and_hold_no_more_than_the_spore(style):
    for seed, look in enumerate(looks(12, seed=9)):
        look = plainly(look)
        pieces = draw_fragments(np.random.default_rng(seed), 0.2, look, style)
        assert 2 <= len(pieces) <= 7
        assert all(
            2.0 <= piece.length_um < look.length_um and piece.state == "fragment"
            for piece, _ in pieces
        )
        # An ellipse holds 1.0 and a lens about 0.85 of pi/4 * length * width.
        spore_um2 = np.pi / 4 * look.length_um**2 * look.slenderness
        assert sum(piece.area_um2 for piece, _ in pieces) <= 1.15 * spore_um2
        for number, (piece, place) in enumerate(pieces):
            gaps = [gap_um(piece, place, *other) for other in pieces[:number]]
            if gaps:
                assert 1.5 < min(gaps) < 8.5


@pytest.mark.parametrize("style", STYLES)
def test_fragments_mostly_lie_in_a_group_where_the_spore_broke(style):
    spans = []
    for seed, look in enumerate(looks(20, seed=21)):
        pieces = draw_fragments(np.random.default_rng(seed), 0.4, look, style)
        places = np.array([place for _, place in pieces])
        spans.append(np.linalg.norm(places[:, None] - places[None], axis=2).max())
    assert np.median(spans) < 20.0
    assert np.mean(np.array(spans) < 28.0) >= 0.85


@pytest.mark.parametrize("style", STYLES)
def test_a_damaged_spore_can_be_read_as_one_spore(style):
    """Slivers and scraps could be told from litter by nobody, so they are hardly ever drawn."""
    slender, area = [], []
    for seed, look in enumerate(looks(100, seed=31)):
        whole = draw_spore(np.random.default_rng(seed), 0.4, look, "intact", style)
        spore = draw_spore(np.random.default_rng(seed), 0.4, look, "damaged", style)
        slender.append(spore.width_um / spore.length_um)
        area.append(spore.area_um2 / whole.area_um2)
    assert np.mean(np.array(slender) < 0.22) <= 0.03
    assert np.mean(np.array(area) < 0.2) <= 0.03


@pytest.mark.parametrize("style", STYLES)
def test_intact_spores_are_seldom_round(style):
    drawn = [
        draw_spore(np.random.default_rng(seed), 0.4, look, "intact", style)
        for seed, look in enumerate(looks(150, seed=41))
    ]
    slender = np.array([spore.width_um / spore.length_um for spore in drawn])
    assert np.mean(slender > 0.85) <= 0.02
    assert np.mean((slender > 0.53) & (slender < 0.77)) > 0.85


def gap_um(piece, place, other, other_place) -> float:
    points = []
    for drawn, (x_um, y_um) in ((piece, place), (other, other_place)):
        rows, columns = np.nonzero(drawn.density[..., 2] > 0.03)
        points.append(
            np.column_stack(
                [
                    (columns - drawn.centre_px[0]) * 0.2 + x_um,
                    (rows - drawn.centre_px[1]) * 0.2 + y_um,
                ]
            )
        )
    apart = points[0][:, None] - points[1][None]
    return float(np.sqrt((apart**2).sum(axis=2)).min())


@pytest.mark.parametrize("style", STYLES)
def test_damage_can_be_seen(style):
    """Damaged spores differ in shape or density far more than intact ones do."""
    look = replace(PLAIN, tip=0.4)

    def traits(state: str) -> np.ndarray:
        rows = []
        for seed in range(60):
            spore = draw_spore(np.random.default_rng(seed), 0.2, look, state, style)
            hull = spore.length_um * spore.width_um
            blue = spore.density[..., 2].sum() * 0.2**2
            rows.append((spore.area_um2 / hull, blue, spore.width_um, spore.length_um))
        return np.array(rows)

    intact, damaged = traits("intact"), traits("damaged")
    middle, spread = np.median(intact, axis=0), intact.std(axis=0) + 0.02 * intact.mean(axis=0)
    odd_damaged = (np.abs(damaged - middle) / spread).max(axis=1)
    odd_intact = (np.abs(intact - middle) / spread).max(axis=1)
    assert np.mean(odd_damaged > np.quantile(odd_intact, 0.9)) > 0.85


def test_looks_stay_in_bounds_and_vary():
    drawn = looks(300, seed=1)
    assert all(9.0 <= look.length_um <= 17.0 for look in drawn)
    assert all(0.5 <= look.slenderness <= 0.8 for look in drawn)
    assert all(0.12 <= look.tone <= 1.2 for look in drawn)
    # Red is the least absorbed; blue the most, but for rose ones.
    rose = [look for look in drawn if look.hue[1] > look.hue[2]]
    assert all(look.hue[0] <= min(look.hue[1:]) and max(look.hue) == 1.0 for look in drawn)
    assert 0.02 < len(rose) / len(drawn) < 0.15
    assert all(look.hue[2] >= 0.7 for look in rose)
    assert all(max(look.wall_tone, look.core_tone) == pytest.approx(1.0) for look in drawn)
    assert np.std([look.tone for look in drawn]) > 0.15


def test_unknown_style_state_and_scale_are_refused():
    rng = np.random.default_rng(0)
    with pytest.raises(SporecountError, match="no drawing style has that name"):
        draw_spore(rng, 0.5, PLAIN, "intact", "woodcut")
    with pytest.raises(SporecountError, match="no spore has that state"):
        draw_spore(rng, 0.5, PLAIN, "eaten", "solid")
    with pytest.raises(SporecountError, match="um per pixel"):
        draw_fragments(rng, 0.0, PLAIN, "solid")
