"""What the networks are shown: every pixel in its place, and clear where there is no sample."""

from __future__ import annotations

import numpy as np
import pytest

from sporecount.detect.inputs import BLOCK_PX, ZERO_BYTE, blocks, encode, seen


@pytest.mark.parametrize("shape", [(4, 4), (8, 20), (256, 12), (260, 8), (1032, 16)])
def test_every_pixel_of_a_block_has_its_channel(shape: tuple[int, int]) -> None:
    packed = np.random.default_rng(3).integers(0, 256, (*shape, 3), np.uint8)
    made = blocks(packed)
    rows, columns = shape[0] // BLOCK_PX, shape[1] // BLOCK_PX
    assert made.shape == (rows, columns, 3 * BLOCK_PX**2)
    split = made.reshape(rows, columns, 3, BLOCK_PX, BLOCK_PX)
    np.testing.assert_array_equal(split.transpose(0, 3, 1, 4, 2).reshape(packed.shape), packed)


def test_what_is_not_sample_is_shown_as_clear() -> None:
    rng = np.random.default_rng(4)
    density = rng.uniform(-0.3, 1.2, (37, 52, 3)).astype(np.float32)
    examined = rng.random((37, 52)) < 0.7
    shown = seen(density, examined)
    np.testing.assert_array_equal(shown[examined], encode(density)[examined])
    assert np.all(shown[~examined] == ZERO_BYTE)
    np.testing.assert_array_equal(seen(density, np.ones_like(examined)), encode(density))
