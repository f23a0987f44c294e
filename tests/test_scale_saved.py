"""Named calibrations: kept, found again, and refused where they do not fit."""

from __future__ import annotations

import datetime
import json
import math
import os

import pytest

from sporecount.errors import ScaleError
from sporecount.scale.calibration import Calibration
from sporecount.scale.saved import (
    calibrations_path,
    list_calibrations,
    load_calibration,
    save_calibration,
)

DAY = datetime.date(2025, 6, 1)


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "new" / "folder"))


def save(name="10x", um=0.65, width=4000, height=3000, **more):
    return save_calibration(name, Calibration(um, "micrometer photo", 0.001), width, height, **more)


def test_saved_and_loaded_and_listed():
    assert list_calibrations() == []
    save("10x kamera ä", date=DAY)
    save("4x", 1.6)
    saved = load_calibration(" 10X Kamera Ä ")
    assert (saved.um_per_px, saved.standard_error, saved.date) == (0.65, 0.001, "2025-06-01")
    assert [s.name for s in list_calibrations()] == ["10x kamera ä", "4x"]
    assert [p.name for p in calibrations_path().parent.iterdir()] == ["calibrations.json"]


def test_an_unknown_error_stays_unknown():
    save_calibration("x", Calibration(0.5, "given"), 10, 10)
    assert (
        json.loads(calibrations_path().read_text())["calibrations"]["x"]["standard_error"] is None
    )
    assert math.isnan(load_calibration("x").standard_error)


def test_nothing_is_overwritten_without_saying_so():
    save()
    with pytest.raises(ScaleError, match=r"'10X'.*one of that name already"):
        save("10X", 1.3)
    assert load_calibration("10x").um_per_px == 0.65
    save("10X", 1.3, replace=True)
    assert [(s.name, s.um_per_px) for s in list_calibrations()] == [("10X", 1.3)]


@pytest.mark.parametrize("name", ["", " ", "a/b", "..", "-x", "x" * 65, "a\nb", "a\x00"])
def test_names_that_are_not_allowed(name):
    with pytest.raises(ScaleError, match="a name has 1 to 64"):
        save(name)


def test_a_name_nobody_saved():
    with pytest.raises(ScaleError, match="sporecount calibrate"):
        load_calibration("40x")
    save()
    with pytest.raises(ScaleError, match="Use one of '10x'"):
        load_calibration("40x")


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"calibrations": {"a": {}}}', '{"calibrations": {"a": 3}}']
    + [
        '{"calibrations": {"a": {"um_per_px": -1, "standard_error": null, "source": "s", '
        '"date": "d", "width_px": 4, "height_px": 3}}}'
    ],
)
def test_a_damaged_file_is_reported_and_kept(text):
    calibrations_path().parent.mkdir(parents=True)
    calibrations_path().write_text(text)
    with pytest.raises(ScaleError, match="cannot be read"):
        list_calibrations()
    with pytest.raises(ScaleError, match="cannot be read"):
        save()
    assert calibrations_path().read_text() == text


def test_a_write_that_fails_leaves_the_old_file(monkeypatch):
    save()
    before = calibrations_path().read_bytes()

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(ScaleError, match="No space left"):
        save("4x")
    assert calibrations_path().read_bytes() == before
    assert len(list(calibrations_path().parent.iterdir())) == 1


def test_the_photos_size_is_checked():
    saved = save(date=DAY)
    for size in ((4000, 3000), (3000, 4000)):
        assert saved.for_photo(*size).notes == ()
        assert saved.for_photo(*size).standard_error == 0.001
    assert (
        saved.for_photo(4000, 3000).source
        == "saved calibration '10x' of 2025-06-01: micrometer photo"
    )
    for size in ((2000, 1500), (1500, 2000), (8000, 6000), (1600, 1201)):
        with pytest.raises(ScaleError, match=r"same shape in another size.*[Uu]se the photo"):
            saved.for_photo(*size)
    cropped = saved.for_photo(4000, 2250)
    assert cropped.um_per_px == 0.65
    assert "right only if the photo was cropped" in cropped.notes[0]


def test_the_users_own_folder_by_default(monkeypatch):
    monkeypatch.delenv("SPORECOUNT_CONFIG_DIR")
    path = calibrations_path()
    assert path.name == "calibrations.json"
    assert "sporecount" in os.fspath(path.parent)
