"""The sample photos can be written, and their truth fits the files."""

import hashlib
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image, ImageOps

from sporecount.render.samples import (
    SAMPLES,
    encode,
    make_sample,
    sheet_of,
    write_micrometer,
    write_samples,
)
from sporecount.render.season import TAPE_MM2, TAPES, SeasonTape, write_tapes

ROOT = Path(__file__).parent.parent
SMALL_TAPES = (
    SeasonTape("Sorrel", (2, 1), 300.0, 5, "many", clumped=0.0, clutter=(), photo_px=(200, 150)),
    SeasonTape("Rowan", (2, 2), 0.0, 6, "clean", photo_px=(200, 150)),
)
SMALL = tuple(replace(one, size_px=(200, 150), count=2) for one in SAMPLES[:3])


def test_samples_are_written_with_sheet_truth_and_readme(tmp_path):
    write_samples(tmp_path, SMALL, ())
    sheet = pd.read_csv(tmp_path / "photos.csv")
    truth = pd.read_csv(tmp_path / "truth.csv")
    assert list(sheet.columns) == ["photo", "um_per_px", "sample", "tape_mm2"]
    assert set(truth["photo"]) <= set(sheet["photo"])
    whole = truth[truth["state"].isin(["intact", "damaged"])]
    assert (whole.groupby("photo").size() == 2).all()
    for name in sheet["photo"]:
        with Image.open(tmp_path / name) as stored:
            assert ImageOps.exif_transpose(stored).size == (200, 150)
    assert "rendered" in (tmp_path / "README.md").read_text(encoding="utf-8")


def test_writing_twice_gives_the_same_bytes(tmp_path):
    hashes = []
    for name in ("one", "two"):
        write_samples(tmp_path / name, SMALL[:1], SMALL_TAPES[:1])
        files = sorted(path for path in (tmp_path / name).rglob("*") if path.is_file())
        data = b"".join(path.read_bytes() for path in files)
        hashes.append((len(files), hashlib.sha256(data).hexdigest()))
    assert hashes[0] == hashes[1]


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".tif", ".webp", ".heic"])
def test_every_format_holds_the_picture(suffix):
    sample = replace(SMALL[2], file=f"any{suffix}")
    pixels = make_sample(sample).pixels
    if suffix == ".heic":
        from pillow_heif import register_heif_opener

        register_heif_opener()
    read = np.asarray(Image.open(io.BytesIO(encode(pixels, sample))).convert("RGB"))
    assert np.abs(read.astype(int) - pixels).mean() < 4


def test_sheet_has_about_a_dozen_photos_over_the_formats():
    assert 12 <= len(SAMPLES) <= 16
    suffixes = [one.file.rsplit(".", 1)[1] for one in SAMPLES]
    assert set(suffixes) == {"jpg", "png", "tif", "heic", "webp"}
    assert len({one.file for one in SAMPLES}) == len(SAMPLES)


def test_micrometer_photo_is_a_jpeg(tmp_path):
    write_micrometer(tmp_path / "deep" / "ruling.jpg")
    with Image.open(tmp_path / "deep" / "ruling.jpg") as picture:
        assert picture.format == "JPEG"


def test_the_truth_of_a_tape_lies_on_dark_places_of_its_photos(tmp_path):
    ((intact, damaged, pieces), nothing) = write_tapes(tmp_path, SMALL_TAPES)
    assert nothing == (0, 0, 0)
    truth = pd.read_csv(tmp_path / "tape_truth.csv")
    places = pd.read_csv(tmp_path / "tape_places.csv")
    assert set(truth["sample"]) == {"Sorrel"}
    assert len(truth) == intact + damaged + pieces > 10
    assert list(places["photo"]) == [n for tape in SMALL_TAPES for n in tape.photo_names()]
    seen = np.zeros(len(truth), int)
    darker = []
    for place in places[:2].itertuples():
        grey = np.asarray(Image.open(tmp_path / place.photo).convert("L")).astype(float)
        turn = np.radians(place.angle_deg)
        x, y = truth["x_um"] - place.x_um, truth["y_um"] - place.y_um
        column = np.floor((x * np.cos(turn) + y * np.sin(turn)) / 1.1).astype(int).to_numpy()
        row = np.floor((y * np.cos(turn) - x * np.sin(turn)) / 1.1).astype(int).to_numpy()
        here = (column >= 0) & (column < 200) & (row >= 0) & (row < 150)
        seen += here
        darker += list(np.median(grey) - grey[row[here], column[here]] > 8)
    assert list(truth["photos"]) == list(seen)
    assert np.mean(darker) > 0.8


def test_the_demonstration_is_what_the_program_draws():
    folder = ROOT / "sample_images"
    sheet = pd.read_csv(folder / "photos.csv", keep_default_na=False, dtype=str)
    assert sheet.to_csv() == sheet_of(SAMPLES, TAPES).astype(str).to_csv()
    assert [photo for photo in sheet["photo"] if not (folder / photo).is_file()] == []
    places = pd.read_csv(folder / "tape_places.csv")
    assert set(places["photo"]) == set(sheet.loc[sheet["tape_mm2"] != "", "photo"])
    assert sum(file.stat().st_size for file in folder.rglob("*") if file.is_file()) < 12e6


def test_no_tape_shows_more_than_its_area():
    for tape in TAPES:
        plan = tape.plan()
        width, height = (n * plan.um_per_px / 1000 for n in plan.photo_px)
        assert tape.grid[0] * width * tape.grid[1] * height < TAPE_MM2
