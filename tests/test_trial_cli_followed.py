"""`sporecount trial report` with fields photographed before and after treatment."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sporecount.cli import main
from sporecount.cli.trial_results import FATES_FILE, FIELDS_FILE
from sporecount.render.trial import ARMS, write_trial_demo
from sporecount.trial.followed.table import FIELD_COLUMNS


def run(*arguments: object) -> Result:
    done = CliRunner().invoke(main, ["trial", "report", *map(str, arguments)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Draw water and bleach, a slide of each; one photo after is missing."""
    folder = tmp_path_factory.mktemp("demo")
    write_trial_demo(folder, [ARMS[1], ARMS[2]], slides=1, seed=3)
    photos = sorted((folder / "photos").iterdir())
    assert len(photos) == 8
    next(one for one in photos if one.name.endswith("2-after.jpg")).unlink()
    return folder


@pytest.fixture(scope="module")
def judged(demo: Path) -> Path:
    done = run(demo / "trial.toml", "--out", demo / "out", "--no-marked")
    assert done.exit_code == 0, done.output
    (demo / "said.txt").write_text(done.output, "utf-8")
    return demo


def test_each_field_has_its_row_and_one_that_is_left_out_says_why(judged: Path) -> None:
    table = rows(judged / "out" / FIELDS_FILE)
    assert list(table[0]) == list(FIELD_COLUMNS)
    assert len(table) == 4
    left = [row for row in table if row["status"] == "left out"]
    assert len(left) == 1
    assert left[0]["intact"] == ""  # no zero
    assert "no photo of it after" in left[0]["notes"]
    assert "no photo of it after" in (judged / "out" / "trial.html").read_text("utf-8")
    assert "left out" in (judged / "out" / "verdicts.txt").read_text("utf-8")
    for row in table:
        if row["status"] == "followed":
            assert abs(float(row["turn_deg"])) <= 2.1
            assert int(row["marks_agreeing"]) >= 8


def test_water_leaves_spores_and_bleach_does_not(judged: Path) -> None:
    arms = {row["arm"]: row for row in rows(judged / "out" / "arms.csv")}
    assert float(arms["water"]["followed_intact"]) > 0.8
    assert float(arms["hypochlorite"]["followed_intact"]) < 0.5


def test_photos_before_are_listed_and_do_not_count_for_the_slide(judged: Path) -> None:
    photos = rows(judged / "out" / "photos.csv")
    assert sum(row["photo"].endswith("before.jpg") for row in photos) == 4
    assert all(row["arm"] for row in photos)
    slides = {row["arm"]: row for row in rows(judged / "out" / "slides.csv")}
    assert sorted(int(row["photos"]) for row in slides.values()) == [1, 2]


def test_every_spore_and_its_fate_is_listed(judged: Path) -> None:
    spores = rows(judged / "out" / FATES_FILE)
    table = rows(judged / "out" / FIELDS_FILE)
    own = [row for row in spores if row["state_before"] == "intact" and row["fate"] == "gone"]
    assert len(own) == sum(int(row["gone"]) for row in table if row["gone"])
    page = (judged / "out" / "trial.html").read_text("utf-8")
    assert 'id="fates"' in page
    assert "Before and after" in page


def test_the_same_command_again_goes_on_from_what_is_kept(
    judged: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (judged / "out" / FIELDS_FILE).read_bytes()

    def never(*_: object) -> None:
        raise AssertionError("followed again")

    monkeypatch.setattr("sporecount.cli.trial_followed.field_row", never)
    done = run(judged / "trial.toml", "--out", judged / "out", "--no-marked")
    assert done.exit_code == 0
    assert (judged / "out" / FIELDS_FILE).read_bytes() == before


def test_counts_and_fates_made_by_hand_are_judged(judged: Path, tmp_path: Path) -> None:
    """The program's own tables, judged again without a photo."""
    for name in ("trial.toml", "eggs.csv", "feeding.csv"):
        shutil.copy(judged / name, tmp_path / name)
    text = (tmp_path / "trial.toml").read_text("utf-8")
    shutil.copy(judged / "out" / FIELDS_FILE, tmp_path / "fates.csv")
    assert 'followed = ""' in text
    text = text.replace('followed = ""', 'followed = "fates.csv"')
    (tmp_path / "trial.toml").write_text(text, "utf-8")
    done = run(
        tmp_path / "trial.toml", "--counts", judged / "out" / "slides.csv", "--out", tmp_path / "o"
    )
    assert done.exit_code == 0, done.output
    again = {row["arm"]: row for row in rows(tmp_path / "o" / "arms.csv")}
    first = {row["arm"]: row for row in rows(judged / "out" / "arms.csv")}
    for arm in ("water", "hypochlorite"):
        assert again[arm]["followed"] == first[arm]["followed"]
        assert again[arm]["followed_fields_left_out"] == first[arm]["followed_fields_left_out"]
