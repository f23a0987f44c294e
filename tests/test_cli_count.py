"""The command as a person uses it: files in, tables and exit codes out."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.counting import PhotoCount
from sporecount.counts.summary import counted_summary, refused_summary
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.field.field import Field, Fitness
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import Settings

Run = Callable[..., Result]


class Chain:
    """Stands in for the chain: the top-left pixel says how many spores there are."""

    REFUSED, BROKEN, STOPPED = 201, 202, 203

    def __init__(self) -> None:
        self.counted: list[str] = []

    def __call__(
        self, photo: Photo, calibration: Calibration, settings: Settings, microscope: object = None
    ) -> PhotoCount:
        spores = int(photo.pixels[0, 0, 0])
        if spores == self.BROKEN:
            raise ZeroDivisionError("made up")
        if spores == self.STOPPED:
            raise KeyboardInterrupt
        self.counted.append(photo.name)
        field = _field(photo, calibration, usable=spores != self.REFUSED)
        if not field.fitness.usable:
            return PhotoCount(empty_detections(), refused_summary(photo, field), field)
        table = _detections(spores)
        summary = counted_summary(photo, field, table, settings.count)
        return PhotoCount(table, summary, field)


def _field(photo: Photo, calibration: Calibration, *, usable: bool) -> Field:
    shape = photo.pixels.shape
    plain = np.zeros(shape, np.float32)
    reason = ("", "") if usable else ("it is too blurred", "focus and take it again")
    fitness = Fitness(usable, *reason, {"sharpness": 0.5})
    seen = np.ones(shape[:2], bool)
    return Field(calibration, photo.pixels, plain, plain, seen, 0.9, 2.0, fitness)


def _detections(spores: int) -> pd.DataFrame:
    """Return as many intact spores, and one fragment."""
    values: dict[str, list[object]] = {name: [12.5] * (spores + 1) for name in COLUMNS}
    values["confidence"] = [1.0] * (spores + 1)
    values["state"] = ["intact"] * spores + ["fragment"]
    corner = np.array([[2.0, 2.0], [9.0, 2.0], [5.0, 8.0]])
    values["outline_px"] = [corner] * (spores + 1)
    return pd.DataFrame({name: pd.Series(values[name], dtype=COLUMNS[name]) for name in COLUMNS})


@pytest.fixture
def chain(monkeypatch: pytest.MonkeyPatch) -> Chain:
    stand_in = Chain()
    monkeypatch.setattr("sporecount.cli.batch.count_photo", stand_in)
    return stand_in


@pytest.fixture
def run(chain: Chain, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))

    def invoke(*arguments: object) -> Result:
        return CliRunner().invoke(main, [str(argument) for argument in arguments])

    return invoke


def save(path: Path, spores: int) -> Path:
    """Save a small photo with so many spores, as the stand-in sees it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.full((24, 32, 3), spores, np.uint8)).save(path)
    return path


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_all_counted_gives_0_and_every_file(run: Run) -> None:
    save(Path("in/tray 1/a.png"), 3)
    save(Path("in/b.png"), 0)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 0, result.output
    assert [(row["photo"], row["spores"]) for row in rows(Path("out/photos.csv"))] == [
        ("b.png", "0"),
        ("tray 1/a.png", "3"),
    ]
    # Each fragment is a detection and none is a spore.
    assert [row["state"] for row in rows(Path("out/detections.csv"))] == (
        ["fragment"] + ["intact"] * 3 + ["fragment"]
    )
    assert Path("out/marked/tray 1/a.jpg").is_file()
    record = json.loads(Path("out/run.json").read_text("utf-8"))
    assert record["ended"] is not None
    assert record["options"]["um_per_px"] == 0.65
    assert "2 photos: 2 counted; 3 spores" in result.output
    assert not Path("out/problems.log").exists()


def test_a_photo_that_fails_never_stops_the_others(run: Run) -> None:
    save(Path("in/a.png"), Chain.BROKEN)
    save(Path("in/b.png"), Chain.REFUSED)
    Path("in/c.jpg").write_bytes(b"no picture")
    save(Path("in/d.png"), 5)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 1
    table = rows(Path("out/photos.csv"))
    assert [row["status"] for row in table] == ["unreadable", "refused", "unreadable", "counted"]
    assert [row["spores"] for row in table] == ["", "", "", "5"]
    assert table[1]["reason"] == "it is too blurred; focus and take it again"
    assert "ZeroDivisionError" in table[0]["reason"]
    assert "made up" in Path("out/problems.log").read_text("utf-8")
    assert Path("out/marked/b.jpg").is_file()


@pytest.mark.parametrize(
    "name", ["=1+1.png", "a b.png", "#1 %20.png", "🦋 蝶.png", "-x.png", "x" * 240 + ".png"]
)
def test_odd_names(run: Run, name: str) -> None:
    save(Path("in") / name, 1)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 0, result.output
    (row,) = rows(Path("out/photos.csv"))
    assert row["photo"] == (f"'{name}" if name[0] in "=-" else name)
    assert len(list(Path("out/marked").iterdir())) == 1


def test_without_any_scale_nothing_is_counted_or_written(run: Run, chain: Chain) -> None:
    save(Path("in/a.png"), 1)
    result = run("count", "in", "--out", "out")
    assert result.exit_code == 3
    assert "a.png" in result.output
    assert "--um-per-px" in result.output
    assert not chain.counted
    assert not Path("out").exists()


def test_sheet_gives_scales_and_its_columns_go_into_the_table(run: Run) -> None:
    save(Path("in/a.png"), 1)
    save(Path("in/b.png"), 2)
    Path("sheet.csv").write_text(
        "photo,um_per_px,sample,arm,notes\na.png,0.5,s1,=bleach,torn\nb.png,0.7,s2,water,\n"
    )
    result = run("count", "in", "--sheet", "sheet.csv", "--out", "out")
    assert result.exit_code == 0, result.output
    first, second = rows(Path("out/photos.csv"))
    assert (first["um_per_px"], second["um_per_px"]) == ("0.5", "0.7")
    assert (first["sample"], first["arm"], first["sheet_notes"]) == ("s1", "'=bleach", "torn")


def test_sheet_that_leaves_a_photo_without_a_scale_stops_the_run(run: Run, chain: Chain) -> None:
    save(Path("in/a.png"), 1)
    save(Path("in/b.png"), 2)
    Path("sheet.csv").write_text("photo,um_per_px\na.png,0.5\n")
    result = run("count", "in", "--sheet", "sheet.csv", "--out", "out")
    assert result.exit_code == 3
    assert "b.png: its scale is unknown" in result.output
    assert not chain.counted


def test_second_run_counts_only_what_is_new(run: Run, chain: Chain) -> None:
    save(Path("in/a.png"), 1)
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    save(Path("in/b.png"), 2)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 0
    assert chain.counted == ["a.png", "b.png"]
    assert [row["spores"] for row in rows(Path("out/photos.csv"))] == ["1", "2"]


@pytest.mark.parametrize(
    "change",
    [
        ("--um-per-px", "0.66"),
        ("--um-per-px", "0.65", "--afresh"),
        ("--um-per-px", "0.65", "--settings", "other.toml"),
    ],
)
def test_what_can_change_a_result_makes_it_count_again(
    run: Run, chain: Chain, change: tuple[str, ...]
) -> None:
    save(Path("in/a.png"), 1)
    Path("other.toml").write_text("[count]\nlevel = 0.9\n")
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    run("count", "in", *change, "--out", "out")
    assert len(chain.counted) == 2


def test_a_marked_copy_that_is_gone_is_made_again(run: Run) -> None:
    save(Path("in/a.png"), 1)
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    Path("out/marked/a.jpg").unlink()
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert Path("out/marked/a.jpg").is_file()


def test_a_damaged_part_is_counted_again(run: Run, chain: Chain) -> None:
    save(Path("in/a.png"), 1)
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    (part,) = Path("out/.sporecount-parts").iterdir()
    part.write_text(part.read_text()[:50])
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 0
    assert len(chain.counted) == 2


def test_results_recalled_are_the_same_bytes(run: Run) -> None:
    save(Path("in/a.png"), 4)
    files = [Path("out/photos.csv"), Path("out/detections.csv")]
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    first = [file.read_bytes() for file in files]
    run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert [file.read_bytes() for file in files] == first
    assert b"\r" not in b"".join(first)


def test_stopped_run_keeps_what_is_done_and_goes_on(run: Run, chain: Chain) -> None:
    save(Path("in/a.png"), 1)
    stopping = save(Path("in/b.png"), Chain.STOPPED)
    save(Path("in/c.png"), 3)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out", "--jobs", 1)
    assert result.exit_code == 130
    assert "the same command goes on from there" in result.output
    assert not Path("out/photos.csv").exists()
    save(stopping, 2)
    done_before = list(chain.counted)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out", "--jobs", 1)
    assert result.exit_code == 0
    assert "a.png" in done_before
    assert sorted(chain.counted) == ["a.png", "b.png", "c.png"]
    assert [row["spores"] for row in rows(Path("out/photos.csv"))] == ["1", "2", "3"]


def test_results_inside_the_photo_folder_are_not_counted_as_photos(run: Run) -> None:
    save(Path("in/a.png"), 1)
    for _ in range(2):
        result = run("count", "in", "--um-per-px", 0.65, "--out", "in/results")
        assert result.exit_code == 0, result.output
    assert [row["photo"] for row in rows(Path("in/results/photos.csv"))] == ["a.png"]


@pytest.mark.parametrize("given", ["in", "in/a.png"])
def test_a_folder_of_photos_is_refused_for_results(run: Run, given: str) -> None:
    save(Path("in/a.png"), 1)
    result = run("count", given, "--um-per-px", 0.65, "--out", "in")
    assert result.exit_code == 2
    assert "is a folder of photos; name another" in result.output
    assert [path.name for path in Path("in").iterdir()] == ["a.png"]


def test_tables_of_somebody_else_are_not_replaced(run: Run) -> None:
    save(Path("in/a.png"), 1)
    Path("out").mkdir()
    Path("out/photos.csv").write_text("mine")
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out")
    assert result.exit_code == 2
    assert Path("out/photos.csv").read_text() == "mine"


@pytest.mark.parametrize("jobs", [1, 3])
def test_jobs_never_change_the_tables(run: Run, jobs: int) -> None:
    for number in range(6):
        save(Path(f"in/{number}.png"), number)
    result = run("count", "in", "--um-per-px", 0.65, "--out", "out", "--jobs", jobs, "--no-marked")
    assert result.exit_code == 0
    assert [row["spores"] for row in rows(Path("out/photos.csv"))] == list("012345")
    assert not Path("out/marked").exists()


def test_two_photos_with_the_same_content_are_two_rows(run: Run) -> None:
    save(Path("in/a.png"), 2)
    save(Path("in/b.png"), 2)
    run("count", "in", "--um-per-px", 0.65, "--out", "out", "--jobs", 1)
    assert [row["photo"] for row in rows(Path("out/photos.csv"))] == ["a.png", "b.png"]
    assert len(list(Path("out/marked").iterdir())) == 2
