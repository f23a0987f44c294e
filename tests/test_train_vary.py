"""Tiles varied while learning keep their objects where they are drawn."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training is an extra")

from sporecount.train.loss import search_loss  # noqa: E402
from sporecount.train.objects import STATE, WEIGHT  # noqa: E402
from sporecount.train.vary import CUT_SHARE, cut, lay_over, tint, turn  # noqa: E402


def _ellipse(side: int, x: float, y: float, angle: float, a: float = 7.0, b: float = 3.0):
    v, u = np.mgrid[:side, :side].astype(np.float32)
    c, s = np.cos(angle), np.sin(angle)
    p, q = c * (u - x) + s * (v - y), -s * (u - x) + c * (v - y)
    return np.clip(2 - np.hypot(p / a, q / b), 0, 1).astype(np.float32)


def _moments(picture: np.ndarray) -> tuple[float, float, float, float]:
    v, u = np.mgrid[: picture.shape[0], : picture.shape[1]]
    total = picture.sum()
    x, y = (picture * u).sum() / total, (picture * v).sum() / total
    xx, yy = (picture * (u - x) ** 2).sum(), (picture * (v - y) ** 2).sum()
    xy = (picture * (u - x) * (v - y)).sum()
    return x, y, np.arctan2(2 * xy, xx - yy), total


def _batch(n: int = 24, side: int = 96):
    rng = np.random.default_rng(4)
    tiles, rows = [], []
    for _ in range(n):
        x, y, angle = *rng.uniform(38, 58, 2), rng.uniform(0, np.pi)
        tiles.append(np.repeat(_ellipse(side, x, y, angle)[None] * 0.4, 3, axis=0))
        rows.append([[x, y, 12.0, 7.0, np.cos(2 * angle), np.sin(2 * angle), 0.0, 1.0]])
    return torch.tensor(np.array(tiles)), torch.tensor(np.array(rows, np.float32))


def test_turned_objects_stay_on_their_pictures():
    tiles, objects = _batch()
    moved, rows = turn(tiles, objects, torch.Generator().manual_seed(3))
    assert not torch.allclose(moved, tiles)
    for picture, row in zip(moved[:, 0].numpy(), rows[:, 0].numpy(), strict=True):
        x, y, doubled, _ = _moments(picture)
        assert np.hypot(x - row[0], y - row[1]) < 0.2
        off = (doubled - np.arctan2(row[5], row[4]) + np.pi) % (2 * np.pi) - np.pi
        assert abs(off) < 0.05


def test_resized_objects_say_so():
    tiles, objects = _batch()
    moved, rows = turn(tiles, objects, torch.Generator().manual_seed(3))
    before = np.array([_moments(p)[3] for p in tiles[:, 0].numpy()])
    after = np.array([_moments(p)[3] for p in moved[:, 0].numpy()])
    grown = rows[:, 0, 2].numpy() / objects[:, 0, 2].numpy()
    assert np.ptp(grown) > 0.05
    np.testing.assert_allclose(after / before, grown**2, rtol=0.03)


def test_tiles_laid_over_hold_the_objects_of_both_and_spare_what_is_hidden():
    tiles, objects = _batch()
    tiles[::2] = (tiles[::2] + 0.9).clamp(max=1.0)  # too dark to see anything through
    laid, rows = lay_over(tiles, objects, torch.Generator().manual_seed(1))
    both = (rows[..., STATE] >= 0).sum(1) == 2
    assert 0 < int(both.sum()) < len(tiles)
    torch.testing.assert_close(laid[~both], tiles[~both])
    for n in torch.nonzero(both).flatten().tolist():
        assert not torch.allclose(laid[n], tiles[n])
        mine_hidden, theirs_hidden = (rows[n, [0, 1], WEIGHT] == 0).tolist()
        assert mine_hidden == (n % 2 == 1)
        assert theirs_hidden == (n % 2 == 0)


def test_objects_beyond_the_edge_of_what_is_examined_are_gone_and_cut_ones_stay():
    n, side = 400, 96
    tiles = torch.full((n, 3, side, side), 0.2)
    rng = np.random.default_rng(8)
    rows = np.zeros((n, 12, 8), np.float32)
    rows[..., :2], rows[..., 2:4], rows[..., WEIGHT] = rng.uniform(0, 95, (n, 12, 2)), 10.0, 1.0
    seen, kept = cut(tiles, torch.tensor(rows), torch.Generator().manual_seed(2))
    lost = (seen == 0).all(1)
    assert 0.7 * CUT_SHARE < float(lost.flatten(1).any(1).float().mean()) < 1.3 * CUT_SHARE
    # An edge leaves most of a tile in most cases, and never part of the colours.
    assert bool(((seen == 0).any(1) == lost).all())
    assert float(lost.float().mean()) < 0.2
    x, y = (torch.tensor(rows[..., i]).round().long() for i in (0, 1))
    at_centre = lost.flatten(1).gather(1, y * side + x)
    sure = kept[..., WEIGHT] == 1
    assert float(sure.float().mean()) > 0.98
    assert bool((at_centre[sure] == (kept[..., STATE] < 0)[sure]).all())
    cut_through = lost.flatten(1).float().mean(1).gt(0)[:, None] & (kept[..., STATE] >= 0)
    assert int(cut_through.sum()) > 100


def test_tinting_leaves_alone_what_was_not_examined():
    tiles = torch.full((40, 3, 32, 32), 0.1)
    tiles[..., :9] = 0.0
    tinted = tint(tiles, torch.Generator().manual_seed(2))
    assert bool((tinted[..., :9] == 0).all())
    assert not torch.allclose(tinted[..., 9:], tiles[..., 9:])


def test_loss_is_least_for_the_right_answer():
    _, objects = _batch(4)
    right = torch.full((4, 9, 48, 48), 0.0)
    right[:, :2] = -9.0
    for n in range(4):
        x, y, length, width, c, s, *_ = objects[n, 0].tolist()
        cx, cy = (x + 0.5) / 2 - 0.5, (y + 0.5) / 2 - 0.5
        ix, iy = round(cx), round(cy)
        right[n, 0, iy, ix] = 9.0
        shape = [cx - ix, cy - iy, np.log(length / 12), np.log(width / 8), c, s, -9.0]
        right[n, 2:, iy, ix] = torch.tensor(shape)
    best = search_loss(right, objects)[0]
    assert best < 0.02
    for channel, change in ((0, -18.0), (2, 3.0), (4, 3.0), (6, 3.0), (8, 18.0)):
        wrong = right.clone()
        wrong[:, channel] += change
        assert search_loss(wrong, objects)[0] > best + 0.1
    false_alarm = right.clone()
    false_alarm[0, 0, 3, 3] = 4.0
    _, _, hardness = search_loss(false_alarm, objects)
    assert int(hardness.argmax()) == 0
