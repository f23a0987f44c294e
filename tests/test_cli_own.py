"""Counting with what was measured on one's own microscope, saying so, and leaving it out."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.counts.rates import load_rates
from sporecount.microscope import Adjustment, Microscope
from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.review.own import keep_microscope
from sporecount.scale.saved import CONFIG_DIR_VARIABLE
from sporecount.trial.misread import MisreadRates

SCALE = "0.7"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with one photo, and settings of its own."""
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    photos = tmp_path / "photos"
    photos.mkdir()
    rng = np.random.default_rng(31)
    picture = render(replace(condition_plan("10x", rng, (500, 400)), um_per_px=0.7), rng)
    Image.fromarray(picture.pixels).save(photos / "a.png")
    return tmp_path


def run(folder: Path, name: str, *more: str, command: str = "count") -> Result:
    out = folder / name
    given = [command, str(folder / "photos"), "--um-per-px", SCALE, "--jobs", "1", "--no-marked"]
    done = CliRunner().invoke(main, [*given, "--out", str(out), *more])
    assert done.exit_code in (0, 1), done.output
    return done


def row(folder: Path, name: str) -> dict[str, str]:
    with (folder / name / "photos.csv").open(encoding="utf-8", newline="") as file:
        return next(csv.DictReader(file))


def own(**changes: object) -> Microscope:
    rates = replace(
        load_rates(),
        recall_mean=0.2,
        recall_sd=0.02,
        photo_law=None,
        measured_on="photos of mine",
    )
    plain = Microscope("stand by the window", (0.65, 0.7), "2024-05-01", rates)
    return replace(plain, **changes)  # type: ignore[arg-type]


def test_own_rates_widen_the_range_and_are_said_once(folder: Path) -> None:
    before = run(folder, "before")
    assert "Note: counted with" not in before.output
    keep_microscope(own())
    after = run(folder, "after")
    assert after.output.count("stand by the window") == 1
    assert (
        "Note: counted with rates of mistakes of stand by the window (2024-05-01); "
        "--as-shipped leaves that out" in after.output
    )
    one, other = row(folder, "before"), row(folder, "after")
    assert one["spores"] == other["spores"] != "0"
    assert int(other["spores_high"]) > int(one["spores_high"]) + 3
    assert "rates of mistakes of stand by the window" in other["notes"]


def test_as_shipped_and_another_scale_leave_it_out(folder: Path) -> None:
    run(folder, "before")
    keep_microscope(own())
    shipped = run(folder, "shipped", "--as-shipped")
    assert "Note: counted with" not in shipped.output
    assert row(folder, "shipped") == row(folder, "before")
    assert json.loads((folder / "shipped/run.json").read_text("utf-8"))["options"]["as_shipped"]
    keep_microscope(own(um_per_px=(0.3, 0.35)))
    assert "Note: counted with" not in run(folder, "other").output


def test_an_adjustment_changes_the_count_and_a_run_goes_on_with_its_own(folder: Path) -> None:
    run(folder, "out")
    keep_microscope(own(adjustment=Adjustment(shift=-20.0), rates=None))
    # The same folder of results: what is finished was another count, and is done again.
    done = run(folder, "out")
    assert "counted with adjustment of stand by the window" in done.output
    strict = int(row(folder, "out")["spores"])
    run(folder, "shipped", "--as-shipped")
    assert strict < int(row(folder, "shipped")["spores"])


def test_score_uses_own_rates_for_the_tape(folder: Path) -> None:
    def sample(name: str) -> dict[str, str]:
        with (folder / name / "samples.csv").open(encoding="utf-8", newline="") as file:
            return next(csv.DictReader(file))

    run(folder, "before", command="score")
    keep_microscope(own())
    done = run(folder, "after", command="score")
    assert "rates of mistakes of stand by the window" in done.output
    assert int(sample("after")["tape_high"]) > int(sample("before")["tape_high"])
    assert "rates of mistakes of stand by the window" in sample("after")["notes"]


def test_a_damaged_file_is_said_and_can_be_left_out(folder: Path) -> None:
    (folder / "config").mkdir()
    (folder / "config/microscopes.json").write_text("[]", "utf-8")
    given = ["count", str(folder / "photos"), "--um-per-px", SCALE, "--out", str(folder / "out")]
    done = CliRunner().invoke(main, given)
    assert done.exit_code == 3
    assert "count with --as-shipped" in done.output
    assert CliRunner().invoke(main, [*given, "--as-shipped"]).exit_code == 0


TRIAL = """name = "test"
sheet = "photos.csv"
photos = "photos"
[[arms]]
name = "water"
agent = "water"
[[arms]]
name = "soak"
agent = "hypochlorite"
"""


def test_a_trial_is_corrected_by_what_is_misread_here(folder: Path) -> None:
    with Image.open(folder / "photos/a.png") as picture:
        picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(folder / "photos/b.png")
    (folder / "photos.csv").write_text("photo,arm,slide\na.png,water,1\nb.png,soak,2\n", "utf-8")
    (folder / "may.toml").write_text(TRIAL, "utf-8")
    called = ((90.0, 10.0, 0.0, 5.0), (20.0, 30.0, 0.0, 5.0), (0.0, 0.0, 20.0, 5.0))
    misread = MisreadRates(called, (2.0, 2.0, 2.0), "12 photos of your own, reviewed by hand")
    keep_microscope(own(misread=misread))

    def words(name: str, *more: str) -> tuple[str, str]:
        given = ["trial", "report", str(folder / "may.toml"), "--um-per-px", SCALE, *more]
        done = CliRunner().invoke(main, [*given, "--no-marked", "--out", str(folder / name)])
        assert done.exit_code == 0, done.output
        return (folder / name / "trial.html").read_text("utf-8"), done.output

    text, said = words("own")
    assert "calls 60 % damaged" in text
    assert "12 photos of your own, reviewed by hand" in text
    assert "stand by the window" in said
    text, said = words("shipped", "--as-shipped")
    assert "of your own" not in text
    assert "stand by the window" not in said
