"""`sporecount watch`: photos drop into a folder one by one; nothing trips it."""

from __future__ import annotations

import csv
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.cli.arrivals import Arrivals
from sporecount.cli.batch import Batch
from sporecount.cli.sample_parts import SampleResult
from sporecount.cli.sample_work import SampleWork, layout_names
from sporecount.cli.scales import ScaleRequest
from sporecount.cli.wakes import wakes
from sporecount.cli.watch_screen import settled_line, state_lines
from sporecount.cli.watch_session import WatchSession
from sporecount.counting import count_photo
from sporecount.photo.read import read_photo
from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog
from sporecount.render.tape import TapePlan, render_tape
from sporecount.review.actions import Action
from sporecount.review.record import FOLDER as REVIEWS
from sporecount.review.record import Counted, ReviewFile
from sporecount.scale.calibration import Calibration
from sporecount.settings import DecisionSettings, Settings

SCALE = 0.9


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("photos")
    plan = TapePlan((2, 1), (420, 340), SCALE, 0.35, spores_per_mm2=150.0, turn_deg=1.0)
    paths = []
    for number, photo in enumerate(render_tape(plan, np.random.default_rng(7)).photos):
        paths.append(folder / f"{number}.png")
        Image.fromarray(photo.pixels).save(paths[-1])
    return paths


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def names(arrivals: Arrivals) -> list[str]:
    return [one.file.name for one in arrivals.look().whole]


def test_a_file_is_whole_once_it_has_not_moved_for_a_while(tmp_path: Path) -> None:
    clock = Clock()
    arrivals = Arrivals(tmp_path, 2.0, clock)
    assert names(arrivals) == []
    (tmp_path / "a.jpg").write_bytes(b"half")
    assert arrivals.look().unsettled == ("a.jpg",)
    clock.now += 1.5
    (tmp_path / "a.jpg").write_bytes(b"half and more")
    assert names(arrivals) == []
    clock.now += 1.5
    assert names(arrivals) == []
    clock.now += 1.0
    assert names(arrivals) == ["a.jpg"]


def test_what_lay_there_at_the_start_need_not_be_waited_for(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"old")
    os.utime(tmp_path / "a.jpg", (1, 1))
    assert names(Arrivals(tmp_path, 2.0)) == ["a.jpg"]


def test_a_renamed_file_need_not_wait_again(tmp_path: Path) -> None:
    clock = Clock()
    (tmp_path / "a.jpg").write_bytes(b"one")
    arrivals = Arrivals(tmp_path, 2.0, clock)
    arrivals.look()
    clock.now += 3
    assert names(arrivals) == ["a.jpg"]
    (tmp_path / "a.jpg").rename(tmp_path / "b.jpg")
    assert names(arrivals) == ["b.jpg"]


def test_the_oldest_of_files_with_the_same_bytes_stands_for_all(tmp_path: Path) -> None:
    for age, name in enumerate(("z.jpg", "copy of z.jpg", "other.jpg"), 1):
        (tmp_path / name).write_bytes(b"other" if name == "other.jpg" else b"same")
        os.utime(tmp_path / name, (age, age))
    look = Arrivals(tmp_path, 1.0).look()
    assert [one.file.name for one in look.whole] == ["other.jpg", "z.jpg"]
    assert look.repeats == {"copy of z.jpg": "z.jpg"}


def test_what_is_no_photo_is_passed_over(tmp_path: Path) -> None:
    for name in (".hidden.jpg", "note.txt", "a.jpg.part"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "below.jpg").mkdir()
    look = Arrivals(tmp_path, 0.0).look()
    assert (look.whole, look.unsettled) == ((), ())


@pytest.mark.parametrize("poll", [False, True])
def test_it_wakes_up_without_any_event(tmp_path: Path, poll: bool) -> None:
    ticks = wakes(tmp_path, 0.05, poll=poll)
    assert [next(ticks) for _ in range(3)] == [None] * 3


def test_without_reports_of_changes_time_alone_tells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(*_: object, **__: object) -> None:
        raise OSError("no watches left")

    monkeypatch.setattr("watchfiles.watch", none_left)
    ticks = wakes(tmp_path, 0.01)
    assert [next(ticks) for _ in range(3)] == [None] * 3


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def arguments(folder: Path, *further: object) -> list[str]:
    given = ["watch", folder / "A1", "--um-per-px", SCALE, "--out", folder / "out"]
    given += ["--log", folder / "log.sqlite3", "--settle", 0.1, *further]
    return [str(one) for one in given]


@pytest.fixture
def finish(tmp_path: Path) -> Callable[..., Result]:
    (tmp_path / "A1").mkdir()

    def run(*further: object) -> Result:
        return CliRunner().invoke(main, arguments(tmp_path, "--finish", *further))

    return run


def logged(folder: Path) -> list[tuple[int, int | None]]:
    """Return the number of photos and of spores of each result in the log."""
    with RearingLog.open(folder / "log.sqlite3", create=False) as log:
        kept = log.rows()
    assert len(kept["samples"]) <= 1
    hashes = [row["content_sha256"] for row in kept["results"]]
    assert len(set(hashes)) == len(hashes)
    return [(row["photos"], row["spores"]) for row in kept["results"]]  # type: ignore[misc]


def test_each_photo_is_scored_and_recorded_and_a_restart_adds_nothing(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    for photo in photos:
        shutil.copy(photo, tmp_path / "A1")
    result = finish()
    assert result.exit_code == 0, result.output
    before = logged(tmp_path)
    assert [count for count, _ in before] == [1, 2]
    said = [line.split(",")[0] for line in result.output.splitlines() if " mm2: " in line]
    assert said == ["1 photo", "2 photos"]
    tables = [tmp_path / "out" / name for name in ("samples.csv", "sample_detections.csv")]
    first = [table.read_bytes() for table in tables]
    assert finish().exit_code == 0
    assert logged(tmp_path) == before
    assert [table.read_bytes() for table in tables] == first


def test_it_says_the_same_as_score(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    for photo in photos:
        shutil.copy(photo, tmp_path / "A1")
    finish()
    CliRunner().invoke(
        main,
        ["score", str(tmp_path / "A1"), "--um-per-px", str(SCALE), "--out", str(tmp_path / "s")],
    )
    for name in ("samples.csv", "sample_detections.csv"):
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "s" / name).read_bytes()


def test_it_rests_on_what_people_said_of_a_photo_as_score_does(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    shutil.copy(photos[0], tmp_path / "A1")
    finish()
    (own,) = rows(tmp_path / "out/samples.csv")
    photo = read_photo(tmp_path / "A1" / photos[0].name)
    tool = Counted(count_photo(photo, Calibration(SCALE, "given")).detections, SCALE, {})
    folder = tmp_path / "A1" / REVIEWS
    with ReviewFile(folder, photo.name, photo.sha256, "Ann", tool) as file:
        file.append(Action("reject", ("t1",), who="Ann", at="2026-05-01T10:00:00+02:00"))
    result = finish()
    (reviewed,) = rows(tmp_path / "out/samples.csv")
    assert int(reviewed["spores"]) == int(own["spores"]) - 1
    assert "Reviewed by hand: Ann" in result.output
    finish("--no-reviews")
    assert rows(tmp_path / "out/samples.csv")[0]["spores"] == own["spores"]


def without_dates(page: Path) -> str:
    return re.sub(r"20\d\d-\d\d-\d\d( \d\d:\d\d UTC)?", "DATE", page.read_text("utf-8"))


def test_the_closed_watch_leaves_the_same_report_as_score(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    for photo in photos:
        shutil.copy(photo, tmp_path / "A1")
    result = finish()
    page = tmp_path / "out/reports/A1.html"
    assert f"Report to read and print: {page}" in result.output
    CliRunner().invoke(
        main,
        ["score", str(tmp_path / "A1"), "--um-per-px", str(SCALE), "--out", str(tmp_path / "s")],
    )
    assert without_dates(page) == without_dates(tmp_path / "s/reports/A1.html")
    stamp = page.stat().st_mtime_ns
    assert finish().exit_code == 0
    assert page.stat().st_mtime_ns == stamp


def test_a_report_is_there_from_when_it_is_settled_and_goes_when_it_no_longer_is(
    photos: list[Path], tmp_path: Path
) -> None:
    folder, page = tmp_path / "A1", tmp_path / "out/reports/A1.html"
    folder.mkdir()
    batch = Batch(tmp_path / "out", ScaleRequest(SCALE, None, None, {}), few_fields(1), {})
    work = SampleWork(batch, {"A1": 100.0}, layout_names(["A1"]), keep_views=True)
    shutil.copy(photos[0], folder / "a.png")
    session = WatchSession(
        "A1", Arrivals(folder, 0.0), work, log_file=None, marked=False, say=lambda _: None
    )
    session.look()
    assert session.result is not None
    assert session.result.is_settled
    assert page.exists()
    strict = replace(work, batch=replace(batch, settings=few_fields(9)))
    later = WatchSession(
        "A1", Arrivals(folder, 0.0), strict, log_file=None, marked=False, say=lambda _: None
    )
    later.look()
    assert later.result is not None
    assert not later.result.is_settled
    assert not page.exists()
    assert later.finish() is not None
    assert page.exists()


def few_fields(least: int) -> Settings:
    """Return settings by which the photos of these tests are heavy once so many are there."""
    return Settings(decision=DecisionSettings(risk_call=0.4, risk_release=0.4, least_fields=least))


def test_a_result_that_the_log_does_not_take_gives_1(
    finish: Callable[..., Result],
    photos: list[Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shutil.copy(photos[0], tmp_path / "A1")

    def refused(*_: object, **__: object) -> None:
        raise LogError("adult 'nobody'", "the log has none", "add it first")

    monkeypatch.setattr(RearingLog, "record_sample", refused)
    result = finish()
    assert result.exit_code == 1
    assert "Not in the log: sample A1: adult 'nobody'" in result.output
    assert (tmp_path / "out/reports/A1.html").exists()


def test_copies_halves_and_renames_change_no_count(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    shutil.copy(photos[0], tmp_path / "A1/a.png")
    (tmp_path / "A1/half.png").write_bytes(photos[1].read_bytes()[:5000])
    result = finish()
    assert result.exit_code == 1
    assert "half.png cannot be used unless it changes" in result.output
    (row,) = rows(tmp_path / "out/samples.csv")
    assert (row["photos"], row["photos_used"]) == ("2", "1")
    spores = row["spores"]
    shutil.copy(photos[0], tmp_path / "A1/copy.png")
    (tmp_path / "A1/half.png").unlink()
    result = finish()
    assert "copy.png is the same photo as a.png" in result.output
    (row,) = rows(tmp_path / "out/samples.csv")
    assert (row["photos"], row["spores"]) == ("1", spores)
    (tmp_path / "A1/a.png").rename(tmp_path / "A1/b.png")
    (row,) = rows(tmp_path / "out/samples.csv") if finish().exit_code == 0 else [{}]
    assert (row["photos"], row["spores"]) == ("1", spores)


def test_files_that_nobody_can_read_are_not_recorded(
    finish: Callable[..., Result], photos: list[Path], tmp_path: Path
) -> None:
    (tmp_path / "A1/half.png").write_bytes(photos[1].read_bytes()[:5000])
    assert finish().exit_code == 1
    assert rows(tmp_path / "out/samples.csv")[0]["status"] == "unreadable"
    assert logged(tmp_path) == []


def test_an_empty_folder_gives_3_and_no_table(
    finish: Callable[..., Result], tmp_path: Path
) -> None:
    result = finish()
    assert result.exit_code == 3
    assert "No photo came into" in result.output
    assert not (tmp_path / "out/samples.csv").exists()


def test_a_photo_without_a_scale_is_said(photos: list[Path], tmp_path: Path) -> None:
    shutil.copytree(photos[0].parent, tmp_path / "A1")
    given = ["watch", str(tmp_path / "A1"), "--out", str(tmp_path / "out"), "--finish"]
    result = CliRunner().invoke(main, [*given, "--settle", "0"])
    assert result.exit_code == 1
    assert "its scale is unknown" in result.output
    assert rows(tmp_path / "out/samples.csv")[0]["decision"] == ""


def test_an_unknown_saved_scale_is_said_before_anything(finish: Callable[..., Result]) -> None:
    result = finish("--calibration", "nobody saved this")
    assert result.exit_code == 3
    assert result.output.startswith("Error: ")


def wait_for(condition: Callable[[], bool], process: subprocess.Popen[str]) -> None:
    until = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < until, "it never came"
        assert process.poll() is None, process.communicate()
        time.sleep(0.05)


def test_it_watches_until_it_is_stopped_and_follows_renames(
    photos: list[Path], tmp_path: Path
) -> None:
    (tmp_path / "A1").mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "sporecount", *arguments(tmp_path)],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    table = tmp_path / "out/photos.csv"

    def shown() -> list[str]:
        return [row["photo"] for row in rows(table)] if table.exists() else []

    try:
        shutil.copy(photos[0], tmp_path / "A1/a.png")
        wait_for(lambda: shown() == ["a.png"], process)
        content = photos[1].read_bytes()
        with (tmp_path / "A1/b.png").open("wb") as slow:
            for at in range(0, len(content), len(content) // 6 + 1):
                slow.write(content[at : at + len(content) // 6 + 1])
                slow.flush()
                time.sleep(0.03)
        wait_for(lambda: shown() == ["a.png", "b.png"], process)
        (tmp_path / "A1/a.png").rename(tmp_path / "A1/c.png")
        wait_for(lambda: shown() == ["b.png", "c.png"], process)
    finally:
        process.send_signal(signal.SIGINT)
        said, _ = process.communicate(timeout=60)
    assert process.returncode == 0, said
    assert "a.png is called c.png now" in said
    assert "Stopped. The same command goes on from here." in said
    assert "a person decides" in said
    assert [photo for photo, _ in logged(tmp_path)][-1] == 2


def test_a_folder_that_goes_away_for_a_while_changes_nothing(
    photos: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, away = tmp_path / "A1", tmp_path / "away"
    folder.mkdir()
    shutil.copy(photos[0], folder)
    said: list[str] = []

    def turns(*_: object, **__: object) -> Iterator[None]:
        yield
        time.sleep(0.15)
        yield  # counted by now
        said.append((tmp_path / "out/samples.csv").read_text("utf-8"))
        folder.rename(away)
        yield
        yield
        said.append((tmp_path / "out/samples.csv").read_text("utf-8"))
        away.rename(folder)
        yield
        raise KeyboardInterrupt

    monkeypatch.setattr("sporecount.cli.watch_run.wakes", turns)
    result = CliRunner().invoke(main, arguments(tmp_path))
    assert result.exit_code == 0, result.output
    assert result.output.count("the folder cannot be listed") == 1
    assert said[0] == said[1] == (tmp_path / "out/samples.csv").read_text("utf-8")
    assert [count for count, _ in logged(tmp_path)] == [1]


def test_the_state_says_whether_it_is_settled() -> None:
    row = {
        "sample": "A1", "status": "counted", "photos": 5, "photos_used": 4,
        "examined_mm2": 12.0, "tape_mm2": 100.0,
        "spores": 0, "tape_spores": 0.0, "tape_low": 0, "tape_high": 30, "decision": "clear",
        "more_fields": 0, "p_class_0": 0.97, "p_class_1": 0.03, "reason": "",
    }  # fmt: skip
    clear = SampleResult(row, [], "", "Clear\nThe chance is 3 %.\nUsual choices:\n- x")
    assert settled_line(clear) == "Settled: clear."
    lines = state_lines(clear, {})
    assert "SETTLED: CLEAR." in lines
    assert lines[0].startswith("5 photos (4 used), 12 of 100 mm2: 0 spores;")
    assert lines[1:3] == ["class      0      1", "chance  97 %    3 %"]
    assert "The chance is 3 %." in lines
    assert "- x" not in lines
    hold = {**row, "decision": "hold and sample again"}
    more = SampleResult({**hold, "more_fields": 4}, [], "", "")
    assert settled_line(more) == "Not settled: about 4 more photos."
    never = SampleResult({**hold, "more_fields": None}, [], "", "")
    assert "would not settle it" in settled_line(never)
