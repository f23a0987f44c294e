"""Blind counts, and how well people and the tool agree."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from sporecount.cli import main
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.review.actions import Action
from sporecount.review.errors import ReviewError
from sporecount.review.own import load_microscopes
from sporecount.review.raters import (
    TOOL,
    CountBy,
    agreement,
    agreement_table,
    counts_by_people,
    with_tool,
)
from sporecount.review.record import FOLDER, Counted, ReviewFile, find_reviews, read_review
from sporecount.review.tally import FOLDER as TALLIES
from sporecount.review.tally import Tally
from sporecount.scale.saved import CONFIG_DIR_VARIABLE

SHA = "ab" * 32


def by(rater: str, counts: list[int], *, blind: bool = True) -> list[CountBy]:
    return [CountBy(f"{n}.jpg", f"{n}", rater, count, blind) for n, count in enumerate(counts)]


def test_marks_are_kept_and_nothing_of_the_tool_is_shown(tmp_path: Path) -> None:
    tool = {"status": "counted", "spores": 7, "load_class": 2, "notes": "much else"}
    with Tally(tmp_path, "a.jpg", SHA, "Ann", 0.5, tool) as tally:
        assert tally.spores == 0
        one = tally.mark(10, 10)
        two = tally.mark(40, 10, "damaged")
        tally.mark(80, 10, "fragment")
        assert tally.spores == 2
        tally.unmark(one)
        tally.undo()
        tally.set_state(two, "fragment")
        assert tally.spores == 1
        tally.undo()
        tally.redo()
        with pytest.raises(ReviewError, match="this one is marked already"):
            tally.mark(12, 10)
        assert not tally.is_finished
    with Tally(tmp_path, "a.jpg", SHA, "Ann", 0.5) as again:
        assert again.spores == 1
        again.finish()
        again.go_on()
        again.finish()
        assert again.is_finished
        assert all(row["source"] == "person" for row in again.ledger.rows.values())
    (path,) = find_reviews(tmp_path, SHA)
    assert {(one.rater, one.spores) for one in counts_by_people([read_review(path)])} == {
        ("Ann", 1),
        (TOOL, 7),
    }


def test_a_place_that_was_unmarked_can_be_marked_again(tmp_path: Path) -> None:
    with Tally(tmp_path, "a.jpg", SHA, "Ann", 0.5) as tally:
        tally.unmark(tally.mark(10, 10))
        assert tally.mark(10, 10) == "p2"
        assert tally.spores == 1


def test_unfinished_counts_are_not_compared(tmp_path: Path) -> None:
    with Tally(tmp_path, "a.jpg", SHA, "Ann", 0.5) as tally:
        tally.mark(10, 10)
    assert counts_by_people([read_review(path) for path in find_reviews(tmp_path, SHA)]) == []


def test_a_blind_count_goes_before_a_review(tmp_path: Path) -> None:
    with Tally(tmp_path / TALLIES, "a.jpg", SHA, "Ann", 0.5) as tally:
        tally.mark(10, 10)
        tally.finish()
    counted = Counted(empty_detections(), 0.5, {"summary": {"status": "counted", "spores": 0}})
    with ReviewFile(tmp_path / FOLDER, "a.jpg", SHA, "Ann", counted) as file:
        file.append(Action("close"))
    paths = [*find_reviews(tmp_path / FOLDER, SHA), *find_reviews(tmp_path / TALLIES, SHA)]
    found = {one.rater: one for one in counts_by_people(map(read_review, paths))}
    assert (found["Ann"].spores, found["Ann"].is_blind) == (1, True)
    assert found[TOOL].spores == 0


def test_figures_of_two_raters() -> None:
    ann, ben = [0, 1, 5, 30, 150, 1200], [0, 2, 4, 33, 90, 1300]
    (pair,) = agreement([*by("Ann", ann), *by("Ben", ben)])
    assert (pair.first, pair.second, len(pair.photos)) == ("Ann", "Ben", 6)
    assert pair.same_class == 4
    # Classes 0 1 2 3 4 5 and 0 2 2 3 3 5: 2 steps apart in all. Each of 6 photos; expected by
    # chance: mean of |i - j| over all 36 pairs, 71 / 36.
    apart = sum(abs(i - j) for i in range(6) for j in (0, 2, 2, 3, 3, 5)) / 36
    assert pair.kappa.kappa == pytest.approx(1 - (2 / 6) / apart)
    assert pair.limits.bias == pytest.approx(np.mean(np.subtract(ben, ann)))
    assert pair.ratio is not None
    logs = np.log(np.divide(ben[1:], ann[1:]))
    assert pair.ratio[1] == pytest.approx(np.exp(logs.mean()))
    text = pair.as_text()
    assert "Load class: the same on 4 of 6; weighted kappa 0.8" in text
    assert "Count: Ben counts" in text
    assert "6 photos tell little" in text
    assert "With the tool's marks in view" not in text


def test_people_with_the_marks_in_view_are_said_to_agree_too_well() -> None:
    (pair,) = agreement([*by("Ann", [1, 5, 9], blind=False), *by(TOOL, [1, 4, 9])])
    assert pair.second == TOOL
    assert not pair.is_blind
    assert "With the tool's marks in view" in pair.as_text()


def test_one_class_only_says_nothing_and_equal_counts_say_so() -> None:
    (pair,) = agreement([*by("Ann", [0, 0, 0, 0]), *by("Ben", [0, 0, 0, 0])])
    text = pair.as_text()
    assert "all are of one class" in text
    assert "there is none" in text
    assert "Ben counts the same on average" in text


def test_each_two_are_compared_and_too_few_photos_are_refused() -> None:
    counts = [*by("Ann", [1, 2, 3]), *by("Ben", [1, 2, 4]), *by("Cy", [5]), *by(TOOL, [1, 1, 1])]
    pairs = [(pair.first, pair.second) for pair in agreement(counts)]
    assert pairs == [("Ann", "Ben"), ("Ann", TOOL), ("Ben", TOOL)]
    assert list(agreement_table(agreement(counts))["photos"]) == [3, 3, 3]
    with pytest.raises(ReviewError, match="no two raters counted 3 of the same photos"):
        agreement([*by("Ann", [1, 2]), *by("Ben", [1, 2])])


def test_the_tools_counts_can_come_from_results() -> None:
    rows = [
        {"photo": "0.jpg", "sha256": "0", "spores": "9", "review": ""},
        {"photo": "1.jpg", "sha256": "1", "spores": "", "review": ""},
        {"photo": "2.jpg", "sha256": "2", "spores": "5", "review": "in full"},
    ]
    found = with_tool([*by("Ann", [1, 2, 3]), *by(TOOL, [7, 8])], rows)
    assert {one.sha256: one.spores for one in found if one.rater == TOOL} == {"0": 9, "1": 8}


def detections(number: int) -> pd.DataFrame:
    table = empty_detections().reindex(range(number))
    table["x_px"], table["y_px"], table["confidence"] = 40.0 * np.arange(number), 9.0, 0.9
    table["state"] = ["intact", "damaged"] * (number // 2) + ["intact"] * (number % 2)
    table["outline_px"] = pd.Series([np.zeros((0, 2)) for _ in range(number)], dtype=object)
    return table.astype(COLUMNS)


def review(
    folder: Path,
    number: int,
    um_per_px: float = 0.6,
    *,
    closed: bool = True,
    adjusted: bool = False,
) -> None:
    """Keep a review of a photo on which the tool counts one too many and misses one."""
    summary = {"status": "counted", "spores": 14, "examined_mm2": 0.5}
    facts = {"summary": summary, "adjusted": adjusted}
    counted = Counted(detections(14), um_per_px, facts)
    with ReviewFile(folder / FOLDER, f"{number}.png", f"{number:064d}", "Ann", counted) as file:
        file.append(Action("reject", ("t1",)))
        made = {"id": "p1", "x_px": 900.0, "y_px": 300.0, "state": "damaged"}
        file.append(Action("add", made=(made,)))
        if closed:
            file.append(Action("close"))


def call(*given: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, list(given))
    return done.exit_code, done.output


def test_the_command_prints_agreement_and_writes_a_table(tmp_path: Path) -> None:
    for number, marks in enumerate([0, 2, 5, 30]):
        for who, more in (("Ann", 0), ("Ben", 1)):
            tool = {"status": "counted", "spores": marks}
            name, sha256 = f"{number}.png", f"{number:064d}"
            with Tally(tmp_path / TALLIES, name, sha256, who, 0.5, tool) as tally:
                for place in range(marks + more):
                    tally.mark(20.0 * place, 5.0)
                tally.finish()
    table = tmp_path / "agreement.csv"
    code, text = call("agreement", str(tmp_path), "--table", str(table))
    assert code == 0, text
    assert "Ann and Ben: 4 photos that both counted, blind." in text
    assert "Count: Ben counts 1.0 more on average (+1.0 to +1.0)" in text
    assert "Ann and the tool: 4 photos" in text
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["difference"] for row in rows] == ["1", "0", "-1"]
    # Blind counts are no reviews: a count of these photos stays the tool's.
    assert not (tmp_path / FOLDER).exists()


def test_without_any_count_the_command_says_so(tmp_path: Path) -> None:
    code, text = call("agreement", str(tmp_path))
    assert code == 3
    assert "there is no review and no blind count" in text


def test_a_microscope_is_measured_shown_and_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    photos = tmp_path / "photos"
    for number in range(6):
        review(photos, number)
    review(photos, 7, closed=False)
    code, text = call("microscope", "measure", str(photos), "--name", "10x")
    assert code == 0, text
    assert "Told from 6 photos, 6 of them looked through in full" in text
    assert "Of what is counted as spores, real ones: 93 %" in text
    assert "1 photo reviewed in part left out" in text
    assert "Kept: 10x, 0.6 um per pixel" in text
    (one,) = load_microscopes()
    assert one.rates is not None
    assert one.rates.recall_mean == pytest.approx(13 / 14, abs=0.005)
    assert one.rates.false_per_mm2 == pytest.approx(2.0, abs=0.2)
    assert one.misread is not None
    assert "rates of mistakes from 6 photos of your own" in call("microscope", "show")[1]
    assert call("microscope", "back", "--name", "10x")[0] == 3
    assert call("microscope", "forget", "--name", "10x")[0] == 0
    assert "Nothing was measured" in call("microscope", "show")[1]


def test_doubtful_ones_alone_and_mixed_scales_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    review(tmp_path / "part", 1, closed=False)
    code, text = call("microscope", "measure", str(tmp_path / "part"))
    assert code == 3
    assert "the doubtful ones alone do not tell how good the tool is" in text
    for number, scale in enumerate([0.6, 0.6, 1.2]):
        review(tmp_path / "mixed", number, scale)
    code, text = call("microscope", "measure", str(tmp_path / "mixed"))
    assert code == 3
    assert "they are not of one microscope and objective" in text
    assert load_microscopes() == ()


def test_few_photos_give_figures_and_keep_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    review(tmp_path, 1)
    code, text = call("microscope", "measure", str(tmp_path))
    assert code == 0
    assert "Note: looked through: 1 photo with 14 real spores" in text
    assert "Nothing is kept" in text
    code, text = call("microscope", "adjust", str(tmp_path))
    assert code == 3
    assert load_microscopes() == ()


def test_reviews_of_an_adjusted_count_do_not_measure_the_tool_as_it_comes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CONFIG_DIR_VARIABLE, str(tmp_path / "config"))
    review(tmp_path, 1, adjusted=True)
    code, text = call("microscope", "measure", str(tmp_path))
    assert code == 3
    assert "all are of an adjusted count" in text
    review(tmp_path, 2)
    code, text = call("microscope", "measure", str(tmp_path))
    assert code == 0
    assert "Told from 1 photo" in text
    assert "1 reviews of an adjusted count are left out" in text
