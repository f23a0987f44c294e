"""Damage runs from slight to strong, yet leaves one object. Bounds are this project's own."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from sporecount.render.spores import (
    STYLES,
    SporeLook,
    contour,
    draw_spore,
    profile,
    random_look,
    solid,
    vary_look,
)
from sporecount.render.spores.draw import GAP_RANGE_UM

MODULES = {"contour": contour, "profile": profile, "solid": solid}
STEP_UM = 0.3


def looks(count: int, seed: int) -> list[SporeLook]:
    rng = np.random.default_rng(seed)
    return [vary_look(rng, random_look(rng)) for _ in range(count)]


def widest_gap_um(cover: np.ndarray, step_um: float) -> float:
    """Return how far the farthest part lies from the largest; spilt drops do not count."""
    inside = (cover >= 0.5).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(inside)
    parts = [n for n in range(1, count) if stats[n, cv2.CC_STAT_AREA] * step_um**2 > 5.0]
    if len(parts) < 2:
        return 0.0
    largest = max(parts, key=lambda n: stats[n, cv2.CC_STAT_AREA])
    away = cv2.distanceTransform((labels != largest).astype(np.uint8), cv2.DIST_L2, 5) * step_um
    return float(max(away[labels == n].min() for n in parts if n != largest))


@pytest.mark.parametrize("style", STYLES)
def test_parts_of_one_damaged_spore_lie_nearer_than_fragments_do(style: str) -> None:
    gaps = []
    for seed, look in enumerate(looks(150, seed=51)):
        draft = MODULES[style].damaged(np.random.default_rng(seed), STEP_UM, look, 20.0)
        gaps.append(widest_gap_um(draft.cover, draft.bench.step_um))
    parted = np.array([gap for gap in gaps if gap])
    assert len(parted) >= 8  # cracked right across
    # One pixel more, for a gap is measured from pixel to pixel.
    assert np.mean(parted <= GAP_RANGE_UM[0] + STEP_UM) >= 0.95
    assert parted.max() > 0.9


@pytest.mark.parametrize("style", STYLES)
def test_damage_is_drawn_within_its_bench(style: str) -> None:
    for seed, look in enumerate(looks(100, seed=52)):
        cover = MODULES[style].damaged(np.random.default_rng(seed), 0.5, look, 70.0).cover
        assert not np.concatenate([cover[0], cover[-1], cover[:, 0], cover[:, -1]]).any()


@pytest.mark.parametrize("style", STYLES)
def test_damage_runs_from_slight_to_shrivelled(style: str) -> None:
    slender, area = [], []
    for seed, look in enumerate(looks(150, seed=53)):
        whole_um2 = (0.785 - 0.1 * look.tip) * look.length_um**2 * look.slenderness
        spore = draw_spore(np.random.default_rng(seed), 0.5, look, "damaged", style)
        slender.append(spore.width_um / spore.length_um)
        area.append(spore.area_um2 / whole_um2)
    assert 0.05 < np.mean(np.array(area) < 0.55) < 0.35
    assert np.mean(np.array(area) > 0.8) > 0.45
    assert 0.03 < np.mean(np.array(slender) < 0.45) < 0.3


@pytest.mark.parametrize("style", STYLES)
def test_some_damaged_spores_shine_and_some_are_bleached(style: str) -> None:
    look = SporeLook(rim=0.0, tone=0.8)
    dark, bright = [], []
    for seed in range(120):
        density = draw_spore(np.random.default_rng(seed), 0.4, look, "damaged", style).density
        dark.append(np.quantile(density[..., 2], 0.98))
        bright.append(density.min())
    intact = [
        draw_spore(np.random.default_rng(seed), 0.4, look, "intact", style).density
        for seed in range(30)
    ]
    assert min(density.min() for density in intact) > -0.03
    assert 0.04 < np.mean(np.array(bright) < -0.05) < 0.4
    faintest = min(np.quantile(density[..., 2], 0.98) for density in intact)
    assert 0.1 < np.mean(np.array(dark) < 0.6 * faintest) < 0.5


@pytest.mark.parametrize("style", STYLES)
def test_bites_leave_most_of_a_spore(style: str, monkeypatch: pytest.MonkeyPatch) -> None:
    strong = MODULES[style]._STRONG
    bitten = next(kind for _, kind in strong if kind.__name__ == "eaten")
    monkeypatch.setattr(MODULES[style], "_STRONG", ((1.0, bitten),))
    monkeypatch.setattr(MODULES[style], "MILD_SHARE", 0.0)
    left = []
    for seed, look in enumerate(looks(60, seed=54)):
        look = replace(look, bend=0.0)
        whole = MODULES[style].whole(np.random.default_rng(seed), 0.4, look, 0.0)
        draft = MODULES[style].damaged(np.random.default_rng(seed), 0.4, look, 0.0)
        left.append(draft.cover.sum() / whole.cover.sum())
    assert min(left) > 0.5
    assert np.quantile(left, 0.1) < 0.8
    assert np.quantile(left, 0.9) > 0.8
