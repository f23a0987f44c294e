"""`sporecount score`: folders of photos in, one row, one layout, one decision for each tape."""

from __future__ import annotations

import csv
import json
import re
import shutil
import weakref
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import sporecount
from sporecount.cli import main
from sporecount.cli.sample_parts import SampleResult
from sporecount.cli.score_run import print_results
from sporecount.counts.sample_summary import SAMPLE_COLUMNS
from sporecount.decision.texts import OUTCOMES
from sporecount.detect.table import COLUMNS
from sporecount.photo.folder import PhotoFile
from sporecount.photo.samples import by_folder
from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog
from sporecount.render.tape import RenderedTape, TapePlan, render_tape
from sporecount.report.samples_table import SAMPLE_DETECTION_COLUMNS

#: Scale of the photos, um per pixel, and their size.
SCALE, SIZE = 0.9, (460, 380)

Run = Callable[..., Result]


@pytest.fixture(scope="module")
def tape() -> RenderedTape:
    plan = TapePlan((2, 1), SIZE, SCALE, 0.35, spores_per_mm2=150.0, turn_deg=1.0, uneven=0.5)
    return render_tape(plan, np.random.default_rng(7))


def save(folder: Path, tape: RenderedTape) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for number, photo in enumerate(tape.photos):
        Image.fromarray(photo.pixels).save(folder / f"{number}.png")


@pytest.fixture(scope="module")
def scored(tmp_path_factory: pytest.TempPathFactory, tape: RenderedTape) -> Path:
    """Score two samples once: one with a photo too dark and a broken one, one all dark."""
    folder = tmp_path_factory.mktemp("score")
    save(folder / "season/A1", tape)
    (folder / "season/B2").mkdir()
    for name in ("A1/dark", "B2/dark"):
        Image.fromarray(np.full((240, 300, 3), 12, np.uint8)).save(folder / f"season/{name}.png")
    (folder / "season/A1/cut.png").write_bytes((folder / "season/A1/0.png").read_bytes()[:3000])
    done = CliRunner().invoke(main, command(folder))
    assert done.exit_code == 1, done.output
    (folder / "said.txt").write_text(done.output, "utf-8")
    return folder


def command(folder: Path, *further: object) -> list[str]:
    given = ["score", folder / "season", "--um-per-px", SCALE, "--out", folder / "out"]
    given += ["--log", folder / "log.sqlite3", "--jobs", 1, *further]
    return [str(one) for one in given]


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_columns_that_are_promised_come_first_and_in_order(scored: Path) -> None:
    with (scored / "out/samples.csv").open(encoding="utf-8") as file:
        header = file.readline().strip().split(",")
    assert ",".join(header).startswith(
        "sample,status,reason,photos,examined_mm2,spores,spores_low,spores_high,tape_mm2,"
        "tape_spores,tape_low,tape_high,p_class_0,p_class_1,p_class_2,p_class_3,p_class_4,"
        "p_class_5,load_class,decision,more_fields,"
    )
    assert tuple(header[: len(SAMPLE_COLUMNS)]) == SAMPLE_COLUMNS


def test_overlapping_photos_are_counted_once(scored: Path, tape: RenderedTape) -> None:
    row = rows(scored / "out/samples.csv")[0]
    photos = [one for one in rows(scored / "out/photos.csv") if one["status"] == "counted"]
    each = sum(float(photo["examined_mm2"]) for photo in photos)
    # Two photos with 35 % in common show 1.65 photos' worth of tape; each may lie 2 %
    # of its side off, hence the 4 %.
    assert float(row["examined_mm2"]) == pytest.approx(each * 1.65 / 2, rel=0.04)
    assert int(row["parts"]) == 1
    assert int(row["spores"]) < sum(int(photo["spores"]) for photo in photos)
    assert sum(float(row[f"p_class_{n}"]) for n in range(6)) == pytest.approx(1, abs=1e-4)
    assert row["decision"] in OUTCOMES


def test_detections_are_in_the_tape_s_own_coordinates_each_once(scored: Path) -> None:
    table = rows(scored / "out/sample_detections.csv")
    assert tuple(table[0]) == SAMPLE_DETECTION_COLUMNS
    assert {one["sample"] for one in table} == {"A1"}
    counted = [one for one in table if one["state"] != "fragment" and one["counted"] == "yes"]
    assert len(counted) == int(rows(scored / "out/samples.csv")[0]["spores"])
    # The tape reaches beyond one photo's width, in um.
    assert max(float(one["x_um"]) for one in table) > SIZE[0] * SCALE
    places = np.array([(float(one["x_um"]), float(one["y_um"])) for one in counted])
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    assert apart[~np.eye(len(places), dtype=bool)].min() > 2.0


def test_photos_that_cannot_be_counted_are_named_and_left_out(scored: Path) -> None:
    row = rows(scored / "out/samples.csv")[0]
    assert (row["status"], row["photos"], row["photos_used"]) == ("counted", "4", "2")
    assert row["reason"].startswith("2 of 4 photos not used: A1/cut.png (unreadable: ")
    assert "A1/dark.png (refused: " in row["reason"]


def test_a_sample_without_a_usable_photo_is_refused_and_never_clear(scored: Path) -> None:
    row = rows(scored / "out/samples.csv")[1]
    assert (row["sample"], row["status"]) == ("B2", "refused")
    for name in ("examined_mm2", "spores", "tape_spores", "p_class_0", "load_class", "decision"):
        assert row[name] == "", name
    said = (scored / "out/decisions.txt").read_text("utf-8").split("Sample B2")[1]
    assert 'That is no "clear"' in said


def test_the_decision_is_said_on_the_terminal_and_in_a_file(scored: Path) -> None:
    outcome = rows(scored / "out/samples.csv")[0]["decision"]
    for text in ((scored / "said.txt"), (scored / "out/decisions.txt")):
        assert f"\n{outcome.capitalize()}\n" in text.read_text("utf-8")
        assert "a person decides" in text.read_text("utf-8")


def test_the_layout_is_drawn(scored: Path) -> None:
    (drawn,) = (scored / "out/layouts").iterdir()
    assert drawn.name == "A1.jpg"
    with Image.open(drawn) as picture:
        assert picture.width >= 900


def test_the_log_holds_each_result_once_with_hashes_settings_and_scale(scored: Path) -> None:
    CliRunner().invoke(main, command(scored))
    with RearingLog.open(scored / "log.sqlite3") as log:
        kept = log.rows()
    assert [row["name"] for row in kept["samples"]] == ["A1", "B2"]
    assert len(kept["results"]) == 2
    assert kept["results"][0]["um_per_px"] == SCALE
    assert kept["results"][1]["decision"] is None
    assert '"least_confidence"' in str(kept["results"][0]["settings"])
    run_record = json.loads((scored / "out/run.json").read_text("utf-8"))
    further = json.loads(str(kept["results"][0]["further"]))
    assert further["detector_weights"] == run_record["detector_weights"] != {}
    assert "layout" not in further
    # Two photos counted and one refused of A1, one refused of B2; a broken file has no hash.
    assert len(kept["photos"]) == 4


def test_what_is_finished_is_taken_up_again_with_the_same_bytes(
    scored: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = [scored / "out" / name for name in ("samples.csv", "sample_detections.csv")]
    before = [file.read_bytes() for file in files]

    def never(*_: object, **__: object) -> None:
        raise AssertionError("counted or scored again")

    monkeypatch.setattr("sporecount.cli.batch.count_photo", never)
    monkeypatch.setattr("sporecount.cli.sample_work.score_sample", never)
    assert CliRunner().invoke(main, command(scored)).exit_code == 1
    assert [file.read_bytes() for file in files] == before


def test_each_photo_is_decoded_once_and_let_go_with_its_sample(
    tape: RenderedTape, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sporecount.cli import batch, sample_work
    from sporecount.tape import view

    for name in ("A", "B", "C", "D"):
        (tmp_path / name).mkdir()
        for number, photo in enumerate(tape.photos):
            pixels = photo.pixels.copy()
            pixels[0, 0] = ord(name)  # another file for each sample
            Image.fromarray(pixels).save(tmp_path / name / f"{number}.png")
    read: list[str] = []
    alive: list[int] = []
    views: list[weakref.ref] = []
    right_read, right_view, right_score = (
        batch.read_photo,
        view.make_view,
        sample_work.SampleWork.score,
    )

    def reading(path: Path, name: str) -> object:
        read.append(name)
        return right_read(path, name)

    def viewing(*given: object) -> object:
        made = right_view(*given)  # type: ignore[arg-type]
        views.append(weakref.ref(made))
        return made

    def scoring(self: object, *given: object, **further: object) -> object:
        alive.append(sum(one() is not None for one in views))
        return right_score(self, *given, **further)  # type: ignore[arg-type]

    monkeypatch.setattr(batch, "read_photo", reading)
    monkeypatch.setattr(view, "make_view", viewing)
    monkeypatch.setattr(sample_work.SampleWork, "score", scoring)
    # A report shows parts of photos, and reads those again.
    monkeypatch.setattr(sample_work.SampleWork, "_report", lambda *_: "")
    given = ["score", str(tmp_path), "--um-per-px", str(SCALE), "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(main, [*given, "--jobs", "2", "--no-marked"])
    assert done.exit_code == 0, done.output
    assert sorted(read) == [f"{name}/{n}.png" for name in "ABCD" for n in (0, 1)]
    assert len(views) == 8
    assert len(alive) == 4
    assert max(alive) <= 4  # a sample, and the next


def test_a_run_stopped_between_photos_and_samples_goes_on(
    scored: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(scored / "season", tmp_path / "season")
    shutil.copytree(scored / "out", tmp_path / "out")
    for part in (tmp_path / "out/.sporecount-parts").glob("sample-*"):
        part.unlink()
    (tmp_path / "out/samples.csv").unlink()

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("sporecount.cli.sample_work.score_sample", stop)
        result = CliRunner().invoke(main, command(tmp_path))
    assert result.exit_code == 130
    assert "the same command goes on from there" in result.output
    assert CliRunner().invoke(main, command(tmp_path)).exit_code == 1
    for name in ("samples.csv", "sample_detections.csv"):
        assert (tmp_path / "out" / name).read_bytes() == (scored / "out" / name).read_bytes()


def test_the_sheet_says_which_photos_are_one_sample(scored: Path, tmp_path: Path) -> None:
    shutil.copytree(scored / "out", tmp_path / "out")
    (tmp_path / "photos.csv").write_text(
        "photo,sample,um_per_px,cage\nA1/0.png,one,0.9,7\nA1/1.png,one,0.9,7\nA1/dark.png,,,\n"
    )
    arguments = command(tmp_path, "--sheet", tmp_path / "photos.csv")
    arguments[1] = str(scored / "season")
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    (row,) = rows(tmp_path / "out/samples.csv")
    assert (row["sample"], row["photos"], row["cage"]) == ("one", "2", "7")
    assert "not scored: A1/cut.png, A1/dark.png, B2/dark.png" in result.output


def test_the_sheet_says_how_large_each_tape_is(scored: Path, tmp_path: Path) -> None:
    shutil.copytree(scored / "season", tmp_path / "season")
    shutil.copytree(scored / "out/.sporecount-parts", tmp_path / "out/.sporecount-parts")
    sheet = tmp_path / "sheet.csv"
    sheet.write_text('photo,sample,tape_mm2\nA1/0.png,one,"40,5"\nA1/1.png,two,\n', "utf-8")
    arguments = command(tmp_path, "--no-marked", "--sheet", sheet, "--tape-mm2", 80)
    assert CliRunner().invoke(main, arguments).exit_code == 0
    found = rows(tmp_path / "out/samples.csv")
    assert [(row["sample"], row["tape_mm2"]) for row in found] == [("one", "40.5"), ("two", "80")]
    assert "sheet_tape_mm2" not in found[0]
    for cell, said in (("no", "a positive number of mm2"), ("30", "one tape has one area")):
        sheet.write_text(f"photo,sample,tape_mm2\nA1/0.png,one,40\nA1/1.png,one,{cell}\n", "utf-8")
        result = CliRunner().invoke(main, arguments)
        assert (result.exit_code, said in result.output) == (2, True), result.output


def test_what_the_log_refuses_is_named_and_the_results_are_kept(
    scored: Path, tmp_path: Path
) -> None:
    shutil.copytree(scored / "season", tmp_path / "season")
    shutil.copytree(scored / "out/.sporecount-parts", tmp_path / "out/.sporecount-parts")
    (tmp_path / "sheet.csv").write_text(
        "photo,sample,adult\nA1/0.png,one,nobody\nA1/1.png,two,\n", "utf-8"
    )
    arguments = command(tmp_path, "--no-marked", "--sheet", tmp_path / "sheet.csv")
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 1
    assert "Not in the log: sample one: adult 'nobody'" in result.output
    assert [row["sample"] for row in rows(tmp_path / "out/samples.csv")] == ["one", "two"]
    with RearingLog.open(tmp_path / "log.sqlite3") as log:
        assert [row["name"] for row in log.rows()["samples"]] == ["two"]


def test_a_fault_in_the_report_does_not_cost_the_decision(
    scored: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(scored / "season", tmp_path / "season")
    shutil.copytree(scored / "out/.sporecount-parts", tmp_path / "out/.sporecount-parts")

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("made up")

    monkeypatch.setattr("sporecount.report.html.sample.write_sample_report", broken)
    assert CliRunner().invoke(main, command(tmp_path, "--no-marked")).exit_code == 1
    assert rows(tmp_path / "out/samples.csv")[0]["decision"] in OUTCOMES
    assert "made up" in (tmp_path / "out/problems.log").read_text("utf-8")


def test_folders_without_a_photo_are_named_and_not_forgotten(
    tape: RenderedTape, tmp_path: Path
) -> None:
    save(tmp_path / "season/A1", tape)
    for empty in ("B2", "C3/inner", "A1/sporecount-reviews", ".hidden"):
        (tmp_path / "season" / empty).mkdir(parents=True)
    (tmp_path / "season/B2/1.CR2").write_bytes(b"raw")
    done = CliRunner().invoke(main, command(tmp_path, "--no-marked"))
    assert done.exit_code == 0, done.output
    (said,) = (line for line in done.output.splitlines() if "no photo of a known format" in line)
    assert said.endswith(f"in {tmp_path / 'season/B2'}, {tmp_path / 'season/C3'}: not scored")


def test_a_log_that_cannot_be_had_does_not_keep_the_decision_from_being_said(
    scored: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(*_: object) -> bool:
        raise LogError("log.sqlite3", "another program is writing to it", "try again")

    monkeypatch.setattr("sporecount.cli.score_run.record_results", busy)
    done = CliRunner().invoke(main, command(scored))
    assert done.exit_code == 1
    assert (
        "Not in the log; give the same command again: log.sqlite3: another program" in done.output
    )
    assert "Sample A1" in done.output


def test_many_samples_are_listed_with_the_cautions_said_once(
    scored: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    row = {
        "sample": "A", "status": "counted", "photos": 3, "photos_used": 3, "spores": 2,
        "tape_low": 1, "tape_high": 9, "load_class": 2, "decision": "light load",
    }  # fmt: skip
    many = [SampleResult({**row, "sample": f"A{n}"}, [], "", "") for n in range(7)]
    print_results(many, Path("out"))
    said = capsys.readouterr().out
    assert said.count("light load") == 7
    assert said.count("a person decides") == 1


@pytest.mark.parametrize(
    ("further", "code", "said"),
    [
        (("--tape-mm2", "-1"), 2, "the area of a tape is a positive number"),
        (("--risk-release", "0.7"), 2, "lies between 0 and 0.5"),
        (("--release-up-to", "5"), 2, "below decision.heavy_from"),
        (("--tape-mm2", "0.05"), 1, "larger than the tape"),
    ],
)
def test_what_cannot_be_is_said_on_one_line(
    scored: Path, tmp_path: Path, further: tuple[str, ...], code: int, said: str
) -> None:
    shutil.copytree(scored / "season", tmp_path / "season")
    shutil.copytree(scored / "out/.sporecount-parts", tmp_path / "out/.sporecount-parts")
    result = CliRunner().invoke(main, command(tmp_path, "--no-marked", *further))
    assert result.exit_code == code
    assert said in " ".join(result.output.split())
    if code == 2:
        assert result.output.startswith("Error: ")
        assert result.output.count("\n") == 1


def test_without_folder_and_sheet_it_says_what_to_give() -> None:
    result = CliRunner().invoke(main, ["score", "--out", "out"])
    assert result.exit_code == 2
    assert "give a folder of photos, or a sheet" in result.output


def test_from_python_it_says_the_same(scored: Path) -> None:
    found = sporecount.score(scored / "season/A1", um_per_px=SCALE)
    row = rows(scored / "out/samples.csv")[0]
    assert str(found.summary["spores"]) == row["spores"]
    assert found.summary["tape_spores"] == pytest.approx(float(row["tape_spores"]), rel=1e-4)
    assert found.summary["sample"] == "A1"
    assert found.decision is not None
    assert found.decision.outcome == row["decision"]


def test_folders_of_the_same_name_are_told_apart() -> None:
    files = [PhotoFile(Path(f"/{place}/A1/{place}.jpg"), f"{place}.jpg") for place in "xy"]
    samples = by_folder(files, [Path("/x/A1"), Path("/y/A1")])
    assert [sample.name for sample in samples] == ["x/A1", "y/A1"]
    below = [PhotoFile(Path("/in/tray/A1/a.jpg"), "a.jpg"), PhotoFile(Path("/in/b.jpg"), "b.jpg")]
    assert [sample.name for sample in by_folder(below, [Path("/in")])] == ["tray/A1", "in"]


def test_the_columns_are_documented_and_no_others(scored: Path) -> None:
    page = (Path(__file__).parent.parent / "docs/score.md").read_text("utf-8")
    for name, left_out in (("samples.csv", ()), ("sample_detections.csv", COLUMNS)):
        part = page.split(f"## {name}\n")[1].split("\n## ")[0]
        first = [line.split("|")[1] for line in part.splitlines() if line.startswith("| `")]
        documented = {word for cell in first for word in re.findall(r"`([^`]+)`", cell)}
        if "p_class_0" in documented:
            documented |= {f"p_class_{load}" for load in range(6)}
        header = set(rows(scored / "out" / name)[0]) - set(left_out) - {"outline"}
        assert documented == header, name
