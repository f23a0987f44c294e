"""The rearing log: rows, results that stay, migrations and files that are no log."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from sporecount.rearing.columns import TABLES
from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog
from sporecount.rearing.migrate import Migration, migrate, migrations, statements
from sporecount.rearing.place import log_path
from sporecount.rearing.store import connect
from sporecount.settings import Settings

HASH_A, HASH_B = "a" * 64, "b" * 64


def ticking() -> Any:
    """Return a clock on which each look is a second later."""
    start = datetime(2026, 7, 1, tzinfo=UTC)
    seconds = iter(range(10**6))
    return lambda: start + timedelta(seconds=next(seconds))


@pytest.fixture
def log(tmp_path: Path) -> Iterator[RearingLog]:
    with RearingLog.open(tmp_path / "log.sqlite3", now=ticking()) as opened:
        yield opened


def result(sample: str = "A1", **more: Any) -> dict[str, Any]:
    return {
        "sample": sample,
        "status": "scored",
        "photos": [
            {"photo": "1.jpg", "sha256": HASH_A, "um_per_px": 0.65, "scale_source": "given"}
        ],
        "examined_mm2": np.float64(2.5447),
        "spores": np.int64(12),
        "spores_low": 10,
        "spores_high": 14.5,
        "tape_low": float("nan"),
        "p_class_4": 0.75,
        "load_class": 4,
        "decision": "heavily infected",
        "more_fields": 0,
        **more,
    }


def test_the_declared_columns_are_those_of_the_database(log: RearingLog) -> None:
    connection = sqlite3.connect(log.path)
    for name, table in TABLES.items():
        in_file = [row[1] for row in connection.execute(f"PRAGMA table_info({name})")]
        assert in_file == list(table.columns)
        refers = {row[3]: row[2] for row in connection.execute(f"PRAGMA foreign_key_list({name})")}
        assert refers == table.refers
    named = {
        row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
    }
    assert named == set(TABLES)
    connection.close()


def test_a_brood_and_an_adult_are_kept_as_given(log: RearingLog) -> None:
    brood = log.add_brood(
        "  B 1 ",
        source="caterpillar",
        kept_apart=True,
        plant="Asclepias incarnata",
        plant_washed="no",
        eggs=None,
        hatched=12,
        notes="two\nlines",
    )
    adult = log.add_adult("A1", brood="B 1", sex="female", emerged_on="2026-07-04", wings="whole")
    row = log.tables()["broods"].iloc[0]
    assert (row["id"], row["name"], row["source"]) == (brood, "B 1", "caterpillar")
    assert (row["kept_apart"], row["plant_washed"], row["hatched"]) == (True, False, 12)
    assert pd.isna(row["eggs"])
    assert pd.isna(row["bathed"])
    assert row["notes"] == "two\nlines"
    row = log.tables()["adults"].iloc[0]
    assert (row["id"], row["brood_id"], row["emerged_on"]) == (adult, brood, "2026-07-04")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": "B1"}, "brood 'B1': the log has one of that name"),
        ({"name": " "}, "it has no name"),
        ({"name": "B2", "source": "shop"}, "source 'shop': there is no such choice"),
        ({"name": "B2", "eggs": -1}, "eggs -1: it is no whole number"),
        ({"name": "B2", "eggs": 2.5}, "eggs 2.5: it is no whole number"),
        ({"name": "B2", "eggs": 5, "hatched": 6}, "hatched 6: only 5 eggs"),
        ({"name": "B2", "collected_on": "31.7.2026"}, "it is no date. Write it as 2026-07-31"),
        ({"name": "B2", "plant_washed": "maybe"}, "neither yes nor no"),
        ({"name": "B2", "colour": "green"}, "no such column"),
        ({"name": "B\0"}, "a character that no text has"),
        ({"name": "B\udcff"}, "not proper text"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_saved(
    log: RearingLog, fields: dict[str, Any], said: str
) -> None:
    log.add_brood("B1")
    with pytest.raises(LogError, match=said):
        log.add_brood(**fields)
    assert len(log.tables()["broods"]) == 1


def test_an_adult_needs_a_brood_that_exists(log: RearingLog) -> None:
    log.add_brood("B1")
    with pytest.raises(LogError, match=r"brood 'B9': the log has none of that name.*'B1'"):
        log.add_adult("A1", brood="B9")
    assert log.tables()["adults"].empty


def test_a_result_keeps_all_it_takes_to_make_it_again(log: RearingLog) -> None:
    adult = log.add_adult("A1")
    done = log.record_sample(
        result(mosaic="certain"), settings=Settings(), version="9.9", taken_on="2026-07-05"
    )
    assert done.is_new
    tables = log.tables()
    kept = tables["results"].iloc[0]
    assert json.loads(kept["settings"]) == json.loads(json.dumps(Settings().as_dict()))
    assert (kept["version"], kept["photos"], kept["spores"]) == ("9.9", 1, 12)
    assert (kept["examined_mm2"], kept["p_class_4"], kept["load_class"]) == (2.5447, 0.75, 4)
    assert pd.isna(kept["tape_low"])
    assert json.loads(kept["further"]) == {"mosaic": "certain"}
    photo = tables["photos"].iloc[0]
    assert (photo["sha256"], photo["um_per_px"], photo["scale_source"]) == (HASH_A, 0.65, "given")
    sample = tables["samples"].iloc[0]
    assert (sample["adult_id"], sample["taken_on"]) == (adult, "2026-07-05")


def test_a_row_of_samples_csv_is_taken_as_it_is(log: RearingLog) -> None:
    log.record_sample({**result(), "photos": 9, "more_fields": 3.0})
    kept = log.tables()["results"].iloc[0]
    assert (kept["photos"], kept["more_fields"]) == (9, 3)


def test_the_same_result_is_not_kept_twice_but_a_new_one_is(log: RearingLog) -> None:
    first = log.record_sample(result())
    again = log.record_sample(result())
    assert again == (first.sample_id, first.result_id, False)
    other = log.record_sample(result(spores=13))
    assert other.is_new
    assert other.sample_id == first.sample_id
    back = log.record_sample(result())  # the newest says something else
    assert back.is_new
    assert list(log.tables()["results"]["spores"]) == [12, 13, 12]


def test_samples_of_one_name_with_other_photos_are_kept_apart(log: RearingLog) -> None:
    first = log.record_sample(result())
    other = log.record_sample(result(photos=[{"photo": "1.jpg", "sha256": HASH_B}]))
    assert other.sample_id != first.sample_id
    both = log.record_sample(
        result(
            photos=[{"photo": "1.jpg", "sha256": HASH_B}, {"photo": "2.jpg", "sha256": "c" * 64}]
        )
    )
    assert both.sample_id == other.sample_id
    with pytest.raises(LogError, match=f"2 are called so.*{first.sample_id[:8]}"):
        log.decide("A1", "released", "R. Keeper")
    log.decide(first.sample_id[:8], "released", "R. Keeper")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"sample": None}, "it names no sample"),
        ({"photos": [{"photo": "1.jpg", "sha256": "abc"}]}, "it is no SHA-256 hash"),
        ({"photos": [{"sha256": HASH_A}]}, "it has no name"),
        ({"spores": -3}, "spores -3"),
        ({"p_class_4": 1.5}, "a value does not fit"),
        ({"spores_high": float("inf")}, "not finite"),
        ({"adult": "A9"}, "adult 'A9': the log has none"),
    ],
)
def test_a_result_that_does_not_fit_leaves_nothing(
    log: RearingLog, more: dict[str, Any], said: str
) -> None:
    with pytest.raises(LogError, match=said):
        log.record_sample(result(**more))
    assert all(table.empty for table in log.tables().values())


def test_decisions_stay_beside_what_the_tool_said(log: RearingLog) -> None:
    first = log.record_sample(result())
    log.decide("A1", "kept and sampled again", "R. Keeper")
    second = log.record_sample(result(spores=40))
    log.decide("A1", "not released", "S. Warden")
    made = log.tables()["decisions"]
    assert list(made["words"]) == ["kept and sampled again", "not released"]
    assert list(made["who"]) == ["R. Keeper", "S. Warden"]
    assert list(made["result_id"]) == [first.result_id, second.result_id]
    assert made["decided_at"].is_monotonic_increasing
    with pytest.raises(LogError, match="who '': it is empty"):
        log.decide("A1", "released", "")


@pytest.mark.parametrize("table", ["results", "photos", "decisions", "baths", "edits"])
@pytest.mark.parametrize("change", ["DELETE FROM {}", "UPDATE {} SET id = 'x'"])
def test_what_is_only_added_cannot_be_changed_in_the_file_either(
    log: RearingLog, table: str, change: str
) -> None:
    log.add_brood("B1")
    log.change_brood("B1", eggs=3)
    log.record_sample(result())
    log.decide("A1", "released", "R. Keeper")
    log.add_bath("B1", real_s=60)
    before = log.rows()
    connection = sqlite3.connect(log.path)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        connection.execute(change.format(table))
    connection.close()
    assert log.rows() == before


def test_edits_keep_what_was_there(log: RearingLog) -> None:
    log.add_brood("B1", eggs=12, plant_washed=False)
    assert log.change_brood("B1", who="R. Keeper", eggs=12, hatched=11, plant_washed=True) == 2
    edits = log.tables()["edits"]
    assert list(edits["field"]) == ["hatched", "plant_washed"]
    assert list(edits["old"].fillna("-")) == ["-", "no"]
    assert list(edits["new"]) == ["11", "yes"]
    assert set(edits["who"]) == {"R. Keeper"}
    with pytest.raises(LogError, match="pupated 13: only 11 hatched"):
        log.change_brood("B1", pupated=13)
    log.add_brood("B2")
    with pytest.raises(LogError, match="name 'B2': the log has one of that name"):
        log.change_brood("B1", name="B2")
    assert log.change_brood("B1", name="B3") == 1


def test_a_bath_makes_its_brood_a_bathed_one(log: RearingLog) -> None:
    log.add_brood("B1", bathed="no")
    log.add_bath("B1", label_percent=6, percent_by_volume=5, planned_s=60, real_s=61.5, rinsed=True)
    tables = log.tables()
    assert bool(tables["broods"].iloc[0]["bathed"])
    assert tables["baths"].iloc[0]["real_s"] == 61.5
    assert list(tables["edits"]["old"]) == ["no"]


def test_samples_and_adults_can_be_put_right(log: RearingLog) -> None:
    log.add_brood("B1")
    log.add_adult("A7")
    log.record_sample(result("tape 3"))
    assert log.change_sample("tape 3", adult="A7") == 1
    assert log.change_adult("A7", brood="B1", sex="male") == 2
    tables = log.tables()
    assert tables["samples"].iloc[0]["adult_id"] == tables["adults"].iloc[0]["id"]


def test_tables_of_an_empty_log_have_all_their_columns(log: RearingLog) -> None:
    for name, table in log.tables().items():
        assert list(table.columns) == list(TABLES[name].columns)
        assert len(table) == 0


def test_where_the_log_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPORECOUNT_LOG", str(tmp_path / "own.sqlite3"))
    assert log_path(Path("given.sqlite3")) == Path("given.sqlite3")
    assert log_path() == tmp_path / "own.sqlite3"
    monkeypatch.delenv("SPORECOUNT_LOG")
    assert log_path().name == "rearing-log.sqlite3"
    assert "sporecount" in str(log_path().parent)


def test_a_log_that_is_missing_is_not_made_by_looking(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="there is no rearing log"):
        RearingLog.open(tmp_path / "none.sqlite3", create=False)
    assert list(tmp_path.iterdir()) == []


def test_files_that_are_no_log_are_left_alone(tmp_path: Path) -> None:
    text, other = tmp_path / "notes.txt", tmp_path / "other.sqlite3"
    text.write_text("these are my notes, and no database at all " * 50)
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE broods (name TEXT)")
    connection.commit()
    connection.close()
    before = text.read_bytes(), other.read_bytes()
    with pytest.raises(LogError, match="it is no rearing log"):
        RearingLog.open(text)
    with pytest.raises(LogError, match="another program's database"):
        RearingLog.open(other)
    with pytest.raises(LogError, match="cannot be opened"):
        RearingLog.open(tmp_path)
    assert (text.read_bytes(), other.read_bytes()) == before


def test_a_log_of_a_newer_version_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite3"
    RearingLog.open(path).close()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match=r"newer sporecount .log version 99.*Update sporecount"):
        RearingLog.open(path)
    assert path.read_bytes() == before


def test_migrations_are_numbered_without_gaps() -> None:
    assert [step.number for step in migrations()] == list(range(1, len(migrations()) + 1))
    for step in migrations():
        assert not any(s.startswith(("BEGIN", "COMMIT", "PRAGMA")) for s in statements(step.sql))


def _further(sql: str) -> tuple[Migration, ...]:
    newest = migrations()[-1].number
    return (*migrations(), Migration(newest + 1, sql))


def test_a_migration_keeps_rows_and_leaves_a_copy_from_before(log: RearingLog) -> None:
    log.add_brood("B1")
    connection = connect(log.path)
    copy = migrate(connection, log.path, _further("ALTER TABLE broods ADD COLUMN shade TEXT;"))
    assert copy is not None
    row = dict(connection.execute("SELECT * FROM broods").fetchone())
    connection.close()
    assert (row["name"], row["shade"]) == ("B1", None)
    with RearingLog.open(copy) as before:
        assert list(before.tables()["broods"]["name"]) == ["B1"]
    with pytest.raises(LogError, match="newer sporecount"):
        RearingLog.open(log.path)
    assert [path for path in log.path.parent.iterdir() if path.suffix == ".part"] == []


def test_a_migration_that_fails_changes_nothing(log: RearingLog) -> None:
    log.add_brood("B1")
    before = log.rows()
    connection = connect(log.path)
    broken = _further("ALTER TABLE broods ADD COLUMN shade TEXT; INSERT INTO nowhere VALUES (1);")
    with pytest.raises(sqlite3.OperationalError):
        migrate(connection, log.path, broken)
    connection.close()
    assert log.rows() == before
    RearingLog.open(log.path).close()


def test_statements_keep_triggers_whole() -> None:
    trigger = "CREATE TRIGGER t BEFORE DELETE ON a BEGIN SELECT 1; SELECT 2; END;"
    assert list(statements(f"SELECT 1;\n{trigger}")) == ["SELECT 1;", trigger]


def test_a_log_that_stays_locked_is_named_so(log: RearingLog) -> None:
    blocker = sqlite3.connect(log.path, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    with (
        RearingLog.open(log.path, busy_s=0.01) as other,
        pytest.raises(LogError, match="another program is writing to it"),
    ):
        other.add_brood("B1")
    blocker.close()
    log.add_brood("B1")
