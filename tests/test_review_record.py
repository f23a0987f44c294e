"""A review's file: kept line by line, nothing lost by a crash, carried over to a new count."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.review.actions import Action
from sporecount.review.errors import ReviewError
from sporecount.review.record import (
    Counted,
    ReviewFile,
    find_reviews,
    read_review,
    review_path,
    whose_review,
)
from sporecount.review.reviewed import reviewed

SHA = "ab" * 32


def table(*places: tuple[float, float], state: str = "intact") -> pd.DataFrame:
    rows = []
    for x, y in places:
        row = dict.fromkeys(COLUMNS, 1.0)
        outline = np.array([[x - 5, y], [x, y - 3.25], [x + 5, y], [x, y + 3.25]])
        row.update(x_px=x, y_px=y, state=state, confidence=0.8, outline_px=outline)
        rows.append(row)
    return pd.DataFrame(rows)[list(COLUMNS)].astype(COLUMNS) if rows else empty_detections()


def counted(*places: tuple[float, float]) -> Counted:
    return Counted(table(*places), 0.5, {"version": "1", "settings": {"a": 1}})


def start(folder: Path, *places: tuple[float, float], who: str = "Ann") -> ReviewFile:
    return ReviewFile(folder, "tape 1.jpg", SHA, who, counted(*places))


def test_what_is_done_is_there_again_with_what_the_tool_had_said(tmp_path: Path) -> None:
    with start(tmp_path, (10, 10), (50, 60)) as file:
        file.append(Action("reject", ("t1",), who="Ann", at="2026-05-01T10:00:00+02:00"))
        file.append(Action("add", made=({"id": "p1", "x_px": 80.5, "y_px": 7.0},), who="Ann"))
    (path,) = find_reviews(tmp_path, SHA)
    review = read_review(path)
    assert (review.photo, review.who, review.notes) == ("tape 1.jpg", "Ann", ())
    assert [action.kind for action in review.actions] == ["reject", "add"]
    assert review.actions[0].at == "2026-05-01T10:00:00+02:00"
    assert_frame_equal(review.counted.detections, table((10, 10), (50, 60)))
    assert review.counted.facts == {"version": "1", "settings": {"a": 1}}
    assert reviewed(review.counted.detections, review.actions)["id"].tolist() == ["t2", "p1"]


def test_whose_a_review_is_stands_in_its_first_line(tmp_path: Path) -> None:
    with start(tmp_path, (10, 10), who="Ben") as file:
        path = file.path
    assert whose_review(path) == ("tape 1.jpg", SHA, "Ben")
    path.write_text("{}\n", "utf-8")
    with pytest.raises(ReviewError, match="line 1: it is damaged"):
        whose_review(path)
    with pytest.raises(ReviewError, match="cannot be opened"):
        whose_review(tmp_path / "none.jsonl")


def test_opening_it_again_goes_on_where_it_was(tmp_path: Path) -> None:
    for kind in ("confirm", "reject"):
        with start(tmp_path, (10, 10)) as file:
            file.append(Action(kind, ("t1",)))
    with start(tmp_path, (10, 10)) as file:
        assert [action.kind for action in file.review.actions] == ["confirm", "reject"]
        assert file.review.earlier == ()


def test_a_blank_photo_can_be_reviewed(tmp_path: Path) -> None:
    with start(tmp_path) as file:
        file.append(Action("close"))
    (path,) = find_reviews(tmp_path, SHA)
    assert_frame_equal(read_review(path).counted.detections, empty_detections())


def test_a_line_torn_by_a_crash_is_left_out_and_said_and_work_goes_on(tmp_path: Path) -> None:
    with start(tmp_path, (10, 10)) as file:
        file.append(Action("confirm", ("t1",)))
        path = file.path
    whole = path.read_bytes()
    for cut in (1, 9, 30):
        path.write_bytes(whole + whole.splitlines(True)[-1][:cut])
        review = read_review(path)
        assert len(review.actions) == 1
        assert "torn" in review.notes[0]
    with start(tmp_path, (10, 10)) as file:
        file.append(Action("reject", ("t1",)))
    assert [action.kind for action in read_review(path).actions] == ["confirm", "reject"]
    assert read_review(path).notes == ()


def test_damage_elsewhere_is_an_error_that_names_the_line(tmp_path: Path) -> None:
    with start(tmp_path, (10, 10)) as file:
        file.append(Action("confirm", ("t1",)))
        path = file.path
    lines = path.read_text().splitlines(True)
    path.write_text(lines[0] + lines[1] + '{"kind": "conf\n' + lines[2])
    with pytest.raises(ReviewError, match="line 3: it is damaged"):
        read_review(path)
    path.write_text(json.dumps({"something": "else"}) + "\n")
    with pytest.raises(ReviewError, match="no review"):
        read_review(path)
    with pytest.raises(ReviewError, match="cannot be opened"):
        read_review(tmp_path / "missing.jsonl")


def test_two_programs_cannot_write_one_review_but_two_people_can(tmp_path: Path) -> None:
    with (
        start(tmp_path, (10, 10)),
        start(tmp_path, (10, 10), who="Bob"),
        pytest.raises(ReviewError, match="another program has this review open"),
    ):
        start(tmp_path, (10, 10))
    with start(tmp_path, (10, 10)) as again:
        assert again.review.actions == ()
    assert len(find_reviews(tmp_path, SHA)) == 2
    assert find_reviews(tmp_path, "cd" * 32) == []


def test_names_that_only_look_alike_do_not_share_a_review(tmp_path: Path) -> None:
    start(tmp_path, (10, 10), who="Ann Lee").close()
    with pytest.raises(ReviewError, match="Ann Lee's review"):
        start(tmp_path, (10, 10), who="Ann-Lee")
    assert review_path(tmp_path, "a/b.jpg", SHA, "...").name == "b-abababababab-somebody.jsonl"


def test_a_new_count_keeps_what_was_said_and_what_the_tool_had_said_before(tmp_path: Path) -> None:
    with start(tmp_path, (10, 10), (50, 60), (90, 20)) as file:
        file.append(Action("reject", ("t1",), who="Ann"))
        file.append(Action("state", ("t2",), state="damaged", who="Ann"))
        file.append(Action("confirm", ("t3",), who="Ann"))
        file.append(Action("add", made=({"id": "p1", "x_px": 70.0, "y_px": 70.0},), who="Ann"))
        file.append(Action("close", who="Ann"))
    # Counted again: moved a little, in another order, one found no more, the missed one found.
    with start(tmp_path, (51, 61), (70.5, 70), (11, 10), (150, 150)) as file:
        review = file.review
    assert review.earlier[0][1][0].kind == "reject"
    assert len(review.earlier[0][0].detections) == 3
    stands = reviewed(review.counted.detections, review.actions)
    found = {row["id"]: (row["state"], row["looked_at"]) for row in stands.to_dict("records")}
    assert found == {
        "t1": ("damaged", True),
        "t2": ("intact", True),
        "t4": ("intact", False),
        "p1": ("intact", True),
    }
    assert stands.set_index("id").loc["p1", ["x_px", "y_px"]].tolist() == [90, 20]
    assert_frame_equal(read_review(file.path).counted.detections, review.counted.detections)
    with start(tmp_path, (51, 61), (70.5, 70), (11, 10), (150, 150)) as file:
        assert len(file.review.earlier) == 1


def test_a_full_disk_loses_no_more_than_the_action_that_did_not_fit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with start(tmp_path, (10, 10), (50, 60)) as file:
        file.append(Action("confirm", ("t1",)))
        real = os.fsync

        def full(number: int) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(ReviewError, match="No space left"):
            file.append(Action("reject", ("t1",)))
        monkeypatch.setattr(os, "fsync", real)
        file.append(Action("confirm", ("t2",)))
        path = file.path
    assert [action.targets for action in read_review(path).actions] == [("t1",), ("t2",)]


_FOR_EVER = """
import sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from test_review_record import many, start
from sporecount.review.actions import Action
with start(Path(sys.argv[2]), *many()) as file:
    for number in range(1, 400):
        file.append(Action("confirm", (f"t{number}",)))
        print(number, flush=True)  # said only once it is kept
"""


def many() -> list[tuple[float, float]]:
    return [(10.0 * number, 10.0) for number in range(1, 400)]


@pytest.mark.parametrize("after", [1, 40, 150])
def test_killed_while_reviewing_nothing_that_was_done_is_lost(tmp_path: Path, after: int) -> None:
    here = str(Path(__file__).parent)
    command = [sys.executable, "-c", _FOR_EVER, here, str(tmp_path / "r")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        for line in child.stdout:
            if int(line) >= after:
                child.kill()
                break
        rest = child.stdout.read().rpartition("\n")[0].split()
    said = int(rest[-1]) if rest else int(line)
    (path,) = find_reviews(tmp_path / "r", SHA)
    kept = [action.targets[0] for action in read_review(path).actions]
    assert kept == [f"t{number}" for number in range(1, len(kept) + 1)]
    assert said <= len(kept) <= said + 1
    with start(tmp_path / "r", *many()) as file:
        assert len(file.review.actions) == len(kept)
