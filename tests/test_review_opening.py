"""Which photos a review is about, from folders, sheets, logs and trials."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from sporecount.cli import main
from sporecount.errors import SheetError
from sporecount.photo.digest import file_sha256
from sporecount.photo.read import read_photo
from sporecount.rearing.log import RearingLog
from sporecount.review.errors import ReviewError
from sporecount.review.opening import ScaleChoice, from_log, from_paths, from_trial
from sporecount.scale.calibration import Calibration


def picture(path: Path, level: int) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.full((20, 30, 3), level, np.uint8)).save(path)
    return path


def test_each_folder_is_a_tape_unless_the_sheet_says_otherwise(tmp_path: Path) -> None:
    for number, name in enumerate(("A1/a.png", "A1/b.png", "B2/c.png")):
        picture(tmp_path / name, number)
    plain = from_paths([tmp_path], ScaleChoice(um_per_px=0.5))
    assert plain.samples == {"A1/a.png": "A1", "A1/b.png": "A1", "B2/c.png": "B2"}
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("photo,sample,um_per_px\nA1/b.png,Rue,0.7\ngone.png,Rue,0.7\n", "utf-8")
    named = from_paths([tmp_path], ScaleChoice(), sheet=sheet)
    assert named.samples == {"A1/a.png": "A1", "A1/b.png": "Rue", "B2/c.png": "B2"}
    assert named.notes == ("in the sheet but not among the photos: gone.png",)
    photo = read_photo(named.files[1].path, named.files[1].name)
    assert named.scale_of(photo).um_per_px == 0.7
    assert plain.scale_of(photo).um_per_px == 0.5


def test_a_ruling_that_was_measured_counts_before_all_others(tmp_path: Path) -> None:
    photo = read_photo(picture(tmp_path / "a.png", 9))
    measured = Calibration(0.33, "drawn")
    shown = from_paths([tmp_path], ScaleChoice(measured=measured, um_per_px=0.5))
    assert shown.scale_of(photo) is measured


def test_photos_of_a_logged_sample_are_known_by_their_hashes(tmp_path: Path) -> None:
    first = picture(tmp_path / "photos/renamed.png", 1)
    picture(tmp_path / "photos/other.png", 2)
    log_file = tmp_path / "log.sqlite3"
    with RearingLog.open(log_file) as log:
        for spores, names in ((3, ("old.png",)), (4, ("old.png", "gone.png"))):
            listed = [
                {"photo": name, "sha256": sha, "um_per_px": 0.6}
                for name, sha in zip(names, (file_sha256(first), "ab" * 32), strict=False)
            ]
            log.record_sample({"sample": "Rue", "spores": spores}, photos=listed)
        log.record_sample({"sample": "Sage", "spores": 1}, photos=[])
    found = from_log(log_file, "Rue", [tmp_path / "photos"])
    assert [file.name for file in found.files] == ["renamed.png"]
    assert found.samples == {"renamed.png": "Rue"}
    assert found.notes == ("not in the folders: gone.png",)
    assert found.scale_of(read_photo(first, "renamed.png")).um_per_px == 0.6
    with pytest.raises(ReviewError, match="none of its photos is in the folders"):
        from_log(log_file, "Sage", [tmp_path / "photos"])


def test_a_trial_is_always_blind(tmp_path: Path) -> None:
    plan = tmp_path / "may.toml"
    made = CliRunner().invoke(
        main,
        ["trial", "new", str(plan), "--arm", "untreated", "--arm", "water", "--slides", "2"]
        + ["--photos-per-slide", "1"],
    )
    assert made.exit_code == 0, made.output
    sheet = next(tmp_path.glob("*photos*.csv"))
    rows = sheet.read_text("utf-8").splitlines()
    names = [row.split(",")[0] for row in rows[1:]]
    for number, name in enumerate(names):
        picture(tmp_path / "may-photos" / name, number)
    shown = from_trial(plan, ScaleChoice(um_per_px=0.5))
    assert shown.blind
    assert sorted(shown.samples) == sorted(names)
    assert len(set(shown.samples.values())) == 4
    assert {sample.split()[0] for sample in shown.samples.values()} == {"untreated", "water"}
    plan.write_text(plan.read_text("utf-8").replace("sheet =", "# sheet ="), "utf-8")
    with pytest.raises(SheetError):
        from_trial(plan)
