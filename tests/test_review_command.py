"""`sporecount review`: what it takes, what it refuses, and what it says without its window."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main, review_run
from sporecount.review.opening import ToReview


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[list[Any]]:
    """Take note of what the window is opened with, in place of opening it."""
    seen: list[Any] = []
    monkeypatch.setattr(review_run, "check_window", lambda: None)
    monkeypatch.setattr(review_run, "open_window", lambda *given: seen.append(given))
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))
    return seen


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "A17"
    folder.mkdir()
    for number in range(2):
        Image.fromarray(np.full((20, 30, 3), number, np.uint8)).save(folder / f"{number}.png")
    return folder


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["review", *(str(argument) for argument in arguments)])


def test_a_folder_is_opened_with_its_scale_and_the_person(opened: list[Any], photos: Path) -> None:
    done = run(photos, "--um-per-px", "0.65", "--who", " Ann  Lee ", "--blind")
    assert done.exit_code == 0, done.output
    options, found, who, _ = opened[0]
    assert isinstance(found, ToReview)
    assert [file.name for file in found.files] == ["0.png", "1.png"]
    assert (who, found.blind, found.scale.um_per_px) == ("Ann Lee", True, 0.65)
    assert set(found.samples.values()) == {"A17"}
    assert options.reviews is None


def test_without_a_folder_photos_are_chosen_in_the_window(opened: list[Any]) -> None:
    assert run("--who", "Ann").exit_code == 0
    assert opened[0][1] is None


@pytest.mark.parametrize(
    ("given", "wrong"),
    [
        (["--sample", "A17"], "--log and --sample are given together"),
        (["--field-number", "18"], "--field-number and --objective"),
        (["--um-per-px", "-1"], "positive number"),
        (["--who", "  "], "say who you are"),
        (["--key", "key.csv"], "--key goes with --trial"),
        (["--sheet", "key.csv"], "give the FOLDER"),
    ],
)
def test_what_does_not_go_together_is_said(
    opened: list[Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: list[str], wrong: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "key.csv").write_text("photo\n", "utf-8")
    done = run(*given)
    assert done.exit_code == 2
    assert wrong in done.output
    assert len(done.output.strip().splitlines()) == 1
    assert opened == []


def test_without_the_window_one_line_says_what_to_install(
    photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(review_run, "find_spec", lambda name: None)
    done = run(photos, "--who", "Ann")
    assert done.exit_code == 3
    assert done.output.strip() == (
        "Error: the window: napari is not installed. "
        'Run: python -m pip install "sporecount[review]".'
    )


def test_a_window_system_that_cannot_be_loaded_is_said_in_one_line(
    photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(review_run, "find_spec", lambda name: object())
    monkeypatch.setattr(review_run, "_NEEDED", ("napari",))
    monkeypatch.setitem(__import__("sys").modules, "qtpy.QtWidgets", None)
    done = run(photos, "--who", "Ann")
    assert done.exit_code == 3
    assert "the window system cannot be loaded" in done.output
    assert len(done.output.strip().splitlines()) == 1
