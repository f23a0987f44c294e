"""Export and import: nothing twice, nothing lost, and no edit overwritten unsaid."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sporecount.rearing.cells import guarded, unguarded
from sporecount.rearing.columns import TABLES
from sporecount.rearing.csv_files import parse_table
from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog

ODD_NAMES = [
    "=1+1",
    "'=1+1",
    "''+x",
    "@home",
    "-3",
    "'tis",
    "comma, and; semicolon",
    'say "yes"',
    "ü 蝶 🦋",
    "a'",
    "'",
]
ODD_TEXTS = [
    "one\ntwo",
    "one\r\ntwo",
    "lone\rreturn",
    "\ttab",
    " spaces ",
    "=A1\n+B2",
    '"',
    "a\u2028b",
]


class Clock:
    """A clock that each look moves on by a second."""

    def __init__(self) -> None:
        self.time = datetime(2026, 7, 1, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.time += timedelta(seconds=1)
        return self.time


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def first(tmp_path: Path, clock: Clock) -> Iterator[RearingLog]:
    with RearingLog.open(tmp_path / "first.sqlite3", now=clock) as log:
        yield log


@pytest.fixture
def second(tmp_path: Path, clock: Clock) -> Iterator[RearingLog]:
    with RearingLog.open(tmp_path / "second.sqlite3", now=clock) as log:
        yield log


def fill(log: RearingLog) -> None:
    """Write something into every table, with names that break careless files."""
    for number, name in enumerate(ODD_NAMES):
        note = ODD_TEXTS[number % len(ODD_TEXTS)]
        log.add_brood(name, eggs=number, plant_washed=[True, False, None][number % 3], notes=note)
        log.add_adult(name, brood=name, emerged_on="2026-07-04", wings=note)
        log.record_sample(
            {
                "sample": name,
                "photos": [{"photo": f"{name}.jpg", "sha256": f"{number:064x}", "um_per_px": 0.1}],
                "spores": number,
                "tape_spores": number / 3,
                "decision": note,
                "odd": note,
            },
            settings={"level": 0.95, "note": note},
        )
        log.decide(name, note, "=who")
    log.change_brood(ODD_NAMES[0], notes="+changed", hatched=0)
    log.add_bath(ODD_NAMES[1], label_percent=5.25, real_s=60.123456789, rinsed=True)


def by_id(log: RearingLog) -> dict[str, dict[Any, Any]]:
    return {table: {row["id"]: row for row in rows} for table, rows in log.rows().items()}


def carry(source: RearingLog, target: RearingLog, folder: Path, **how: Any) -> Any:
    shutil.rmtree(folder, ignore_errors=True)
    source.export_csv(folder)
    return target.import_csv(folder, **how)


def test_a_log_travels_whole_into_another(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    fill(first)
    assert all(first.rows().values()), "a table is empty"
    report = carry(first, second, tmp_path / "csv")
    assert by_id(second) == by_id(first)
    assert dict(report.added) == {table: len(rows) for table, rows in first.rows().items()}
    assert (report.conflicts, report.notes) == ([], [])


def test_importing_twice_changes_nothing(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    fill(first)
    carry(first, second, tmp_path / "csv")
    before = second.rows()
    for log in (second, first, second):
        report = log.import_csv(tmp_path / "csv")
        assert not report.added + report.updated + report.older
        assert report.conflicts == []
        assert sum(report.same.values()) == sum(
            len(rows) for table, rows in log.rows().items() if table != "edits"
        )
    assert second.rows() == before


def test_a_later_version_is_taken_and_an_earlier_one_is_not(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    first.add_brood("B1", eggs=12)
    carry(first, second, tmp_path / "early")
    first.change_brood("B1", hatched=10)
    first.change_brood("B1", hatched=11)
    report = carry(first, second, tmp_path / "late")
    assert (dict(report.updated), report.conflicts) == ({"broods": 1}, [])
    assert second.rows()["broods"][0]["hatched"] == 11
    assert by_id(second) == by_id(first)
    report = second.import_csv(tmp_path / "early")
    assert (dict(report.older), report.conflicts) == ({"broods": 1}, [])
    assert second.rows()["broods"][0]["hatched"] == 11


def test_edits_of_different_fields_are_put_together(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    first.add_brood("B1", eggs=12)
    carry(first, second, tmp_path / "csv")
    first.change_brood("B1", hatched=10)
    second.change_brood("B1", notes="strong")
    assert carry(first, second, tmp_path / "csv").conflicts == []
    assert carry(second, first, tmp_path / "csv").conflicts == []
    assert by_id(first) == by_id(second)
    row = first.rows()["broods"][0]
    assert (row["hatched"], row["notes"]) == (10, "strong")


def disagree(first: RearingLog, second: RearingLog, folder: Path) -> None:
    first.add_brood("B1", eggs=12)
    carry(first, second, folder)
    second.change_brood("B1", eggs=13)
    first.change_brood("B1", eggs=14)


def test_a_conflict_is_reported_and_stays_until_it_is_settled(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    disagree(first, second, tmp_path / "csv")
    for _ in range(2):
        report = carry(first, second, tmp_path / "csv")
        (conflict,) = report.open_conflicts
        assert (conflict.table, conflict.name, conflict.field) == ("broods", "B1", "eggs")
        assert (conflict.in_log, conflict.in_file, conflict.newer) == ("13", "14", "file")
        assert conflict.kept == "log"
        assert second.rows()["broods"][0]["eggs"] == 13


@pytest.mark.parametrize(("take", "eggs"), [("file", 14), ("log", 13)])
def test_a_settled_conflict_stays_settled_on_both_sides(
    first: RearingLog, second: RearingLog, tmp_path: Path, take: str, eggs: int
) -> None:
    disagree(first, second, tmp_path / "csv")
    report = carry(first, second, tmp_path / "csv", take=take, who="R. Keeper")
    assert [conflict.kept for conflict in report.conflicts] == [take]
    assert report.open_conflicts == []
    assert second.rows()["broods"][0]["eggs"] == eggs
    assert second.import_csv(tmp_path / "csv").conflicts == []
    assert carry(second, first, tmp_path / "csv").conflicts == []
    assert by_id(first) == by_id(second)
    # Nothing that anybody wrote is lost: the edits tell all of it.
    told = {edit[side] for edit in first.rows()["edits"] for side in ("old", "new")}
    assert {"12", "13", "14"} <= told


def change_file(path: Path, old: str, new: str) -> None:
    text = path.read_bytes().decode("utf-8")
    assert text.count(old) == 1
    path.write_bytes(text.replace(old, new).encode("utf-8"))


def test_a_file_changed_by_hand_is_never_taken_unsaid(first: RearingLog, tmp_path: Path) -> None:
    first.add_brood("B1", plant="Asclepias incarnata")
    first.export_csv(tmp_path / "csv")
    change_file(tmp_path / "csv/broods.csv", "incarnata", "curassavica")
    (conflict,) = first.import_csv(tmp_path / "csv").open_conflicts
    assert conflict.newer == "unknown"
    first.change_brood("B1", plant="Asclepias syriaca")
    (conflict,) = first.import_csv(tmp_path / "csv").open_conflicts
    assert (conflict.in_log, conflict.in_file) == ("Asclepias syriaca", "Asclepias curassavica")
    first.import_csv(tmp_path / "csv", take="file")
    assert first.rows()["broods"][0]["plant"] == "Asclepias curassavica"
    assert first.import_csv(tmp_path / "csv", take="file").conflicts == []


def test_a_result_is_not_overwritten_by_a_file(first: RearingLog, tmp_path: Path) -> None:
    first.record_sample({"sample": "A1", "spores": 7, "reason": "seven seen"})
    first.export_csv(tmp_path / "csv")
    change_file(tmp_path / "csv/results.csv", "seven seen", "none seen")
    report = first.import_csv(tmp_path / "csv", take="file")
    (conflict,) = report.open_conflicts
    assert (conflict.field, conflict.kept) == ("reason", "log")
    assert first.rows()["results"][0]["reason"] == "seven seen"


def test_two_logs_with_a_brood_of_one_name_are_joined_and_it_is_said(
    first: RearingLog, second: RearingLog, tmp_path: Path
) -> None:
    first.add_brood("B1", eggs=1)
    second.add_brood("B1", eggs=2)
    report = carry(first, second, tmp_path / "csv")
    assert [row["eggs"] for row in second.rows()["broods"]] == [2, 1]
    assert report.notes == [
        "2 broods are called 'B1'; they are kept apart. Rename one if they differ."
    ]


def test_sheets_made_by_hand_come_in_once(first: RearingLog, tmp_path: Path) -> None:
    folder = tmp_path / "by hand"
    folder.mkdir()
    (folder / "broods.csv").write_text("name;source;eggs\nB1;egg;12\nB2;caterpillar;\n\n", "utf-8")
    (folder / "adults.csv").write_text("Identity,brood\nA1,B1\nA2,B2\n", "utf-8-sig")
    report = first.import_csv(folder)
    assert dict(report.added) == {"broods": 2, "adults": 2}
    rows = first.rows()
    assert [row["brood_id"] for row in rows["adults"]] == [row["id"] for row in rows["broods"]]
    first.change_brood("B2", notes="green")
    report = first.import_csv(folder)
    assert (report.added, report.conflicts) == ({}, [])
    (folder / "broods.csv").write_text("name,source,eggs\nB1,egg,13\n", "utf-8")
    assert [conflict.in_file for conflict in first.import_csv(folder).open_conflicts] == ["13"]


@pytest.mark.parametrize(
    ("table", "text", "said"),
    [
        ("broods", "name,source\nB1,shop\n", r"broods.csv, line 2, source 'shop'.*no such choice"),
        ("broods", "name,colour\nB1,red\n", "column 'colour': the log has no such column"),
        ("broods", "name,source\nB1\n", "line 2: it has 1 cells, the first line 2"),
        ("broods", "name,name\nB1,B1\n", "a column is there twice"),
        ("broods", 'name,source\n"B1,egg\n', "it is no CSV"),
        ("broods", "name,source\n,egg\n", "neither id nor name"),
        ("broods", "name,source\nB1,\n", "source is empty"),
        ("broods", "name,source,eggs,hatched\nB1,egg,3,4\n", "hatched 4: only 3 eggs"),
        ("adults", "identity,brood\nA1,B9\n", r"adults.csv, line 2, brood 'B9'.*none of that name"),
        ("adults", "id,identity,brood_id\nx,A1,y\n", "neither the files nor the log"),
        ("results", "sample_id,photos\nx,1\n", "the row has no id"),
        ("edits", "id,field\nx,eggs\n", "is empty"),
    ],
)
def test_a_file_that_cannot_be_used_is_named_and_nothing_comes_in(
    first: RearingLog, tmp_path: Path, table: str, text: str, said: str
) -> None:
    if table != "broods":
        (tmp_path / "broods.csv").write_text("name,source\nB1,egg\n", "utf-8")
    (tmp_path / f"{table}.csv").write_text(text, "utf-8")
    with pytest.raises(LogError, match=said):
        first.import_csv(tmp_path)
    assert not any(first.rows().values())


def test_a_file_in_another_encoding_is_named(first: RearingLog, tmp_path: Path) -> None:
    (tmp_path / "broods.csv").write_bytes("name,source\nBüsche,egg\n".encode("cp1252"))
    with pytest.raises(LogError, match=r"broods.csv: it is not UTF-8"):
        first.import_csv(tmp_path)
    with pytest.raises(LogError, match="holds no tables"):
        first.import_csv(tmp_path / "nowhere")


def test_exporting_over_other_files_must_be_said(first: RearingLog, tmp_path: Path) -> None:
    paths = first.export_csv(tmp_path / "csv")
    assert [path.name for path in paths] == [f"{table}.csv" for table in TABLES]
    first.add_brood("B1")
    with pytest.raises(LogError, match="there is such a file already"):
        first.export_csv(tmp_path / "csv")
    first.export_csv(tmp_path / "csv", replace=True)
    assert b"B1" in (tmp_path / "csv/broods.csv").read_bytes()


def test_files_are_rfc_4180_and_no_cell_runs_in_a_spreadsheet(
    first: RearingLog, tmp_path: Path
) -> None:
    fill(first)
    for path in first.export_csv(tmp_path / "csv"):
        text = path.read_bytes().decode("utf-8")
        assert text.endswith("\r\n")
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert len({len(row) for row in rows}) == 1
        bad = [c for row in rows[1:] for c in row if c.startswith(("=", "+", "-", "@", "\t", "\r"))]
        assert bad == []


@given(st.text(alphabet="'=+-@\t\rab\n\"", max_size=8))
def test_guarding_can_always_be_undone(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    words=st.text(
        st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=20
    ).filter(str.strip),
    number=st.floats(0, allow_infinity=False),
)
def test_any_text_and_any_number_come_back(words: str, number: float) -> None:
    from sporecount.rearing.csv_files import table_text
    from sporecount.rearing.rows import checked_row

    row = dict.fromkeys(TABLES["results"].columns)
    kept = {**row, **checked_row("results", {"id": "x", "reason": words, "tape_spores": number})}
    (back,) = parse_table("results", table_text("results", [kept]), "results.csv")
    assert back.values == kept
