"""Litter that is told from spores by what is within its outline, by its hue or its company.

Sizes are common practice, no source.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sporecount.render.clutter import FAMILIES, KINDS, draw_clutter, lookalike
from sporecount.render.clutter.canvas import make_canvas
from sporecount.render.clutter.group import length_of, loose_group, window_at
from sporecount.render.clutter.lookalike import looks_like_plain_spore, looks_like_spore

TOLD = [name for name, kind in KINDS.items() if kind.told_um_per_px > 0]


def unevenness(density: np.ndarray, um_per_px: float) -> float:
    """Spread of the tone 1 um or more within the outlines, as a share of its strongest."""
    tone = density.mean(axis=2)
    mask = (np.abs(tone) > 0.08 * np.abs(tone).max()).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    outlines = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    cv2.drawContours(mask, outlines, -1, 1, cv2.FILLED)
    depth_um = cv2.distanceTransform(mask, cv2.DIST_L2, 5) * um_per_px
    deep = tone[depth_um > 0.9]
    return float(deep.std() / np.abs(tone).max()) if len(deep) > 20 else 1.0


def test_families_fit_the_bits_of_a_tag() -> None:
    # Tiles carry their families as the bits of a signed 32-bit number.
    assert len(FAMILIES) <= 31


@pytest.mark.parametrize("name", TOLD)
def test_marks_within_the_outline_are_seen_at_fine_scales(name: str) -> None:
    rng = np.random.default_rng(4)
    assert np.median([unevenness(draw_clutter(rng, 0.2, name).density, 0.2) for _ in range(15)]) > (
        0.09
    )


def test_the_measure_of_marks_knows_what_has_none() -> None:
    rng = np.random.default_rng(4)
    plain = [unevenness(draw_clutter(rng, 0.2, "giant ellipse").density, 0.2) for _ in range(15)]
    away = np.hypot(*((np.mgrid[0:90, 0:90] - 45) * 0.2 / np.array([[[4]], [[6.5]]])))
    lemon = np.repeat((away < 1).astype(np.float32)[:, :, None], 3, axis=2)
    assert unevenness(lemon, 0.2) < 0.05
    assert np.median(plain) < 0.3


def test_a_spores_outline_is_let_pass_only_where_marks_tell() -> None:
    draws = [
        draw_clutter(np.random.default_rng([seed, 9]), um_per_px, "septate oval").density
        for um_per_px in (0.3, 1.2)
        for seed in range(40)
    ]
    small = [max(d.shape) * u < 90 for d, u in zip(draws, [0.3] * 40 + [1.2] * 40, strict=True)]
    like = [looks_like_spore(d, u) for d, u in zip(draws, [0.3] * 40 + [1.2] * 40, strict=True)]
    assert sum(like[:40]) >= 4
    assert sum(np.logical_and(like[40:], small[40:])) == 0


def test_dots_are_grey_and_blue_more_often_than_brown() -> None:
    rng = np.random.default_rng(6)
    cold = []
    for name in (name for name, kind in KINDS.items() if kind.family == "litter_dot"):
        for _ in range(20):
            density = draw_clutter(rng, 0.6, name).density
            red, _, blue = density[density.mean(axis=2) > 0.5 * density.mean(axis=2).max()].mean(0)
            cold.append(blue < 1.2 * red)
    assert 0.5 < np.mean(cold) < 0.95


def share_brighter_than_ground(name: str) -> float:
    """Return the share of things of a kind that light is gathered in, within their edge."""
    rng = np.random.default_rng(2)
    gathered = []
    for _ in range(40):
        tone = draw_clutter(rng, 0.3, name).density.mean(axis=2)
        mask = (tone > 0.35 * tone.max()).astype(np.uint8)
        outlines = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        whole = cv2.drawContours(np.zeros_like(mask), outlines, -1, 1, cv2.FILLED)
        within = cv2.erode(whole, np.ones((3, 3), np.uint8)) > 0
        gathered.append(within.any() and tone[within].min() < -0.005)
    return float(np.mean(gathered))


@pytest.mark.parametrize("name", ["rounded box", "facet lentil", "clear chip", "rounded lozenge"])
def test_clear_crystals_gather_light_within_a_dark_edge(name: str) -> None:
    assert share_brighter_than_ground(name) > 0.5
    assert share_brighter_than_ground("giant ellipse") < 0.2


def test_heaps_span_their_sizes_and_keep_their_ink_when_enlarged() -> None:
    for name, low_um, high_um in (("grape heap", 8, 75), ("large grain heap", 25, 125)):
        extents, ink = [], {0.2: 0.0, 0.6: 0.0}
        for seed in range(40):
            for um_per_px in ink:
                density, _ = KINDS[name].draw(np.random.default_rng(seed), um_per_px)
                ink[um_per_px] += float(density.sum()) * um_per_px**2
            rows, columns = np.nonzero(density.mean(axis=2) > 0.2 * density.mean(axis=2).max())
            extents.append(max(np.ptp(rows), np.ptp(columns)) * um_per_px)
        assert low_um < np.percentile(extents, 10) < np.percentile(extents, 90) < high_um
        # Same seeds but grids of other sizes, so other noise: alike on the average only.
        assert ink[0.2] == pytest.approx(ink[0.6], rel=0.35)


def test_neighbours_of_a_loose_group_stay_apart() -> None:
    rng = np.random.default_rng(3)
    radii = rng.uniform(3.0, 5.0, 6)
    places = loose_group(rng, radii, 0.5)
    far = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    touch = radii[:, None] + radii[None]
    assert (far >= 0.9 * touch)[~np.eye(6, dtype=bool)].all()
    assert np.allclose(places.min(axis=0), -places.max(axis=0))
    # Each lies beside another one: within gap 0.5 times 1.4.
    near = np.where(np.eye(6, dtype=bool), np.inf, far / touch).min(axis=1)
    assert (near <= 1.7 + 1e-9).all()


def test_a_window_lies_about_its_place() -> None:
    canvas = make_canvas(np.random.default_rng(1), 0.5, 20.0, 12.0)
    window = window_at(canvas, np.array([7.0, -3.0]), 0.4, 4.0)
    away = length_of(window.u_um, window.v_um)
    assert away.min() < canvas.step_um
    assert away[[0, -1]].min() >= 4.0
    assert away[:, [0, -1]].min() >= 4.0
    density = np.zeros((*canvas.shape, 3), np.float32)
    window.lay(density, np.full((*away.shape, 3), 5.0, np.float32))
    assert density.max() < 3.0
    assert density.sum() == pytest.approx(away.size * 3 * density.max(), rel=1e-5)


RIMMED_FAMILIES = ("litter_lens", "litter_pair", "litter_rust", "litter_septate")
#: Kinds without marks, whose parts may touch; in others lines make many small middles.
HOLLOW = ("thick-walled spores", "stalked pair", "rounded box", "end pair", "side pair")
RIMMED = [name for name, kind in KINDS.items() if kind.family in RIMMED_FAMILIES]


@pytest.fixture
def wider(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take a little more for a spore's outline than the module does, a little less for plain."""
    monkeypatch.setattr(lookalike, "LENGTH_UM", (7.3, 18.8))
    monkeypatch.setattr(lookalike, "SLENDERNESS", (0.46, 0.845))
    monkeypatch.setattr(lookalike, "MOST_ELLIPSE", 1.03)
    monkeypatch.setattr(lookalike, "PLAIN_SPAN", 0.1)


def clear_middles_like_spores(density: np.ndarray, um_per_px: float) -> int:
    """Count closed clear middles that, with a rim of 0.7 um, have a spore's outline.

    Unlike outer outlines these do not melt into one where things touch.
    """
    tone = density.mean(axis=2)
    grow = 2 * round(0.7 / um_per_px) + 1
    round_brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (grow, grow))
    found = 0
    for level in (0.3, 0.5):
        mask = (tone > level * tone.max()).astype(np.uint8)
        outlines, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        for number in range(len(outlines)):
            if tree.reshape(-1, 4)[number, 3] < 0:
                continue
            hole = cv2.drawContours(np.zeros_like(mask), outlines, number, 1, cv2.FILLED)
            hole = cv2.dilate(hole & (1 - mask), round_brush)
            for part in cv2.findContours(hole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
                found += lookalike._spore_outline(np.asarray(part, np.int32), um_per_px)
    return found


def rimmed_lemon(length_um: float, width_um: float, wall: float, x_um: float = 0.0) -> np.ndarray:
    y, x = (np.mgrid[0:140, 0:140] - 70) * 0.3
    x = x - x_um
    away = (np.hypot(2 * x / length_um, 2 * y / width_um) - 1) * width_um / 2
    tone = np.exp(-0.5 * (away + 0.6) ** 2 / 0.25) - 0.1 * (away < -1)
    tone = tone + wall * (away < -0.3) * np.exp(-0.5 * x**2 / 0.09)
    return np.repeat(tone.astype(np.float32)[:, :, None], 3, axis=2)


def test_plain_means_a_spores_outline_about_a_middle_without_marks(wider: None) -> None:
    assert looks_like_plain_spore(rimmed_lemon(13.0, 8.0, 0.0), 0.3)
    assert not looks_like_plain_spore(rimmed_lemon(13.0, 8.0, 0.5), 0.3)
    assert not looks_like_plain_spore(rimmed_lemon(13.0, 12.5, 0.0), 0.3)
    assert not looks_like_plain_spore(rimmed_lemon(26.0, 16.0, 0.0), 0.3)
    pair = rimmed_lemon(13.0, 8.0, 0.0, -6.4) + rimmed_lemon(13.0, 8.0, 0.0, 6.4)
    assert not looks_like_plain_spore(pair, 0.3)
    assert clear_middles_like_spores(pair, 0.3) >= 2


@pytest.mark.parametrize("name", RIMMED)
def test_nothing_with_a_spores_outline_is_plain_within(name: str, wider: None) -> None:
    draws = [draw_clutter(np.random.default_rng([k, 31]), 0.3, name).density for k in range(40)]
    assert sum(looks_like_plain_spore(density, 0.3) for density in draws) == 0


@pytest.mark.parametrize("name", [*HOLLOW, "bud on a cell"])
def test_touching_cells_have_no_middles_like_spores(name: str, wider: None) -> None:
    draws = [draw_clutter(np.random.default_rng([k, 31]), 0.3, name).density for k in range(40)]
    # One for a chance overlap of walls.
    assert sum(clear_middles_like_spores(density, 0.3) > 0 for density in draws) <= 1
