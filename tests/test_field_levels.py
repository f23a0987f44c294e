"""Percentiles by counting equal those by sorting."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.field.levels import level_percentile


@pytest.mark.parametrize("percent", [0.0, 5.0, 50.0, 77.7, 95.0, 100.0])
@pytest.mark.parametrize("size", [1, 2, 7, 500])
def test_percentiles_equal_those_of_numpy(percent: float, size: int) -> None:
    rng = np.random.default_rng([size, int(percent)])
    for top in (1, 40, 256):
        pixels = rng.integers(0, top, (3, size)).astype(np.uint8)
        wanted = float(np.percentile(pixels, percent))
        assert level_percentile(pixels, percent) == pytest.approx(wanted, abs=1e-9)
