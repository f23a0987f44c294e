"""Which scale counts, and when the spores cast doubt on it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from sporecount.errors import ScaleError
from sporecount.photo.photo import Photo, TagScale
from sporecount.photo.sheet import Sheet, parse_sheet
from sporecount.scale.calibration import Calibration
from sporecount.scale.choose import choose_calibration, scale_warning
from sporecount.scale.eyepiece import Eyepiece
from sporecount.scale.saved import save_calibration


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path))
    save_calibration("four", Calibration(0.4, "micrometer"), 400, 300)
    save_calibration("five", Calibration(0.5, "micrometer"), 400, 300)


def photo(tag=None, *, disc=False):
    pixels = np.zeros((300, 400, 3), np.uint8)
    if disc:
        y, x = np.mgrid[:300, :400]
        pixels[np.hypot(x - 200, y - 150) < 125] = 200
    scale = None if tag is None else TagScale(tag, "TIFF resolution tags")
    return Photo("a.tif", pixels, "0", scale)


def test_the_order_of_precedence():
    row = {"um_per_px": 0.3, "calibration": "four"}
    everything = {
        "um_per_px": 0.2,
        "sheet_row": row,
        "saved_name": "five",
        "eyepiece": Eyepiece(18, 40),  # 450 um over 250 px: 1.8
    }
    shot = photo(0.7, disc=True)
    got = []
    for drop in ("um_per_px", "row um_per_px", "row calibration", "saved_name", "eyepiece", None):
        got.append(choose_calibration(shot, **everything).um_per_px)
        if drop and drop.startswith("row "):
            row.pop(drop[4:])
        elif drop:
            everything.pop(drop)
    assert got == pytest.approx([0.2, 0.3, 0.4, 0.5, 1.8, 0.7], rel=0.01)


def test_rows_as_they_come_from_a_sheet():
    sheet = Sheet(parse_sheet("photo,um_per_px,calibration\na.tif,,four\nb.tif,0.3,\nc.tif,,\n"))
    rows = sheet.match(["a.tif", "b.tif", "c.tif"]).rows
    assert choose_calibration(photo(), sheet_row=rows["a.tif"]).um_per_px == 0.4
    assert choose_calibration(photo(), sheet_row=rows["b.tif"]).um_per_px == 0.3
    assert choose_calibration(photo(0.7), sheet_row=rows["c.tif"]).um_per_px == 0.7
    series = pd.Series({"um_per_px": 0.3})
    assert choose_calibration(photo(), sheet_row=series).um_per_px == 0.3


def test_tags_that_disagree_are_noted():
    assert choose_calibration(photo(0.5), um_per_px=0.52).notes == ()
    notes = choose_calibration(photo(1.0), um_per_px=0.5).notes
    assert len(notes) == 1
    assert "0.5 um/px) is used, but TIFF resolution tags says 1 um/px: a factor of 2.00" in notes[0]
    row = {"um_per_px": 0.5, "calibration": ""}
    notes = choose_calibration(photo(), um_per_px=1.0, sheet_row=row).notes
    assert "um_per_px in the sheet says 0.5" in notes[0]


@pytest.mark.parametrize("empty", [None, {}, {"um_per_px": math.nan, "calibration": ""}])
def test_no_scale_says_how_to_get_one(empty):
    with pytest.raises(ScaleError) as caught:
        choose_calibration(photo(), sheet_row=empty)
    for way in ("a.tif", "--um-per-px", "stage micrometer", "field number", "objective"):
        assert way in str(caught.value)


def test_an_unused_tag_is_named_where_no_scale_is_left():
    shot = Photo("a.tif", photo().pixels, "0", None, ("first of 2 pages", "72 dpi is no scale"))
    with pytest.raises(ScaleError, match=r"scale is unknown \(72 dpi is no scale\)"):
        choose_calibration(shot)


@pytest.mark.parametrize("number", [0.0, -1.0, math.nan, math.inf])
def test_impossible_scales(number):
    with pytest.raises(ScaleError, match="positive number"):
        choose_calibration(photo(0.5), um_per_px=number)


@pytest.mark.parametrize("number", [0.01, 650.0])
def test_scales_of_no_microscope_photo(number):
    with pytest.raises(ScaleError, match=r"a.tif, um per pixel given.*0.02 to 20.*not nm"):
        choose_calibration(photo(), um_per_px=number)


def test_errors_name_the_photo():
    with pytest.raises(ScaleError, match=r"a.tif, calibration 'six'"):
        choose_calibration(photo(), saved_name="six")
    with pytest.raises(ScaleError, match=r"^a.tif: .*round"):
        choose_calibration(photo(), eyepiece=Eyepiece(18, 10))


#: Geometric mean of 9 and 17 um, the lengths accepted.
USUAL = (9 * 17) ** 0.5

# --- lengths --------------------------------------------------------------------------


def lengths(median, n=25):
    return median * np.linspace(0.8, 1.2, n)


@pytest.mark.parametrize("median", [8.5, 12.5, 17.5])
def test_plausible_lengths_cast_no_doubt(median):
    assert scale_warning(lengths(median)) is None


def test_few_lengths_say_nothing():
    assert scale_warning(lengths(40, 9)) is None
    assert scale_warning([]) is None
    assert scale_warning([np.nan] * 30) is None


@pytest.mark.parametrize(
    ("factor", "cause"),
    [
        (2, "resized photo"),
        (2.5, "10x and 4x"),
        (4, "40x and 10x"),
        (10, "40x and 4x"),
        (1000, "mm, um and nm"),
    ],
)
@pytest.mark.parametrize("long", [True, False])
def test_the_likely_factor_is_named(factor, cause, long):
    warning = scale_warning(lengths(USUAL * factor if long else USUAL / factor))
    assert warning is not None
    assert f"off by a factor {factor:g} (" in warning
    assert cause in warning
    assert f"{factor:.1f}x too {'long' if long else 'short'}" in warning


def test_a_scale_turned_upside_down_is_named():
    warning = scale_warning(lengths(12.4 * 1.54**2), um_per_px=1.54)
    assert warning is not None
    assert "pixels per um" in warning


def test_lengths_that_no_factor_explains():
    warning = scale_warning(lengths(12.4 * 80))
    assert warning is not None
    assert "something else than spores" in warning
