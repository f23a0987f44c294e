"""Varying how tiles were photographed, and spore-free photographs as tiles."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch")

from sporecount.train.blanks import read_blanks, write_blanks  # noqa: E402
from sporecount.train.develop import develop  # noqa: E402
from sporecount.train.pool import Pool, write_chunk  # noqa: E402


def _tiles() -> torch.Tensor:
    x = torch.full((64, 3, 32, 32), 0.02)
    x[:, :, 12:20, 12:20] = 0.3
    x[:, :, :, 26:] = 0.0
    return x


def _develop(x: torch.Tensor, seed: int = 1) -> torch.Tensor:
    generator = torch.Generator()
    generator.manual_seed(seed)
    return develop(x, generator)


def test_what_was_not_examined_stays_empty() -> None:
    assert float(_develop(_tiles())[:, :, :, 26:].abs().max()) == 0.0


def test_some_tiles_change_and_some_stay() -> None:
    x = _tiles()
    changed = (_develop(x) - x).abs().amax(dim=(1, 2, 3)) > 1e-6
    assert 0.5 < float(changed.float().mean()) < 1.0


def test_what_stands_out_keeps_standing_out_and_the_input_is_kept() -> None:
    x = _tiles()
    before = x.clone()
    y = _develop(x)
    assert torch.equal(x, before)
    middle, ground = y[:, :, 14:18, 14:18].mean((1, 2, 3)), y[:, :, :8, :20].mean((1, 2, 3))
    assert float((middle - ground).min()) > 0.15


def test_the_same_seed_gives_the_same_tiles() -> None:
    assert torch.equal(_develop(_tiles(), 3), _develop(_tiles(), 3))
    assert not torch.equal(_develop(_tiles(), 3), _develop(_tiles(), 4))


def test_spore_free_photographs_become_tiles_without_objects(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    picture = np.full((200, 260, 3), 200, np.uint8)
    cv2.circle(picture, (130, 100), 20, (90, 120, 150), -1)
    picture += rng.integers(0, 6, picture.shape, dtype=np.uint8)
    cv2.imencode(".png", picture)[1].tofile(tmp_path / "one.png")
    (tmp_path / "sheet.csv").write_text("file,um_per_px\none.png,0.5\none.png,\n")
    assert [scale for _, scale in read_blanks(tmp_path / "sheet.csv")] == [0.5, None]
    write_blanks(tmp_path / "sheet.csv", tmp_path / "t", {"coarse": 128}, 6, seed=1)
    pool = Pool(tmp_path / "t" / "coarse", "cpu")
    assert pool.refresh() == 6
    assert pool.tiles is not None
    assert pool.objects is not None
    assert tuple(pool.tiles.shape[1:]) == (128, 128, 3)
    assert bool((pool.objects[:6, :, 6] < 0).all())
    spread = pool.tiles[:6].float().amax((1, 2)) - pool.tiles[:6].float().amin((1, 2))
    assert float(spread.amin()) > 20  # the disc is in each of them


def test_a_pool_keeps_no_more_than_it_may(tmp_path: Path) -> None:
    for number in range(8):
        tiles = np.full((5, 8, 8, 3), number, np.uint8)
        objects = [np.zeros((1, 8), np.float32)] * 5
        write_chunk(tmp_path, f"{number}", tiles, objects, np.zeros((5, 3), np.int32))
    pool = Pool(tmp_path, "cpu", most=22)
    # Whole chunks are taken in, up to the first with which it is enough.
    assert pool.refresh() == 25
    assert pool.refresh() == 25
    assert pool.tiles is not None
    assert pool.tiles[:25, 0, 0, 0].tolist() == [n for n in range(5) for _ in range(5)]
