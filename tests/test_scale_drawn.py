"""A scale from a line over a ruling."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.errors import ScaleError
from sporecount.scale.drawn import calibration_from_line


def test_the_scale_is_the_length_over_the_line_and_its_error_that_of_the_ends() -> None:
    found = calibration_from_line((10, 20), (310, 420), 325)
    assert found.um_per_px == 0.65
    assert "325 um" in found.source
    rng = np.random.default_rng(1)
    ends = rng.normal(0, 1.5, (4000, 2)) + [[10, 310]]
    ends_y = rng.normal(0, 1.5, (4000, 2)) + [[20, 420]]
    lines = np.hypot(ends[:, 1] - ends[:, 0], ends_y[:, 1] - ends_y[:, 0])
    assert found.standard_error == pytest.approx(np.std(325 / lines), rel=0.05)


@pytest.mark.parametrize(
    ("end", "length", "wrong"),
    [
        ((30.0, 20.0), 100.0, "a line of 20 px"),
        ((410.0, 20.0), 0.0, "a length is a positive number"),
        ((410.0, 20.0), float("nan"), "a length is a positive number"),
        ((410.0, 20.0), 0.1, "check whether the length is in micrometres"),
    ],
)
def test_what_gives_no_scale_is_refused(
    end: tuple[float, float], length: float, wrong: str
) -> None:
    with pytest.raises(ScaleError) as caught:
        calibration_from_line((10.0, 20.0), end, length)
    assert wrong.casefold() in str(caught.value).casefold()
