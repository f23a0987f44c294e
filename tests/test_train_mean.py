"""The mean of networks taught one from the other."""

from __future__ import annotations

from pathlib import Path

import pytest

torch = pytest.importorskip("torch", reason="training is an extra")

from sporecount.errors import SettingsError  # noqa: E402
from sporecount.train.mean import write_mean  # noqa: E402
from sporecount.train.network import SearchNet, load_search  # noqa: E402


def taught(file: Path, seed: int, **shape: int) -> Path:
    torch.manual_seed(seed)
    model = SearchNet(**shape)
    torch.save({"model": model.state_dict(), "shape": shape, "steps": seed}, file)
    return file


def test_the_mean_lies_midway_between_two_networks(tmp_path: Path) -> None:
    files = [taught(tmp_path / f"{seed}.pt", seed, width=16, deep=16) for seed in (1, 2)]
    write_mean(files, tmp_path / "mean.pt")
    first, second, mean = (
        load_search(file).state_dict() for file in (*files, tmp_path / "mean.pt")
    )
    weights = [name for name in mean if name.endswith("weight") and mean[name].ndim == 4]
    assert weights
    for name in weights:
        torch.testing.assert_close(mean[name], 0.5 * (first[name] + second[name]))
        assert not torch.equal(first[name], second[name])


def test_what_is_no_weight_is_of_the_last_taught(tmp_path: Path) -> None:
    files = [taught(tmp_path / f"{seed}.pt", seed, width=16, deep=16) for seed in (1, 2)]
    write_mean(files, tmp_path / "mean.pt")
    state = torch.load(tmp_path / "mean.pt")
    assert state["steps"] == 2


def test_networks_of_different_shapes_have_no_mean(tmp_path: Path) -> None:
    wide = taught(tmp_path / "wide.pt", 1, width=32, deep=16)
    narrow = taught(tmp_path / "narrow.pt", 2, width=16, deep=16)
    with pytest.raises(SettingsError, match=r"wide\.pt beside narrow\.pt"):
        write_mean([wide, narrow], tmp_path / "mean.pt")
    assert not (tmp_path / "mean.pt").exists()
