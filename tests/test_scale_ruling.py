"""The scale read from a photo of a stage micrometer is right, or it is refused."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sporecount.errors import RulingError
from sporecount.render.micrometer import render_micrometer
from sporecount.scale.ruling import Ruling, measure_ruling
from sporecount.scale.ruling_evidence import box_width, swallowed
from sporecount.scale.ruling_marked import LONGEST_PX, draw_ruling_marked

SMALL = (800, 600)


def _photo(seed: int = 1, **options: object) -> NDArray[np.uint8]:
    chosen: dict[str, object] = {"um_per_px": 0.6, "size_px": SMALL, "angle_deg": 20.0}
    return render_micrometer(np.random.default_rng(seed), **(chosen | options))  # type: ignore[arg-type]


def _right(ruling: Ruling, um_per_px: float) -> bool:
    """Within half a percent, and within two standard errors and their floor."""
    off = abs(ruling.um_per_px - um_per_px)
    return off < 0.005 * um_per_px and off < 2 * ruling.standard_error


@pytest.mark.parametrize("angle", [0.0, 3.0, 45.0, 90.0, 117.0, 179.5])
def test_any_angle_gives_the_scale_and_the_angle(angle: float) -> None:
    ruling = measure_ruling(_photo(angle_deg=angle))
    assert _right(ruling, 0.6)
    assert abs((ruling.angle_deg - angle + 90) % 180 - 90) < 0.1


@pytest.mark.parametrize("um_per_px", [0.15, 0.3, 1.0, 1.4])
def test_scales_from_a_high_to_a_low_power_lens(um_per_px: float) -> None:
    assert _right(measure_ruling(_photo(um_per_px=um_per_px, angle_deg=8.0)), um_per_px)


@pytest.mark.parametrize("division", [10.0, 50.0])
def test_division_is_taken_as_given(division: float) -> None:
    photo = _photo(um_per_px=1.2, division_um=division, line_um=0.3 * division)
    ruling = measure_ruling(photo, division)
    assert _right(ruling, 1.2)
    assert ruling.division_um == division


@pytest.mark.parametrize(
    "options",
    [
        {"blur_px": 2.5, "line_um": 3.0},
        {"noise": 0.06},
        {"light_slope": 0.6},
        {"numbers": True, "dust_per_mpx": 200.0},
        {"line_um": 4.5},
    ],
)
def test_poor_photos_still_give_the_scale(options: dict[str, object]) -> None:
    assert _right(measure_ruling(_photo(**options)), 0.6)


def test_bright_lines_on_dark_ground() -> None:
    assert _right(measure_ruling(255 - _photo(line_um=3.0)), 0.6)


def test_round_field_on_black_with_a_burned_in_bar() -> None:
    photo = _photo().copy()
    y, x = np.mgrid[: SMALL[1], : SMALL[0]]
    photo[np.hypot(x - 400, y - 300) > 290] = 4
    photo[560:572, 600:760] = 255
    assert _right(measure_ruling(photo), 0.6)


def test_random_rulings_are_right_or_refused() -> None:
    measured = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        um_per_px = float(np.exp(rng.uniform(np.log(0.2), np.log(1.3))))
        photo = _photo(
            seed,
            um_per_px=um_per_px,
            angle_deg=float(rng.uniform(0, 180)),
            line_um=float(rng.uniform(1, 4)),
            blur_px=float(rng.uniform(0.5, 2.5)),
            noise=float(rng.uniform(0.005, 0.04)),
        )
        try:
            ruling = measure_ruling(photo)
        except RulingError:
            continue
        measured += 1
        assert _right(ruling, um_per_px), seed
    assert measured >= 7


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("long_marks", [True, False])
def test_fifth_and_tenth_marks_alone_are_never_taken_for_divisions(
    seed: int, long_marks: bool
) -> None:
    rng = np.random.default_rng(seed)
    photo = _photo(
        seed,
        um_per_px=float(rng.uniform(0.5, 1.4)),
        angle_deg=float(rng.uniform(0, 180)),
        line_um=float(rng.uniform(1, 4)),
        only_long_marks=True,
        long_marks=long_marks,
    )
    with pytest.raises(RulingError, match="fine lines are sharp"):
        measure_ruling(photo)


def test_longer_marks_left_by_blur_are_refused() -> None:
    """Blur of 5 um melts the fine lines; fifth and tenth marks still stand out."""
    with pytest.raises(RulingError):
        measure_ruling(_photo(um_per_px=0.8, blur_px=6.0, line_um=4.0, line_darkness=0.95))


def test_lines_too_close_together_are_refused() -> None:
    with pytest.raises(RulingError):
        measure_ruling(_photo(um_per_px=3.2, blur_px=0.4))


def test_too_few_lines_are_refused() -> None:
    with pytest.raises(RulingError):
        measure_ruling(_photo(um_per_px=0.6, division_um=100.0, line_um=10.0), 100.0)


@pytest.mark.parametrize(
    "name", ["brick", "grass", "gravel", "checkerboard", "page", "coins", "text", "camera"]
)
def test_other_pictures_are_refused(name: str) -> None:
    from skimage import data

    with pytest.raises(RulingError, match="no ruling"):
        measure_ruling(getattr(data, name)())


def test_woven_cloth_is_refused() -> None:
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:500, :500].astype(float)
    warp = np.sin(2 * np.pi * x / 14 + np.cumsum(rng.normal(0, 0.12, 500))[None, :])
    weft = np.sin(2 * np.pi * y / 15 + np.cumsum(rng.normal(0, 0.12, 500))[:, None])
    cloth = 120 + 40 * np.where(np.sin(x / 14 * np.pi) * np.sin(y / 15 * np.pi) > 0, warp, weft)
    with pytest.raises(RulingError):
        measure_ruling((cloth + rng.normal(0, 6, cloth.shape)).clip(0, 255).astype(np.uint8))


def test_curved_ridges_with_uneven_spacing_are_refused() -> None:
    """Like the ridges of a butterfly's wing scale."""
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:500, :500].astype(float)
    phase = 2 * np.pi * (x + 0.0004 * (y - 250) ** 2) / 11
    phase += np.cumsum(rng.normal(0, 0.15, 500))[None, :]
    ridges = 130 + 45 * np.cos(phase) + rng.normal(0, 5, x.shape)
    with pytest.raises(RulingError):
        measure_ruling(ridges.clip(0, 255).astype(np.uint8))


@pytest.mark.parametrize("shape", [(300, 400, 3), (10, 10), (64, 64)])
def test_empty_and_tiny_pictures_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(RulingError):
        measure_ruling(np.full(shape, 128, np.uint8))


@pytest.mark.parametrize("division", [0.0, -10.0, float("nan")])
def test_impossible_division_is_refused(division: float) -> None:
    with pytest.raises(RulingError, match="positive number of micrometres"):
        measure_ruling(_photo(), division)


def test_photo_is_not_changed_and_positions_fit_the_scale() -> None:
    photo = _photo()
    before = photo.copy()
    ruling = measure_ruling(photo)
    draw_ruling_marked(photo, ruling)
    assert (photo == before).all()
    span_px = float(np.hypot(*(ruling.positions_px[-1] - ruling.positions_px[0])))
    span_um = float(ruling.index[-1] - ruling.index[0]) * ruling.division_um
    assert span_um / span_px == pytest.approx(0.6, rel=0.003)
    x, y = np.rint(ruling.positions_px).astype(int).T
    assert np.median(photo[y, x]) < 0.6 * np.median(photo)


def test_marked_picture_is_small_enough_and_shows_the_lines() -> None:
    photo = _photo(size_px=(2000, 1500), um_per_px=0.5)
    marked = draw_ruling_marked(photo, measure_ruling(photo))
    assert marked.dtype == np.uint8
    assert marked.shape[1] == LONGEST_PX
    blue = (np.abs(marked.astype(int) - (0, 220, 255)).sum(axis=2) < 40).sum()
    assert blue > 1000


def test_width_of_a_sharp_line_is_known_and_that_of_a_blurred_one_is_not() -> None:
    at = np.linspace(-0.5, 0.5, 101)
    box = 1 - 0.8 * (np.abs(at) < 0.15)
    bell = 1 - 0.8 * np.exp(-(at**2) / (2 * 0.12**2))
    assert box_width(box) == pytest.approx(0.3, abs=0.03)
    assert box_width(bell) < 0.15
    assert swallowed(box) == pytest.approx(0.8 * 0.3, abs=0.02)
