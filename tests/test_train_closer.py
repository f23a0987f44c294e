"""Teaching the closer look: crops, windows cut from them, and the loss."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import numpy as np
import pytest

from sporecount.detect.closer import SIDE, windows
from sporecount.detect.inputs import DENSITY_BOUNDS
from sporecount.detect.seeds import Seeds
from sporecount.field.closeup import close_ups
from sporecount.train.crops import (
    ANGLE,
    CLASS,
    CROP_UM_PER_PX,
    FACTS,
    HALF_UM,
    MOST,
    NEITHER,
    CropPool,
    cut_crops,
    write_crops,
)
from sporecount.train.objects import WEIGHT, X, Y
from sporecount.train.tiles import draw_tile


def test_crops_have_their_object_in_the_middle_and_no_class_too_often() -> None:
    tile = draw_tile(np.random.default_rng(31), 192, 0.6)
    tags = np.array([1, 2, 3], np.int32)
    crops, facts = cut_crops(tile.field, tile.rows, tags, np.random.default_rng(1))
    assert len(crops) == len(facts) > 0
    side = 2 * int(np.ceil(HALF_UM / CROP_UM_PER_PX)) + 1
    assert crops.shape[1:] == (side, side, 3)
    counts = np.bincount(facts[:, CLASS].astype(int), minlength=4)
    assert all(count <= most for count, most in zip(counts, MOST, strict=True))
    assert np.all(facts[:, 2:5] == (1, 2, 3))
    low, high = DENSITY_BOUNDS
    density = crops.mean(axis=3, dtype=np.float32) * ((high - low) / 255) + low
    middle = density[:, side // 2 - 8 : side // 2 + 9, side // 2 - 8 : side // 2 + 9]
    # Spores are dark on clear ground more often than not.
    spores = facts[:, CLASS] < NEITHER
    assert np.median(middle.mean(axis=(1, 2))[spores]) > np.median(density[spores])


def test_what_a_search_is_taken_in_by_goes_first_and_never_what_is_true() -> None:
    tile = draw_tile(np.random.default_rng(31), 192, 0.6)
    rows = tile.rows.copy()
    rows[:, WEIGHT] = 0.0

    class Rivals:
        def of(self, field, rows):
            return np.array([[90.0, 80.0, 0.3]])

    tags = np.array([1, 2, 3], np.int32)
    most = (4, 5, 3, 2)
    for seed in range(5):
        rng = np.random.default_rng(seed)
        _, facts = cut_crops(tile.field, rows, tags, rng, Rivals(), most)
        assert (facts[:, CLASS] == NEITHER).all()
        assert 1 <= len(facts) <= 2
        assert facts[0, ANGLE] == np.float32(0.3)


def test_rivals_are_false_finds_away_from_all_that_is_true() -> None:
    torch = pytest.importorskip("torch")
    from sporecount.train.network import SearchNet
    from sporecount.train.rivals import MISTAKEN_UM, Rivals

    tile = draw_tile(np.random.default_rng(31), 192, 0.6)
    weights = BytesIO()
    torch.manual_seed(1)
    model = SearchNet(8, 8)
    with torch.no_grad():
        model.out.bias[:8] = 0.0  # hot all over: it takes anything for something
    torch.save({"model": model.state_dict(), "shape": {"width": 8, "deep": 8}}, weights)
    rivals = []
    for rows in (tile.rows, np.zeros((0, 8), np.float32)):
        weights.seek(0)
        rivals.append(Rivals(weights).of(tile.field, rows))
    near, all_of_them = rivals
    away = np.hypot(*(near[:, None, :2] - tile.rows[None, :, [X, Y]]).transpose(2, 0, 1))
    assert 0 < len(near) < len(all_of_them)
    assert away.min() * 0.9 > MISTAKEN_UM


def test_pool_takes_in_only_what_is_allowed_and_finished(tmp_path: Path) -> None:
    pytest.importorskip("torch")
    crops = np.zeros((3, 5, 5, 3), np.uint8)
    facts = np.zeros((3, FACTS), np.float32)
    facts[:, 2] = (0, 1, 1)
    write_crops(tmp_path, "a", [crops], [facts])
    np.save(tmp_path / "b.crops.npy", crops)  # its facts are not written yet
    pool = CropPool(tmp_path, "cpu", allowed=lambda tags: tags[:, 0] == 1)
    assert pool.refresh() == 2
    assert pool.refresh() == 2


def test_training_and_use_see_the_same_window() -> None:
    torch = pytest.importorskip("torch")
    from sporecount.train.closer import turned_windows

    field = draw_tile(np.random.default_rng(3), 128, 0.5).field
    xy = np.array([[100.0, 90.0], [140.0, 60.0], [77.3, 120.2]])
    angle = np.array([20.0, 75.0, 160.0])
    used = windows(field, Seeds(xy, np.full(3, 12.0), np.full(3, 8.0), angle))
    closes = np.clip(close_ups(field, xy, HALF_UM, CROP_UM_PER_PX), *DENSITY_BOUNDS)
    upright = torch.from_numpy(closes.transpose(0, 3, 1, 2).copy())
    taught = turned_windows(upright, torch.from_numpy(np.deg2rad(angle)).float(), None)
    assert taught.shape == (3, 3, SIDE, SIDE)
    assert np.abs(used - 2.0 * taught.numpy()).max() < 1e-4


def test_loss_lets_go_of_damage_that_looks_intact() -> None:
    torch = pytest.importorskip("torch")
    from sporecount.train.closer import closer_loss

    logits = torch.tensor([[4.0, 0.0, 0.0, 0.0]])
    plain = closer_loss(logits, torch.tensor([1]), 0.0)
    forgiven = closer_loss(logits, torch.tensor([1]), 0.5)
    assert float(forgiven) < 0.3 * float(plain)
    # Nothing else is forgiven.
    other = torch.tensor([2])
    assert float(closer_loss(logits, other, 0.5)) == float(closer_loss(logits, other, 0.0))
