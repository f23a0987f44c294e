"""Reviewed results in place of the tool's: which review counts, and what it changes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.counts.summary import SUMMARY_COLUMNS, figures, unreadable_summary
from sporecount.detect.table import COLUMNS
from sporecount.review.actions import Action
from sporecount.review.record import Counted, ReviewFile
from sporecount.review.use import (
    ReviewFolders,
    choose,
    find_chosen,
    rates_of,
    stamp,
    with_review,
)
from sporecount.settings import CountSettings

SHA, AREA = "cd" * 32, 2.0
SETTINGS = CountSettings()


def table(number: int, shift: float = 0.0) -> pd.DataFrame:
    rows = []
    for place in range(number):
        row = dict.fromkeys(COLUMNS, 12.0)
        row.update(x_px=60.0 * place + shift, y_px=9.0, state="intact", confidence=0.8)
        row["outline_px"] = np.array([[0.0, 0.0], [4.0, 0.0], [2.0, 3.0]])
        rows.append(row)
    return pd.DataFrame(rows)[list(COLUMNS)].astype(COLUMNS)


def summary(detections: pd.DataFrame) -> dict[str, Any]:
    row = dict.fromkeys(SUMMARY_COLUMNS, "")
    row.update(photo="a.jpg", status="counted", um_per_px=0.5, examined_mm2=AREA, sha256=SHA)
    return {**row, **figures(detections, AREA, SETTINGS)}


def at(hour: int) -> str:
    return f"2026-05-01T{hour:02d}:00:00+02:00"


def keep(folder: Path, who: str, hour: int, *actions: Action, number: int = 5) -> None:
    counted = Counted(table(number), 0.5, {})
    with ReviewFile(folder, "a.jpg", SHA, who, counted) as file:
        for one in actions:
            file.append(Action(one.kind, one.targets, one.state, one.made, who, at(hour)))


NEW = {"id": "p1", "x_px": 500.0, "y_px": 50.0, "length_um": 12.0, "width_um": 8.0}


def test_what_was_rejected_is_gone_and_what_was_added_counts(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)), Action("reject", ("t2",)))
    keep(tmp_path, "Ann", 11, Action("add", made=(NEW,)), Action("state", ("t3",), "damaged"))
    tool = table(5)
    before = summary(tool)
    stands, row = with_review(tool, before, find_chosen(tmp_path, SHA), SETTINGS)
    assert list(stands.columns) == list(COLUMNS)
    assert stands["x_px"].tolist() == [120.0, 180.0, 240.0, 500.0]
    assert stands["confidence"].tolist() == [1.0, 0.8, 0.8, 1.0]
    assert (row["spores"], row["intact"], row["damaged"]) == (4, 3, 1)
    assert (row["reviewed_by"], row["review"]) == ("Ann", "in part")
    assert "reviewed by Ann in part; the tool had counted 5" in row["notes"]
    assert row["per_mm2"] == pytest.approx(2.0)
    assert row["spores_low"] >= 2  # those that were judged are there
    assert row["spores_high"] > 4  # the tool may have missed some where nobody looked
    assert before == summary(table(5))
    pd.testing.assert_frame_equal(tool, table(5))


def test_in_full_no_mistake_of_the_tool_is_left_in_the_range(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)), Action("close"))
    stands, row = with_review(table(5), summary(table(5)), find_chosen(tmp_path, SHA), SETTINGS)
    assert (row["spores_low"], row["spores"], row["spores_high"]) == (4, 4, 4)
    assert row["per_mm2_low"] < row["per_mm2"] < row["per_mm2_high"]  # sampling is as it was
    assert stands["confidence"].tolist() == [1.0] * 4
    assert row["review"] == "in full"
    keep(tmp_path, "Ann", 11, Action("reopen"))
    _, row = with_review(table(5), summary(table(5)), find_chosen(tmp_path, SHA), SETTINGS)
    assert row["review"] == "in part"
    assert row["spores_high"] > 4
    assert rates_of(True).recall_mean == 1.0 > rates_of(False).recall_mean


def test_of_two_people_the_latest_in_full_counts_and_it_is_said(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)), Action("close"))
    keep(tmp_path, "Bob", 9, Action("reject", ("t1",)), Action("reject", ("t2",)), Action("close"))
    keep(tmp_path, "Cid", 12, Action("add", made=(NEW,)))
    _, row = with_review(table(5), summary(table(5)), find_chosen(tmp_path, SHA), SETTINGS)
    assert (row["reviewed_by"], row["spores"]) == ("Ann", 4)
    assert "also reviewed by Bob, Cid; that of Ann counts: the latest in full" in row["notes"]
    keep(tmp_path, "Bob", 13, Action("confirm", ("t3",)))
    _, row = with_review(table(5), summary(table(5)), find_chosen(tmp_path, SHA), SETTINGS)
    assert (row["reviewed_by"], row["spores"]) == ("Bob", 3)


def test_a_review_that_was_only_opened_or_undone_is_none(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10)
    keep(tmp_path, "Bob", 10, Action("reject", ("t1",)), Action("undo"))
    assert find_chosen(tmp_path, SHA).review is None
    assert choose([]).review is None
    tool = table(5)
    stands, row = with_review(tool, summary(tool), find_chosen(tmp_path, SHA), SETTINGS)
    assert stands is tool
    assert row == summary(tool)


def test_what_was_said_goes_over_to_what_the_tool_finds_now(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)), Action("confirm", ("t5",)))
    now = table(4, shift=1.0)  # nearly the same places, and no longer the last
    stands, row = with_review(now, summary(now), find_chosen(tmp_path, SHA), SETTINGS)
    assert stands["x_px"].tolist() == [61.0, 121.0, 181.0, 240.0]
    assert row["spores"] == 4


def test_a_damaged_review_is_left_out_with_a_warning(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)))
    (path,) = tmp_path.glob("*.jsonl")
    path.write_text("no review\n" + path.read_text())
    tool = table(5)
    _, row = with_review(tool, summary(tool), find_chosen(tmp_path, SHA), SETTINGS)
    assert row["spores"] == 5
    assert f"the review {path.name} is left out" in row["warning"]
    assert row["reviewed_by"] == ""


def test_a_refused_photo_stays_refused(tmp_path: Path) -> None:
    keep(tmp_path, "Ann", 10, Action("reject", ("t1",)))
    row = {**unreadable_summary("a.jpg", "it is cut off"), "status": "refused"}
    _, after = with_review(table(0 + 1), row, find_chosen(tmp_path, SHA), SETTINGS)
    assert (after["status"], after["spores"], after["reviewed_by"]) == ("refused", None, "")


def test_the_stamp_changes_with_each_action(tmp_path: Path) -> None:
    seen = [stamp(tmp_path, SHA)]
    for action in (Action("reject", ("t1",)), Action("undo"), Action("close")):
        keep(tmp_path, "Ann", 10, action)
        seen.append(stamp(tmp_path, SHA))
    assert seen[0] == ""
    assert len(set(seen)) == 4
    assert stamp(tmp_path, "ef" * 32) == ""


def test_reviews_lie_beside_the_photo_unless_a_folder_is_given(tmp_path: Path) -> None:
    photo = tmp_path / "a.jpg"
    assert ReviewFolders().of(photo) == tmp_path / "sporecount-reviews"
    assert ReviewFolders(tmp_path / "r").of(photo) == tmp_path / "r"
