"""The glance network: which cells it is taught to let through, and where its cut lies."""

from __future__ import annotations

import warnings
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="training is an extra")
pytest.importorskip("onnx")

import onnxruntime  # noqa: E402

from sporecount.train.export import _export, export_glance  # noqa: E402
from sporecount.train.glance import GlanceNet, glance_loss, wanted_cells  # noqa: E402
from sporecount.train.objects import STATE, WEIGHT, X, Y  # noqa: E402
from sporecount.train.quantise import (  # noqa: E402
    FOUND_WITHIN_PX,
    PASSED_OVER,
    glance_sees,
    quantise,
    search_sees,
    shift_to_cut,
)


def objects(*rows: tuple[float, float, float, float]) -> torch.Tensor:
    """Return one tile's objects from x, y, state and weight; one more row is unused."""
    table = torch.zeros((1, len(rows) + 1, 8))
    table[..., STATE] = -1.0
    for place, (x, y, state, weight) in enumerate(rows):
        table[0, place, [X, Y, STATE, WEIGHT]] = torch.tensor([x, y, state, weight])
    return table


def test_the_cell_of_a_centre_is_wanted_and_its_neighbours_do_not_count() -> None:
    wanted, counts = wanted_cells(objects((27.5, 11.5, 0, 1)), 6, 8)
    assert wanted.nonzero().tolist() == [[0, 1, 3]]
    assert counts[0, 1, 3] == 1
    assert counts[0, :3, 2:5].sum() == 1  # eight neighbours are left alone
    assert counts.sum() == 6 * 8 - 8


def test_a_centre_near_an_edge_is_wanted_on_both_sides() -> None:
    wanted, _ = wanted_cells(objects((24.0, 11.5, 2, 1)), 6, 8)
    assert wanted.nonzero().tolist() == [[0, 1, 2], [0, 1, 3]]


def test_what_nobody_could_see_is_neither_wanted_nor_held_against_it() -> None:
    wanted, counts = wanted_cells(objects((27.5, 11.5, 0, 0)), 6, 8)
    assert wanted.sum() == 0
    assert counts[0, :3, 2:5].sum() == 0


def test_the_loss_is_least_where_the_wanted_cells_are_let_through() -> None:
    there = objects((27.5, 11.5, 0, 1))
    wanted, _ = wanted_cells(there, 6, 8)
    right, wrong = (20.0 * (part - 0.5) for part in (wanted, 1.0 - wanted))
    low, parts, _ = glance_loss(right[:, None], there)
    high, _, _ = glance_loss(wrong[:, None], there)
    assert low < 0.01 < 1.0 < high
    assert (float(parts["found"]), float(parts["passed"])) == (1.0, 0.0)


class HotWhereDark(torch.nn.Module):
    """Takes all that has any density for spores, as a search network would say it."""

    def __init__(self) -> None:
        super().__init__()
        self.out = torch.nn.Conv2d(48, 36, 1)
        with torch.no_grad():
            self.out.weight.fill_(1.0)
            self.out.bias.fill_(-3.0)

    def on_blocks(self, x: torch.Tensor) -> torch.Tensor:
        return self.out(x)


def test_zero_is_where_the_stated_share_of_what_is_found_is_passed_over(tmp_path: Path) -> None:
    torch.manual_seed(2)
    model = GlanceNet(8).eval()
    with torch.no_grad():
        model.out.bias.zero_()
        model.out.weight *= 30
    torch.save({"model": model.state_dict(), "shape": {"width": 8}}, tmp_path / "g.pt")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the older of two exporters
        export_glance(tmp_path / "g.pt", tmp_path / "g.onnx")
        _export(HotWhereDark(), tmp_path / "s.onnx")
    rng = np.random.default_rng(3)
    tiles = []
    for _ in range(4):
        rows = np.zeros((1200, 8), np.float32)
        rows[:, [X, Y]] = rng.uniform(0, 255, (1200, 2))
        rows[:, WEIGHT] = 1.0
        density = rng.gamma(1.0, 0.1, (256, 256, 3)).astype(np.float32)
        density[:, :128] = 0.0  # nothing is found here
        field = SimpleNamespace(density=density, examined=np.ones((256, 256), bool))
        tiles.append(SimpleNamespace(field=field, rows=rows))
    quantise(tmp_path / "g.onnx", tmp_path / "q.onnx", map(glance_sees, tiles))
    quantise(tmp_path / "s.onnx", tmp_path / "f.onnx", map(search_sees, tiles))
    cut = shift_to_cut(tmp_path / "q.onnx", tmp_path / "f.onnx", tiles)
    session = onnxruntime.InferenceSession(tmp_path / "q.onnx", providers=["CPUExecutionProvider"])
    below = []
    for tile in tiles:
        logits = session.run(None, {"blocks": glance_sees(tile)[None]})[0][0, ..., 0]
        found = tile.rows[tile.rows[:, X] > 128 + FOUND_WITHIN_PX]
        below.append(logits[tuple((found[:, [Y, X]] + 0.5).astype(int).T // 8)] < 0)
    assert np.isfinite(cut)
    assert np.concatenate(below).mean() == pytest.approx(PASSED_OVER, abs=0.001)
