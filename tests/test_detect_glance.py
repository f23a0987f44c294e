"""The cheap look and the windows: nothing that could be a spore is passed over.

Expected values follow from how each field is drawn here; no outside source.
"""

import numpy as np
import pytest

from sporecount.detect.glance import GLANCE_CELL_PX, promising
from sporecount.detect.inputs import ZERO_BYTE, seen
from sporecount.detect.search import search
from sporecount.detect.windows import MOST_CELLS, Window, windows
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.train.tiles import tile_of

HUE = np.array([0.5, 0.75, 1.2], np.float32)


def field(spores, shape=(400, 520), noise=0.004, seed=0):
    """Ellipses (x, y, density) of 12 by 8 um at 0.9 um per pixel on even ground."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    cover = np.zeros(shape, np.float32)
    for x0, y0, density in spores:
        reach = np.hypot((x - x0) / 6.7, (y - y0) / 4.4)
        cover += np.float32(density) / (1 + np.exp(np.minimum((reach - 1) * 8, 50)))
    grain = rng.normal(0, noise, (*shape, 3)).astype(np.float32)
    return cover[..., None] * HUE + grain


def whole(seen):
    return np.ones([-(-side // GLANCE_CELL_PX) for side in seen.shape[:2]], bool)


def everywhere(density):
    return np.ones(density.shape[:2], bool)


def glance(density, examined=None):
    return promising(seen(density, everywhere(density) if examined is None else examined))


@pytest.mark.parametrize("contrast", [0.06, 0.15, 0.5])
@pytest.mark.parametrize("noise", [0.001, 0.004, 0.015])
def test_a_pale_spore_is_not_passed_over(contrast, noise):
    rng = np.random.default_rng(2)
    spores = [(*rng.uniform(2, [518, 398]), contrast) for _ in range(30)]
    cells = glance(field(spores, noise=noise))
    at = [(int(y) // GLANCE_CELL_PX, int(x) // GLANCE_CELL_PX) for x, y, _ in spores]
    assert all(cells[place] for place in at)


def test_what_the_search_finds_in_pictures_is_not_passed_over(monkeypatch):
    # The cut is set on pictures of another seed, by what is drawn there.
    found = passed = 0
    for place, condition in enumerate(("10x", "phone", "trial")):
        rng = np.random.default_rng([31, place])
        tile = tile_of(render(condition_plan(condition, rng, (700, 500)), rng))
        with monkeypatch.context() as patch:
            patch.setattr("sporecount.detect.search.promising", whole)
            there = search(tile.field.density, tile.field.examined, 0.5)
        cells = glance(tile.field.density, tile.field.examined)
        column, row = (there.xy_work.clip(0).round().astype(int) // GLANCE_CELL_PX).T
        inside = np.minimum(row, len(cells) - 1), np.minimum(column, cells.shape[1] - 1)
        found, passed = found + len(there), passed + int((~cells[inside]).sum())
        assert cells.mean() < 0.5
    assert found > 60
    assert passed <= 0.02 * found


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.002])
def test_clear_ground_is_passed_over_whatever_its_slope(noise):
    density = field([(100, 100, 0.4)], noise=noise)
    density += np.linspace(-0.1, 0.1, 520, dtype=np.float32)[None, :, None]
    assert 0 < glance(density).mean() < 0.05


def test_what_is_not_examined_is_not_promising():
    density = field([(100, 100, 0.4), (400, 300, 0.4)])
    examined = everywhere(density)
    examined[:, 200:] = False
    cells = glance(density, examined)
    assert cells[12, 12]
    assert not cells[:, 30:].any()


@pytest.mark.parametrize("shape", [(1, 1), (7, 300), (33, 17)])
def test_any_shape_gives_a_cell_for_every_pixel(shape):
    cells = promising(np.full((*shape, 3), ZERO_BYTE, np.uint8))
    assert cells.shape == tuple(-(-side // GLANCE_CELL_PX) for side in shape)


@pytest.mark.parametrize("share", [0.0, 0.002, 0.05, 0.4, 1.0])
def test_each_wanted_cell_has_one_window_that_holds_it(share):
    cells = np.random.default_rng(1).random((130, 97)) < share
    found, owner = windows(cells, 3)
    assert np.array_equal(owner >= 0, cells)
    for (row, column), number in np.ndenumerate(owner):
        if number >= 0:
            one = found[number]
            assert one.top <= row < one.bottom
            assert one.left <= column < one.right
    assert all(max(w.bottom - w.top, w.right - w.left) <= MOST_CELLS for w in found)


def test_windows_never_cost_more_than_tiles_and_little_where_little_is_wanted():
    tiles = sum(
        Window(top, left, top + 50, left + 50).cost(3) for top in (0, 50) for left in (0, 50)
    )
    for share in (0.001, 0.02, 0.2, 1.0):
        cells = np.random.default_rng(4).random((100, 100)) < share
        assert sum(w.cost(3) for w in windows(cells, 3)[0]) <= tiles
    few = np.zeros((100, 100), bool)
    few[20:23, 30:32] = few[70:72, 80:83] = True
    assert sum(w.cost(3) for w in windows(few, 3)[0]) < 0.05 * tiles


def strewn(seed, shape=(400, 520)):
    rng = np.random.default_rng(seed)
    return [(*rng.uniform(12, [shape[1] - 12, shape[0] - 12]), 0.35) for _ in range(25)]


def test_other_windows_give_the_same_finds(monkeypatch):
    density = field(strewn(7), noise=0.003)
    found = search(density, everywhere(density), 0.1)
    monkeypatch.setattr("sporecount.detect.search.promising", whole)
    all_of_it = search(density, everywhere(density), 0.1)
    # What lies beyond a window's margin, and rounding to 8 bits, move heat a little.
    for one, other in ((found, all_of_it), (all_of_it, found)):
        sure = one.take(one.spore > 0.6)
        assert len(sure) >= 15
        apart = np.hypot(*(sure.xy_work[:, None] - other.xy_work[None]).transpose(2, 0, 1))
        nearest = apart.argmin(axis=1)
        assert apart.min(axis=1).max() < 0.5
        np.testing.assert_allclose(other.spore[nearest], sure.spore, atol=0.1)


def test_the_network_is_not_run_where_there_is_nothing(monkeypatch):
    def run(name, *_, **__):
        assert name == "glance"
        return np.full((1, 50, 65, 1), -1.0, np.float32)

    monkeypatch.setattr("sporecount.detect.engine.run", run)
    density = field([], noise=0.0005)
    assert len(search(density, everywhere(density), 0.1)) == 0
    density = field([(100, 100, 0.4)])
    assert len(search(density, np.zeros(density.shape[:2], bool), 0.1)) == 0
