"""Clutter: what is drawn on a tape and is not a spore. Sizes are common practice, no source."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from sporecount.errors import SettingsError
from sporecount.render.clutter import FAMILIES, KINDS, draw_clutter
from sporecount.render.clutter.lookalike import looks_like_spore
from sporecount.render.spores import STYLES, draw_spore, random_look, vary_look

LITTER = [name for name, kind in KINDS.items() if kind.family.startswith("litter_")]
SCALES_UM_PER_PX = (0.15, 0.6, 1.4)


def largest_part(density: np.ndarray, um_per_px: float, level: float) -> dict[str, float]:
    """Measure the largest part above a level: filled outline, least box, hull, edge."""
    tone = np.abs(density).mean(axis=2)
    fold = 4 if um_per_px > 0.5 else 2
    tone = cv2.resize(tone, None, fx=fold, fy=fold, interpolation=cv2.INTER_LINEAR)
    step = um_per_px / fold
    mask = (tone > level * tone.max()).astype(np.uint8)
    contours = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    outline = max(contours, key=lambda c: (cv2.contourArea(c), len(c)))
    filled = np.zeros_like(mask)
    cv2.drawContours(filled, [outline], -1, 1, cv2.FILLED)
    hull = np.zeros_like(mask)
    cv2.fillConvexPoly(hull, cv2.convexHull(outline), 1)
    y, x = np.nonzero(filled)
    spread = np.linalg.eigvalsh(np.cov(np.stack([x, y])) + np.eye(2) / 12) if len(x) > 2 else [0, 0]
    # Four standard deviations span an ellipse from end to end.
    width, length = 4.0 * np.sqrt(np.maximum(spread, 0.0)) * step
    slope = np.hypot(*np.gradient(tone, step))
    edge = slope[tuple(outline.reshape(-1, 2).T[::-1])].mean() * 2.0 / tone.max()
    return {
        "length": float(length),
        "width": float(width),
        "solidity": float(filled.sum() / hull.sum()),
        # 1 for an ellipse, 1.05 for a box, 1.2 for a star.
        "ellipse": float(np.pi / 4 * length * width / max(filled.sum() * step**2, 1e-9)),
        "edge": float(edge),
    }


def spore_like(part: dict[str, float]) -> bool:
    if part["length"] == 0.0:
        return False
    return (
        8.0 <= part["length"] <= 18.0
        and 0.5 <= part["width"] / part["length"] <= 0.8
        and part["solidity"] > 0.93
        and 0.97 < part["ellipse"] < 1.03
        and part["edge"] > 0.4
    )


def test_kinds_and_families_agree() -> None:
    assert {kind.family for kind in KINDS.values()} == set(FAMILIES)
    assert all(name == kind.name for name, kind in KINDS.items())
    litter = {kind.family for kind in KINDS.values() if kind.family.startswith("litter_")}
    assert len(litter) == 16
    for family in litter:
        assert sum(kind.family == family for kind in KINDS.values()) >= 4
    for kind in KINDS.values():
        low, high = kind.usual_per_mm2
        assert 0.0 < low < high < 500.0


@pytest.mark.parametrize("um_per_px", SCALES_UM_PER_PX)
@pytest.mark.parametrize("name", list(KINDS))
def test_every_kind_draws(name: str, um_per_px: float) -> None:
    drawn = draw_clutter(np.random.default_rng(11), um_per_px, name)
    density = drawn.density
    rows, columns = density.shape[:2]
    assert drawn.kind == name
    assert density.dtype == np.float32
    assert density.shape[2] == 3
    assert np.isfinite(density).all()
    for border in (density[0], density[-1], density[:, 0], density[:, -1]):
        assert not border.any()
    assert np.abs(density).max() > 0.01
    assert density.min() > -0.3
    assert density.max() < 3.0
    x, y = drawn.centre_px
    assert 0 <= x < columns
    assert 0 <= y < rows


@pytest.mark.parametrize("name", list(KINDS))
def test_nothing_is_cut_off_by_the_patch(name: str) -> None:
    # A hard stop one pixel within the border would show as a straight cut.
    for seed in range(3):
        density = np.abs(draw_clutter(np.random.default_rng(seed), 0.8, name).density)
        inner = density[1:-1, 1:-1]
        last = max(
            inner[0].max(), inner[-1].max(), inner[:, 0].max(), inner[:, -1].max(), np.float32(0)
        )
        assert last < 0.06 * density.max() + 0.01


@pytest.mark.parametrize("name", list(KINDS))
def test_same_seed_same_picture(name: str) -> None:
    first, again, other = (draw_clutter(np.random.default_rng(s), 0.9, name) for s in (3, 3, 4))
    assert np.array_equal(first.density, again.density)
    assert first.centre_px == again.centre_px
    assert first.density.shape != other.density.shape or not np.array_equal(
        first.density, other.density
    )


@pytest.mark.parametrize(
    ("name", "low_um", "high_um"),
    [
        ("wing scale", 30.0, 520.0),
        ("scale chip", 4.0, 45.0),
        ("yeast cell", 2.0, 13.0),
        ("blood disc", 5.0, 10.5),
        ("smooth pollen", 13.0, 60.0),
        ("small ellipsoid spore", 3.0, 8.5),
        ("dwarf ellipse", 2.0, 8.0),
        ("giant ellipse", 20.0, 43.0),
        ("plain disc", 9.0, 15.5),
        ("slim rod", 4.0, 27.0),
        ("angular chip", 3.0, 32.0),
        ("noise lump", 2.0, 40.0),
        ("flat disc", 3.5, 10.5),
        ("thick ring", 4.0, 17.0),
        ("round-ended rod", 3.0, 33.0),
        ("cut chip", 3.0, 26.0),
        ("shell piece", 2.0, 28.0),
    ],
)
@pytest.mark.parametrize("um_per_px", [0.3, 0.9])
def test_sizes_in_um_hold_at_any_scale(
    name: str, low_um: float, high_um: float, um_per_px: float
) -> None:
    rng = np.random.default_rng(2)
    lengths = [
        largest_part(draw_clutter(rng, um_per_px, name).density, um_per_px, 0.4)["length"]
        for _ in range(8)
    ]
    assert low_um <= np.median(lengths) <= high_um
    assert max(lengths) <= 1.3 * high_um


@pytest.mark.parametrize("name", ["dwarf ellipse", "giant ellipse", "slim rod", "plain disc"])
def test_wrong_ellipses_are_wrong(name: str) -> None:
    rng = np.random.default_rng(8)
    parts = [largest_part(draw_clutter(rng, 0.3, name).density, 0.3, 0.3) for _ in range(40)]
    assert not any(spore_like(part) for part in parts)


@pytest.mark.parametrize("um_per_px", [0.3, 0.9])
def test_litter_is_hardly_ever_a_spore(um_per_px: float) -> None:
    rng = np.random.default_rng(7)
    taken = []
    for name in LITTER:
        for _ in range(9):
            density = draw_clutter(rng, um_per_px, name).density
            parts = [largest_part(density, um_per_px, level) for level in (0.3, 0.5)]
            taken.append(any(spore_like(part) for part in parts))
    assert np.mean(taken) < 0.03


def lemon(um_per_px: float, length_um: float, width_um: float, blur_um: float) -> np.ndarray:
    n = int(40 / um_per_px)
    y, x = (np.mgrid[0:n, 0:n] - n / 2) * um_per_px
    away = (np.hypot(x / length_um, y / width_um) - 0.5) * width_um
    tone = np.clip(0.5 - away / um_per_px, 0, 1).astype(np.float32)
    tone = cv2.GaussianBlur(tone, (0, 0), blur_um / um_per_px)
    return tone[:, :, None] * np.array([0.2, 0.5, 0.9], np.float32)


@pytest.mark.parametrize("um_per_px", [0.3, 0.9])
def test_the_measure_of_these_tests_knows_a_spore(um_per_px: float) -> None:
    assert spore_like(largest_part(lemon(um_per_px, 13.0, 8.5, 0.4), um_per_px, 0.4))
    assert not spore_like(largest_part(lemon(um_per_px, 13.0, 13.0, 0.4), um_per_px, 0.4))


@pytest.mark.parametrize("um_per_px", [0.2, 0.6, 1.2])
def test_lookalike_knows_a_spore_and_what_is_none(um_per_px: float) -> None:
    assert looks_like_spore(lemon(um_per_px, 13.0, 8.5, 0.5), um_per_px)
    assert looks_like_spore(lemon(um_per_px, 10.5, 6.5, 0.5), um_per_px)
    assert not looks_like_spore(lemon(um_per_px, 12.5, 12.5, 0.5), um_per_px)
    assert not looks_like_spore(lemon(um_per_px, 30.0, 19.0, 0.5), um_per_px)
    assert not looks_like_spore(lemon(um_per_px, 14.0, 3.5, 0.5), um_per_px)
    assert not looks_like_spore(lemon(um_per_px, 4.5, 3.0, 0.5), um_per_px)


@pytest.mark.parametrize("um_per_px", [0.2, 0.6, 0.9])
def test_lookalike_knows_nearly_every_drawn_spore(um_per_px: float) -> None:
    rng = np.random.default_rng(3)
    found = []
    for style in STYLES:
        for _ in range(25):
            spore = draw_spore(rng, um_per_px, vary_look(rng, random_look(rng)), "intact", style)
            found.append(looks_like_spore(spore.density, um_per_px))
    assert np.mean(found) > 0.95


@pytest.mark.parametrize("um_per_px", [0.2, 0.6])
def test_chips_with_straight_sides_are_no_lookalikes(um_per_px: float) -> None:
    n = int(40 / um_per_px)
    y, x = (np.mgrid[0:n, 0:n] - n / 2) * um_per_px
    half_disc = (np.hypot(x, y) < 7.0) & (y > 0)
    lozenge = np.abs(x) / 7.0 + np.abs(y) / 4.5 < 1
    box = (np.abs(x) < 6.5) & (np.abs(y) < 4.0)
    for shape in (half_disc, lozenge, box):
        tone = cv2.GaussianBlur(shape.astype(np.float32), (0, 0), 0.3 / um_per_px)
        assert not looks_like_spore(np.repeat(tone[:, :, None], 3, axis=2), um_per_px)


def test_a_spot_without_an_edge_is_no_lookalike() -> None:
    assert not looks_like_spore(lemon(0.3, 13.0, 8.5, 6.0), 0.3)


def test_litter_spans_tones_and_hues() -> None:
    rng = np.random.default_rng(5)
    peaks, hues = [], []
    for name in LITTER:
        for _ in range(6):
            density = draw_clutter(rng, 0.6, name).density
            solid = density[density.mean(axis=2) > 0.5 * density.mean(axis=2).max()].mean(axis=0)
            peaks.append(float(solid.max()))
            hues.append(solid / solid.max())
    red, green, blue = np.array(hues).T
    warm = (blue > green) & (green > red)
    assert np.percentile(peaks, 10) < 0.2
    assert np.percentile(peaks, 90) > 0.7
    # Mostly the amber and brown of spores, which is what misled a detector before.
    assert 0.5 < warm.mean() < 0.95
    assert (green < np.minimum(red, blue)).mean() > 0.005
    assert (np.ptp(hues, axis=1) < 0.12).mean() > 0.05


def test_drawing_finer_keeps_the_amount_of_ink() -> None:
    # Anti-aliasing: density times area must not depend on the pixel.
    for name in ("small ellipsoid spore", "blood disc", "dumbbell"):
        ink = []
        for um_per_px in (0.2, 1.4):
            # Not by draw_clutter, which may draw again at one scale only.
            sums = [
                KINDS[name].draw(np.random.default_rng(seed), um_per_px)[0].sum()
                for seed in range(60)
            ]
            ink.append(np.mean(sums) * um_per_px**2)
        assert ink[1] == pytest.approx(ink[0], rel=0.35)


def test_errors_say_what_to_do() -> None:
    rng = np.random.default_rng(0)
    with pytest.raises(SettingsError, match="no such kind"):
        draw_clutter(rng, 0.5, "unicorn")
    with pytest.raises(SettingsError, match="larger than 0"):
        draw_clutter(rng, 0.0, "crescent")
