"""`sporecount trial report`: from photos and sheet, or from counts, to slides, arms, verdicts."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import batch as cli_batch
from sporecount.cli import main, trial_slides
from sporecount.cli.trial_results import TABLES
from sporecount.render.tape import TapePlan, render_tape
from sporecount.trial.tables import ARM_COLUMNS, SLIDE_REQUIRED

SCALE = 0.9
TRIAL = """name = "test"
sheet = "photos.csv"
{more}
[[arms]]
name = "water"
agent = "water"
[[arms]]
name = "soak"
agent = "hypochlorite"
[[arms]]
name = "lamp"
agent = "uv-c"
"""
SHEET = (
    "photo,slide,who\nw1-a.jpg,HKT,R.\nw1-b.png,HKT,R.\nw2.png,JJX,\ns1.png,PNC,\ns2.png,TRF,\n"
    "gone.jpg,TRF,\nl1.png,XXX,\n"
)
KEY = (
    "code,arm,slide\nHKT,water,w1\nJJX,water,w2\nPNC,soak,s1\nTRF,soak,s2\nXXX,lamp,l1\n"
    "QQQ,lamp,l2\n"
)


def run(*arguments: object) -> Result:
    done = CliRunner().invoke(main, ["trial", "report", *map(str, arguments)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception  # a fault, which must not pass for exit code 1
    return done


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Draw two arms of two slides: one with two photos that overlap, one that is all dark."""
    folder = tmp_path_factory.mktemp("trial")
    (folder / "photos").mkdir()
    plan = TapePlan((2, 1), (460, 380), SCALE, 0.35, spores_per_mm2=150.0, turn_deg=1.0, uneven=0.5)
    pictures = [photo.pixels for photo in render_tape(plan, np.random.default_rng(7)).photos]
    pictures += [render_tape(plan, np.random.default_rng(8)).photos[0].pixels]
    pictures += [pictures[-1][::-1], np.full((240, 300, 3), 12, np.uint8), pictures[-1][:, ::-1]]
    for name, pixels in zip(("w1-a", "w1-b", "w2", "s1", "s2", "l1"), pictures, strict=True):
        Image.fromarray(np.ascontiguousarray(pixels)).save(folder / f"photos/{name}.png")
    (folder / "photos.csv").write_text(SHEET, "utf-8")
    (folder / "key.csv").write_text(KEY, "utf-8")
    (folder / "t.toml").write_text(TRIAL.format(more='photos = "photos"\nkey = "key.csv"'), "utf-8")
    return folder


def command(folder: Path, *further: object) -> list[object]:
    given = [folder / "t.toml", "--um-per-px", SCALE, "--jobs", 1, "--no-marked"]
    return [*given, "--out", folder / "out", *further]


@pytest.fixture(scope="module")
def judged(drawn: Path) -> Path:
    done = run(*command(drawn))
    assert done.exit_code == 1, done.output  # one photo is too dark
    (drawn / "said.txt").write_text(done.output, "utf-8")
    return drawn


@pytest.fixture
def copy(drawn: Path, tmp_path: Path) -> Path:
    """Return a copy of the trial without results, to be spoilt."""
    return Path(
        shutil.copytree(drawn, tmp_path / "copy", ignore=shutil.ignore_patterns("out", "said.txt"))
    )


def test_columns_that_are_promised_come_first_and_in_order(judged: Path) -> None:
    arms, slides = rows(judged / "out/arms.csv"), rows(judged / "out/slides.csv")
    assert tuple(arms[0])[: len(ARM_COLUMNS)] == ARM_COLUMNS
    assert tuple(slides[0])[:5] == SLIDE_REQUIRED
    assert [row["arm"] for row in arms] == ["water", "soak", "lamp"]


def test_photos_are_decoded_and_put_together(judged: Path) -> None:
    slides = {row["slide"]: row for row in rows(judged / "out/slides.csv")}
    assert {name: row["arm"] for name, row in slides.items()} == {
        "w1": "water",
        "w2": "water",
        "s1": "soak",
        "s2": "soak",
        "l1": "lamp",
    }
    assert slides["w1"]["code"] == "HKT"
    assert slides["w1"]["photos"] == slides["w1"]["photos_used"] == "2"
    photos = [row for row in rows(judged / "out/photos.csv") if row["slide"] == "w1"]
    assert [row["who"] for row in photos] == ["R.", "R."]
    spores = int(slides["w1"]["intact"]) + int(slides["w1"]["damaged"])
    assert 0 < spores < sum(int(row["spores"]) for row in photos)
    found = [row for row in rows(judged / "out/trial_detections.csv") if row["slide"] == "w1"]
    assert sum(row["state"] in ("intact", "damaged") for row in found) == spores
    assert {row["photo"] for row in found} == {"w1-a.png", "w1-b.png"}


def test_a_slide_that_nobody_could_count_has_a_row_and_no_count(judged: Path) -> None:
    dark = next(row for row in rows(judged / "out/slides.csv") if row["slide"] == "s2")
    assert dark["status"] == "refused"
    assert dark["intact"] == dark["broken"] == ""
    assert "too dark" in dark["notes"]
    soak = next(row for row in rows(judged / "out/arms.csv") if row["arm"] == "soak")
    assert soak["slides"] == "1"


def test_what_is_missing_is_said(judged: Path) -> None:
    said = (judged / "said.txt").read_text("utf-8")
    assert "Note: in the sheet but not among the photos: gone.jpg" in said
    assert "Note: codes of the key without any photo: QQQ" in said
    assert "slide 1/5 w1 of water: " in said
    words = (judged / "out/verdicts.txt").read_text("utf-8")
    assert words.strip() in said
    assert "failed" not in words.split("soak")[1].split("lamp")[0].replace("that it failed", "")


def test_the_record_of_the_run_holds_photos_and_options(judged: Path) -> None:
    record = json.loads((judged / "out/run.json").read_text("utf-8"))
    assert record["ended"]
    assert record["options"]["um_per_px"] == SCALE
    assert len(record["photos"]) == 6


def test_a_run_that_was_stopped_goes_on_where_it_was(
    copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = trial_slides.assemble
    calls: list[int] = []

    def stopped(*given: object, **named: object) -> object:
        calls.append(1)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return real(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(trial_slides, "assemble", stopped)
    first = run(*command(copy))
    assert first.exit_code == 130
    assert "the same command goes on from there" in first.output
    assert not (copy / "out/arms.csv").exists()

    def never(*given: object) -> object:
        raise AssertionError("a finished photo was counted again")

    monkeypatch.setattr(cli_batch, "count_photo", never)
    assert run(*command(copy)).exit_code == 1
    assert len(calls) == 6  # the first slide is kept; the one that was stopped is done again
    # A third run works on nothing, and says the same.
    kept = [(copy / "out" / name).read_bytes() for name in ("arms.csv", "slides.csv")]
    assert run(*command(copy)).exit_code == 1
    assert len(calls) == 6
    assert kept == [(copy / "out" / name).read_bytes() for name in ("arms.csv", "slides.csv")]


Spoil = Callable[[Path], object]


def write(name: str, text: str) -> Spoil:
    return lambda folder: (folder / name).write_text(text, "utf-8")


@pytest.mark.parametrize(
    ("spoil", "code", "said"),
    [
        (lambda f: (f / "photos.csv").unlink(), 2, "photos.csv: it cannot be opened"),
        (lambda f: (f / "key.csv").unlink(), 2, "key.csv: it cannot be opened"),
        (lambda f: (f / "t.toml").unlink(), 2, "t.toml: it cannot be read"),
        (lambda f: shutil.rmtree(f / "photos"), 3, "photos: there is no such file or folder"),
        (write("photos.csv", SHEET.replace("JJX", "JJC")), 2, "'JJC': the key has no such code"),
        (
            write("key.csv", KEY.replace("soak", "soap")),
            2,
            "arm 'soap': the trial file has no such",
        ),
        (write("key.csv", KEY.replace("w2", "w1")), 2, "slide w1 of arm water: it is there twice"),
        (
            write("t.toml", TRIAL.format(more="slides = 3")),
            2,
            "t.toml, line 3, slides: there is no",
        ),
        (write("t.toml", TRIAL.replace("sheet", "# sheet").format(more="")), 2, "names no sheet"),
        (write("t.toml", TRIAL.format(more='photos = "photos"')), 2, "there is no arm"),
        (
            write("photos.csv", "photo,slide\nx.jpg,HKT\n"),
            2,
            "names no slide for any of the photos",
        ),
    ],
)
def test_what_is_wrong_is_one_line_and_nothing_is_written(
    copy: Path, spoil: Spoil, code: int, said: str
) -> None:
    spoil(copy)
    done = run(*command(copy))
    assert done.exit_code == code, done.output
    lines = [line for line in done.output.splitlines() if not line.startswith("Note: ")]
    assert len(lines) == 1
    assert said in lines[0]
    assert not (copy / "out").exists()


def test_without_a_folder_photos_are_looked_for_beside_the_sheet(copy: Path) -> None:
    (copy / "t.toml").write_text(TRIAL.format(more='key = "key.csv"'), "utf-8")
    assert "give their folder with --photos" in run(*command(copy)).output.casefold()
    for photo in (copy / "photos").iterdir():
        shutil.move(photo, copy)
    (copy / "other.png").write_bytes(b"not in the sheet")
    done = run(*command(copy))
    assert done.exit_code == 1, done.output
    assert len(rows(copy / "out/slides.csv")) == 5


def test_all_slides_refused_is_no_result(copy: Path) -> None:
    for photo in (copy / "photos").iterdir():
        shutil.copy(copy / "photos/s2.png", photo) if photo.name != "s2.png" else None
    done = run(*command(copy))
    assert done.exit_code == 1
    assert "none of the slides could be counted, so nothing is judged" in done.output
    assert {row["status"] for row in rows(copy / "out/slides.csv")} == {"refused"}
    (copy / "out/arms.csv").write_text("of an earlier run", "utf-8")
    assert run(*command(copy)).exit_code == 1
    assert not (copy / "out/arms.csv").exists()
    assert len(rows(copy / "out/photos.csv")) == 6
    assert not (copy / "out/arms.csv").exists()


def test_results_of_something_else_are_not_written_over(copy: Path) -> None:
    (copy / "out").mkdir()
    for name in TABLES:
        (copy / "out" / name).write_text("mine")
        done = run(*command(copy))
        assert done.exit_code == 2
        assert f"{name} is there already and not from an earlier run" in done.output
        assert (copy / "out" / name).read_text() == "mine"
        (copy / "out" / name).unlink()
    assert run(*command(copy)[:-1], copy / "photos").exit_code == 2


def test_tables_that_are_read_are_never_written_over(copy: Path) -> None:
    (copy / "run.json").write_text('{"program": "sporecount"}', "utf-8")
    done = run(*command(copy)[:-1], copy)
    assert done.exit_code == 2
    assert "photos.csv is read, and would be written over" in done.output
    assert (copy / "photos.csv").read_text("utf-8") == SHEET


COUNTS = "Arm;Slide;Intact;Damaged;Fragment\n" + "".join(
    f"{arm};{slide};{50 - broken - slide};{broken};0\n"
    for arm, broken in (("WATER", 2), ("soak", 30), ("lamp", 2))
    for slide in range(1, 5)
)


def test_counts_made_by_hand_are_judged(copy: Path) -> None:
    (copy / "counts.csv").write_text(COUNTS, "utf-8")
    done = run(copy / "t.toml", "--counts", copy / "counts.csv", "--out", copy / "out")
    assert done.exit_code == 0, done.output
    arms = {row["arm"]: row for row in rows(copy / "out/arms.csv")}
    assert list(arms) == ["water", "soak", "lamp"]
    assert arms["soak"]["verdict"] == "breaks"
    assert arms["lamp"]["verdict"] == "looks don't settle this"
    assert arms["water"]["effect"] == ""
    # By hand: mean of 30 / (50 - slide) over four slides.
    by_hand = np.mean([30 / (50 - slide) for slide in range(1, 5)])
    assert float(arms["soak"]["broken_share"]) == pytest.approx(by_hand, abs=1e-5)
    assert len(rows(copy / "out/slides.csv")) == 12
    again = run(copy / "t.toml", "--counts", copy / "counts.csv", "--out", copy / "out")
    assert again.exit_code == 0


def test_the_table_of_slides_judged_again_says_the_same(judged: Path, tmp_path: Path) -> None:
    slides = judged / "out/slides.csv"
    done = run(judged / "t.toml", "--counts", slides, "--out", tmp_path / "again")
    assert done.exit_code == 0, done.output
    first, again = (rows(folder / "arms.csv") for folder in (judged / "out", tmp_path / "again"))
    assert [row["verdict"] for row in first] == [row["verdict"] for row in again]
    for one, other in zip(first, again, strict=True):
        assert float(one["broken_share"]) == pytest.approx(float(other["broken_share"]), abs=1e-4)


def test_counts_of_an_unknown_arm_are_refused(copy: Path) -> None:
    (copy / "counts.csv").write_text(COUNTS.replace("soak", "soap"), "utf-8")
    done = run(copy / "t.toml", "--counts", copy / "counts.csv", "--out", copy / "out")
    assert done.exit_code == 2
    assert "counts.csv, arm 'soap': the trial file has no such arm. Write \"soak\"" in done.output


def test_eggs_and_feeding_are_taken_from_the_trial_file(copy: Path) -> None:
    more = 'eggs = "eggs.csv"\nfeeding = "fed.csv"'
    (copy / "t.toml").write_text(TRIAL.format(more=more), "utf-8")
    (copy / "counts.csv").write_text(COUNTS, "utf-8")
    eggs = [
        f"{arm},{n},40,{n + 30 - less}"
        for n in range(4)
        for arm, less in (("water", 0), ("soak", 20))
    ]
    (copy / "eggs.csv").write_text("arm,batch,dipped,hatched\n" + "\n".join(eggs), "utf-8")
    (copy / "fed.csv").write_text(
        "arm,fed,adults,infected\nwater,20,18,15\nlamp,20,19,0\n", "utf-8"
    )
    done = run(copy / "t.toml", "--counts", copy / "counts.csv", "--out", copy / "out")
    assert done.exit_code == 0, done.output
    arms = {row["arm"]: row for row in rows(copy / "out/arms.csv")}
    assert (arms["soak"]["eggs_dipped"], arms["soak"]["eggs_hatched"]) == ("160", "46")
    assert arms["lamp"]["infected"] == "0"
    (copy / "eggs.csv").unlink()
    missing = run(copy / "t.toml", "--counts", copy / "counts.csv", "--out", copy / "out")
    assert missing.exit_code == 2
    assert "eggs.csv: it cannot be opened" in missing.output


def test_an_arm_without_slides_is_said_and_judged_as_open(copy: Path) -> None:
    (copy / "photos.csv").write_text(SHEET.replace("l1.png,XXX,\n", ""), "utf-8")
    done = run(*command(copy))
    assert done.exit_code == 1
    assert "Note: arms without any slide: lamp" in done.output
    arms = {row["arm"]: row for row in rows(copy / "out/arms.csv")}
    assert arms["lamp"]["slides"] == "0"
    assert arms["lamp"]["broken_share"] == ""
