"""The tables, the names of copies, the record and the overview."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

import sporecount.detect
from sporecount.counts.summary import SUMMARY_COLUMNS, unreadable_summary
from sporecount.detect.table import COLUMNS, empty_detections
from sporecount.report.files import utf8, write_whole
from sporecount.report.names import marked_names
from sporecount.report.overview import print_overview, short_name
from sporecount.report.run_record import RunStart, run_record
from sporecount.report.tables import cell, detections_csv, photos_csv
from sporecount.settings import Settings

FIRST_DETECTION_COLUMNS = "photo,x_px,y_px,length_um,width_um,angle_deg,area_um2,state,confidence"
FIRST_PHOTO_COLUMNS = (
    "photo,status,reason,um_per_px,scale_source,examined_mm2,spores,spores_low,spores_high,"
    "per_mm2,per_mm2_low,per_mm2_high,load_class,intact,damaged,fragment"
)


def make_detections(rows: int = 1) -> pd.DataFrame:
    """Return a table of made-up detections."""
    values: dict[str, Any] = {name: [1 / 3] * rows for name in COLUMNS}
    values["state"] = (["intact", "damaged", "fragment"] * rows)[:rows]
    values["outline_px"] = [np.array([[1.04, 2.0], [3.0, -4.26], [5.0, 6.0]])] * rows
    return pd.DataFrame(values)


def make_row(**changes: Any) -> dict[str, Any]:
    """Return the row of a made-up photo that was counted."""
    row = {**unreadable_summary("tray 1/a.jpg", ""), "status": "counted", "um_per_px": 0.65}
    row |= {"spores": 12, "spores_low": 10, "spores_high": 16, "per_mm2": 2 / 3, "load_class": 2}
    row |= {"intact": 10, "damaged": 2, "fragment": 1, "per_mm2_low": 0.1, "per_mm2_high": 2.0}
    return {**row, "examined_mm2": 18.0, **changes}


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_detections_csv_has_the_promised_columns_in_order() -> None:
    header = detections_csv([]).splitlines()[0].split(",")
    assert ",".join(header[:9]) == FIRST_DETECTION_COLUMNS
    assert header[-1] == "outline"
    assert set(header) - {"photo", "outline"} == set(COLUMNS) - {"outline_px"}


def test_detections_csv_rounds_numbers_and_writes_outlines() -> None:
    (row,) = read(detections_csv([("a.jpg", make_detections()), ("b.jpg", empty_detections())]))
    assert row["x_px"] == "0.333333"
    assert row["outline"] == "1.0,2.0 3.0,-4.3 5.0,6.0"


def test_photos_csv_has_the_promised_columns_in_order_then_the_others() -> None:
    text = photos_csv([make_row(sharpness=0.5), make_row(arm="bleach")])
    header = text.splitlines()[0].split(",")
    assert ",".join(header[:16]) == FIRST_PHOTO_COLUMNS
    assert header[len(SUMMARY_COLUMNS) :] == ["sharpness", "arm"]


def test_what_was_not_counted_is_empty_and_never_zero() -> None:
    (row,) = read(photos_csv([unreadable_summary("a.jpg", "the file is cut off")]))
    columns = FIRST_PHOTO_COLUMNS.split(",")
    counts = columns[columns.index("spores") :]
    assert {row[name] for name in counts} == {""}
    assert row["reason"] == "the file is cut off"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_a_spreadsheet_would_run_gets_an_apostrophe(start: str) -> None:
    name = f"{start}HYPERLINK(1)"
    (row,) = read(photos_csv([make_row(photo=name)]))
    assert row["photo"] == f"'{name}"


@pytest.mark.parametrize("number", [-1, -0.5, np.float64(-3.25), np.int64(-7), 1e-12])
def test_numbers_never_get_an_apostrophe(number: float) -> None:
    assert float(cell(number)) == pytest.approx(number)


@given(st.lists(st.text(min_size=1), min_size=1, max_size=5))
def test_any_name_survives_the_csv(names: list[str]) -> None:
    rows = read(photos_csv([make_row(photo=name) for name in names]))
    assert [row["photo"].removeprefix("'") for row in rows] == [
        name.removeprefix("'") for name in names
    ]


def test_writing_replaces_the_file_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "new" / "a.csv"
    write_whole(file, b"one")
    write_whole(file, b"two\n")
    assert file.read_bytes() == b"two\n"
    assert [path.name for path in file.parent.iterdir()] == ["a.csv"]


def test_names_that_are_no_text_are_written() -> None:
    name = "a\udcff.jpg"  # a byte that is no UTF-8, as Linux allows
    assert utf8(photos_csv([make_row(photo=name)])).decode().splitlines()[1].startswith("a\\udcff")
    assert len(set(marked_names([name, "x" * 260 + name]).values())) == 2


@given(st.lists(st.text(min_size=1), max_size=8, unique=True))
def test_copies_never_share_a_name_or_leave_their_folder(names: list[str]) -> None:
    copies = marked_names(names)
    assert len({copy.casefold() for copy in copies.values()}) == len(names)
    for copy in copies.values():
        assert copy.endswith(".jpg")
        assert not copy.startswith("/")
        assert ".." not in Path(copy).parts


def test_copies_keep_folders_and_shorten_very_long_names() -> None:
    copies = marked_names(["a/b c.tif", "é" * 130 + ".png"])
    assert copies["a/b c.tif"] == "a/b c.jpg"
    assert all(len(copy.encode()) <= 255 for copy in copies.values())


def test_run_record_tells_how_to_make_the_results_again() -> None:
    start = RunStart({"um_per_px": 0.65, "paths": ["photos"]}, Settings(), 1, datetime.now(UTC))
    record = json.loads(run_record(start, [make_row(sha256="abc", scale_source="given")]))
    assert record["program"] == "sporecount"
    assert record["options"]["um_per_px"] == 0.65
    assert record["settings"] == json.loads(json.dumps(Settings().as_dict()))
    assert record["photos"][0] == {
        "photo": "tray 1/a.jpg",
        "status": "counted",
        "sha256": "abc",
        "um_per_px": 0.65,
        "scale_source": "given",
    }
    assert record["libraries"]["numpy"] == np.__version__
    assert record["ended"] is None


def test_run_record_names_every_file_of_the_detector_s_weights_by_its_hash() -> None:
    record = json.loads(run_record(RunStart({}, Settings(), 0, datetime.now(UTC))))
    folder = Path(sporecount.detect.__path__[0]) / "weights"
    files = [file for file in folder.iterdir() if not file.name.startswith(".")]
    assert "search.onnx" in record["detector_weights"]
    assert record["detector_weights"] == {
        file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in files
    }


def overview(rows: list[dict[str, Any]]) -> str:
    out = io.StringIO()
    print_overview(Console(file=out, width=80, color_system=None), rows)
    return out.getvalue()


def test_overview_fits_80_columns_and_names_what_needs_a_look() -> None:
    rows = [
        make_row(photo="x" * 300 + ".jpg", spores=10**6, spores_low=10**6, spores_high=10**6),
        make_row(photo="[bold]b.jpg", warning="the scale may be wrong"),
        unreadable_summary("c.jpg", "the file is cut off"),
    ]
    text = overview(rows)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "3 photos: 2 counted, 1 unreadable; 1000012 spores" in text
    assert "[bold]b.jpg: the scale may be wrong" in text
    assert "c.jpg: the file is cut off" in text


def test_overview_of_many_photos_says_how_many_are_not_listed() -> None:
    text = overview([make_row(photo=f"{number}.jpg") for number in range(75)])
    assert "... and 15 more, see photos.csv" in text
    assert "75 photos: 75 counted; 900 spores" in text


@given(st.text(max_size=60))
def test_short_names_fit_and_hold_no_control_characters(name: str) -> None:
    from rich.cells import cell_len

    short = short_name(name, 27)
    assert cell_len(short) <= 27
    assert all(letter.isprintable() for letter in short)
