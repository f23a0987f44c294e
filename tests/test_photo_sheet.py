"""The sheet of photos, as spreadsheet programs write it."""

from __future__ import annotations

import csv
import io
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sporecount.errors import SheetError
from sporecount.photo.sheet import KNOWN_COLUMNS, Sheet, parse_sheet, read_sheet


def test_known_columns_are_always_there_and_others_are_kept():
    table = parse_sheet("Photo,Sample,Wing colour\na.jpg,m1,orange\nb.jpg,,\n")
    assert list(table.columns) == ["row", *KNOWN_COLUMNS, "Wing colour"]
    assert table["row"].tolist() == [2, 3]
    assert table["sample"].tolist() == ["m1", ""]
    assert table["um_per_px"].isna().all()
    assert table["um_per_px"].dtype == "float64"
    assert table["Wing colour"].tolist() == ["orange", ""]


def test_no_rows_give_an_empty_table_of_the_same_columns():
    table = parse_sheet("photo\n")
    assert len(table) == 0
    assert list(table.columns) == ["row", *KNOWN_COLUMNS]
    assert table["um_per_px"].dtype == "float64"


@pytest.mark.parametrize(
    "data",
    [
        "photo;um_per_px\nä.jpg;0,65\n".encode("utf-8-sig"),
        "photo;um_per_px\r\nä.jpg;0,65\r\n".encode("cp1252"),
        "photo\tum_per_px\nä.jpg\t0,65\n".encode("utf-16"),
        ' PHOTO , UM PER PX \n ä.jpg , "0,65" \n'.encode(),
        "sep=;\nphoto;µm/px;um-per-px\nä.jpg;;0.65\n".encode(),
        "um_per_px,photo\n6.5e-1,.\\a\u0308.jpg\n\n\n".encode(),
    ],
)
def test_what_spreadsheets_write(tmp_path, data):
    path = tmp_path / "sheet.csv"
    path.write_bytes(data)
    table = read_sheet(path)
    assert table["photo"].tolist() == ["ä.jpg"]
    assert table["um_per_px"].tolist() == [0.65]


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("", 'no column "photo"'),
        ("file,um_per_px\na.jpg,1\n", "no column \"photo\" among 'file', 'um_per_px'"),
        ("photo,Photo\na,b\n", "column 'photo' is there twice"),
        ("photo\na.jpg\nb.jpg\na.jpg\n", r"rows 2 and 4: the photo 'a.jpg' is listed twice"),
        ("photo\nx/a.jpg\nx\\a.jpg\n", "listed twice"),
        ("photo,um_per_px\na.jpg,1\n\nb.jpg,big\n", r"row 4, um_per_px 'big': a scale is a pos"),
        ("photo,um_per_px\na.jpg,-0.65\n", "row 2, um_per_px '-0.65'"),
        ("photo,um_per_px\na.jpg,0\n", "row 2, um_per_px '0'"),
        ("photo,um_per_px\na.jpg,inf\n", "row 2, um_per_px 'inf'"),
        ("photo,um_per_px\na.jpg,nan\n", "row 2, um_per_px 'nan'"),
        ("photo,um_per_px\na.jpg,1e999\n", "row 2, um_per_px '1e999'"),
        ("photo,um_per_px\na.jpg,0,65\n", "row 2: there are 3 cells under 2 headers"),
        ("photo,um_per_px\n,0.65\n", "row 2: the photo is missing"),
    ],
)
def test_sheets_that_cannot_be_used(text, wrong):
    with pytest.raises(SheetError, match=wrong):
        parse_sheet(text)


def test_a_sheet_that_is_not_there(tmp_path):
    with pytest.raises(SheetError, match="cannot be opened"):
        read_sheet(tmp_path / "none.csv")


def test_rows_meet_photos():
    sheet = Sheet(
        parse_sheet("photo,sample\nTray1/A.JPG,m1\nb.jpg,m2\nC:\\p\\c.jpg,m3\nzz.jpg,m4\n")
    )
    match = sheet.match(["tray1/a.jpg", "tray2/b.jpg", "c.jpg", "d.jpg"])
    assert {n: r["sample"] for n, r in match.rows.items()} == {
        "tray1/a.jpg": "m1",
        "tray2/b.jpg": "m2",
        "c.jpg": "m3",
    }
    assert match.missing == ("zz.jpg",)
    assert match.unlisted == ("d.jpg",)


def test_an_exact_name_beats_a_similar_one():
    sheet = Sheet(parse_sheet("photo\nA.jpg\na.jpg\n"))
    match = sheet.match(["a.jpg", "A.jpg", "x/a.jpg"])
    assert match.rows["A.jpg"]["row"] == 2
    assert match.rows["a.jpg"]["row"] == 3
    assert match.unlisted == ("x/a.jpg",)


def test_a_name_that_could_be_two_photos():
    sheet = Sheet(parse_sheet("photo\na.jpg\n"))
    with pytest.raises(SheetError, match=r"row 2, photo 'a.jpg'.*'x/a.jpg' or 'y/a.jpg'"):
        sheet.match(["x/a.jpg", "y/a.jpg"])


def test_two_rows_that_mean_one_photo():
    sheet = Sheet(parse_sheet("photo\nx/a.jpg\na.jpg\n"))
    with pytest.raises(SheetError, match=r"row 3.*as row 2 does"):
        sheet.match(["x/a.jpg"])


def test_accents_composed_or_not_are_the_same_name():
    match = Sheet(parse_sheet("photo\n\u00e4.jpg\n")).match(["a\u0308.jpg"])
    assert list(match.rows) == ["a\u0308.jpg"]


CELL = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.sampled_from(' ,;"'),
    max_size=12,
)
PHOTO = st.from_regex(r"[a-z0-9äé]{1,8}(/[a-z0-9]{1,5})?\.jpg", fullmatch=True)


@settings(max_examples=80, deadline=None)
@given(
    rows=st.lists(
        st.tuples(PHOTO, st.none() | st.floats(1e-3, 1e3), CELL),
        max_size=8,
        unique_by=lambda r: r[0],
    ),
    separator=st.sampled_from(",;\t"),
    mark=st.booleans(),
    decimal_comma=st.booleans(),
)
def test_what_a_csv_writer_writes_comes_back(rows, separator, mark, decimal_comma):
    import unicodedata

    file = io.StringIO()
    writer = csv.writer(file, delimiter=separator)
    writer.writerow(["photo", "um_per_px", "remark"])
    for photo, scale, remark in rows:
        number = "" if scale is None else repr(scale)
        writer.writerow([photo, number.replace(".", ",") if decimal_comma else number, remark])
    table = parse_sheet(("\ufeff" if mark else "") + file.getvalue())
    assert table["photo"].tolist() == [r[0] for r in rows]
    assert table["remark"].tolist() == [unicodedata.normalize("NFC", r[2].strip()) for r in rows]
    for got, (_, scale, _) in zip(table["um_per_px"], rows):
        assert math.isnan(got) if scale is None else got == scale


@settings(max_examples=150, deadline=None)
@given(st.text(st.sampled_from('photo,;\t\n\r"\\ um_per_px=0.65-ä\x00'), max_size=60))
def test_any_text_gives_a_table_or_a_sheet_error(text):
    try:
        table = parse_sheet("photo,um_per_px\n" + text)
    except SheetError:
        return
    assert not table["photo"].duplicated().any()
    assert (table["um_per_px"].dropna() > 0).all()
