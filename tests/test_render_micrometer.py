"""The micrometer photo has exactly the pitch that was asked for."""

import numpy as np
import pytest

from sporecount.render.micrometer import render_micrometer


@pytest.mark.parametrize("um_per_px", [0.2, 0.65, 1.3])
@pytest.mark.parametrize("angle_deg", [0.0, 90.0])
def test_lines_stand_one_division_apart(um_per_px, angle_deg):
    picture = render_micrometer(
        np.random.default_rng(3),
        um_per_px=um_per_px,
        size_px=(600, 600),
        angle_deg=angle_deg,
        noise=0.0,
        dust_per_mpx=0.0,
        light_slope=0.0,
        offset_um=(3.0, 0.0),
    )
    grey = picture.mean(axis=2)
    profile = grey[300] if angle_deg == 0 else grey[:, 300]
    ink = profile.max() - profile
    pitch_px = 10.0 / um_per_px
    # A sum of the ink along the row against waves of nearby pitches peaks at the true one.
    x = np.arange(ink.size)
    pitches = pitch_px * np.linspace(0.97, 1.03, 601)
    window = np.hanning(ink.size)
    power = [
        abs(np.sum(window * (ink - ink.mean()) * np.exp(-2j * np.pi * x / p))) for p in pitches
    ]
    assert pitches[int(np.argmax(power))] == pytest.approx(pitch_px, rel=0.004)


def test_a_line_runs_through_the_middle_when_there_is_no_offset():
    picture = render_micrometer(
        np.random.default_rng(3),
        um_per_px=0.5,
        size_px=(201, 201),
        angle_deg=30.0,
        noise=0.0,
        offset_um=(0.0, 0.0),
    )
    assert picture[100, 100].mean() < 0.5 * np.median(picture)


def test_same_seed_gives_the_same_bytes():
    one, two = (
        render_micrometer(np.random.default_rng(7), um_per_px=0.5, numbers=True) for _ in range(2)
    )
    assert one.tobytes() == two.tobytes()
