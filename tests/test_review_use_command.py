"""`count` and `score` with reviews: taken where they are, said, and left out when asked."""

from __future__ import annotations

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.counting import count_photo
from sporecount.photo.read import read_photo
from sporecount.review.actions import Action
from sporecount.review.record import FOLDER, Counted, ReviewFile
from sporecount.scale.calibration import Calibration

AT = "2026-05-01T10:00:00+02:00"


@pytest.fixture(autouse=True)
def tape(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with one photo of 6 spores of 12.5 by 8 um, at 0.5 um per pixel."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))
    rng = np.random.default_rng(2)
    pixels = np.full((260, 380, 3), (225, 222, 214), np.uint8)
    for place in range(6):
        centre = (70 + 120 * (place % 3), 70 + 120 * (place // 3))
        turn = float(rng.uniform(0, 180))
        cv2.ellipse(pixels, (centre, (25, 16), turn), (120, 75, 30), -1, cv2.LINE_AA)
        cv2.ellipse(pixels, (centre, (15, 8), turn), (190, 140, 80), -1, cv2.LINE_AA)
    noisy = cv2.GaussianBlur(pixels, (0, 0), 1.0) + rng.normal(0, 2.0, pixels.shape)
    Path("tape").mkdir()
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save("tape/a.png")


def review(folder: str, *actions: Action) -> None:
    photo = read_photo(Path("tape/a.png"))
    counted = count_photo(photo, Calibration(0.5, "given"))
    tool = Counted(counted.detections, 0.5, {})
    with ReviewFile(Path(folder), photo.name, photo.sha256, "Ann", tool) as file:
        for one in actions:
            file.append(Action(one.kind, one.targets, one.state, one.made, "Ann", AT))


def run(command: str, *more: str) -> Result:
    given = [command, "tape", "--um-per-px", "0.5", "--out", command, *more]
    return CliRunner().invoke(main, given)


def rows(path: str) -> list[dict[str, str]]:
    with Path(path).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_count_takes_the_review_beside_the_photo_and_says_so() -> None:
    assert run("count").exit_code == 0
    (before,) = rows("count/photos.csv")
    assert (before["review"], before["reviewed_by"]) == ("", "")
    picture = Path("count/marked/a.jpg").read_bytes()
    review(f"tape/{FOLDER}", Action("reject", ("t1",)), Action("close"))
    result = run("count")
    assert result.exit_code == 0, result.output
    assert "Reviewed by hand: Ann (1 of 1 photo, 1 in full)" in result.output
    (row,) = rows("count/photos.csv")
    assert (row["review"], row["reviewed_by"]) == ("in full", "Ann")
    assert int(row["spores"]) == int(before["spores"]) - 1
    assert row["spores_low"] == row["spores_high"] == row["spores"]
    assert f"the tool had counted {before['spores']}" in row["notes"]
    assert len(rows("count/detections.csv")) == int(row["spores"]) + int(row["fragment"])
    assert Path("count/marked/a.jpg").read_bytes() != picture


def test_count_takes_the_tool_s_own_result_when_asked() -> None:
    review(f"tape/{FOLDER}", Action("reject", ("t1",)))
    assert run("count").exit_code == 0
    (reviewed,) = rows("count/photos.csv")
    result = run("count", "--no-reviews")
    (own,) = rows("count/photos.csv")
    assert int(own["spores"]) == int(reviewed["spores"]) + 1
    assert own["reviewed_by"] == ""
    assert "Reviewed" not in result.output


def test_count_takes_reviews_of_another_folder() -> None:
    review("kept", Action("reject", ("t1",)), Action("reject", ("t2",)))
    assert run("count").exit_code == 0
    (own,) = rows("count/photos.csv")
    assert run("count", "--reviews", "kept").exit_code == 0
    (reviewed,) = rows("count/photos.csv")
    assert int(reviewed["spores"]) == int(own["spores"]) - 2
    both = run("count", "--reviews", "kept", "--no-reviews")
    assert both.exit_code == 2
    assert "--reviews or --no-reviews, not both" in both.output


def test_score_rests_on_the_reviewed_photos() -> None:
    assert run("score", "--tape-mm2", "0.1").exit_code == 0
    (own,) = rows("score/samples.csv")
    assert own["reviewed_by"] == ""
    review(f"tape/{FOLDER}", *(Action("reject", (f"t{n}",)) for n in (1, 2)), Action("close"))
    result = run("score", "--tape-mm2", "0.1")
    assert result.exit_code == 0, result.output
    (row,) = rows("score/samples.csv")
    assert int(row["spores"]) == int(own["spores"]) - 2
    assert row["spores_low"] == row["spores_high"] == row["spores"]
    assert row["reviewed_by"] == "Ann (1 of 1 photo, 1 in full)"
    assert "Reviewed by hand: Ann (1 of 1 photo, 1 in full)." in result.output
