"""The sample photos can be written, and their truth fits the files."""

import hashlib
import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PIL import Image, ImageOps

from sporecount.render.samples import SAMPLES, encode, make_sample, write_micrometer, write_samples

SMALL = tuple(replace(one, size_px=(200, 150), count=2) for one in SAMPLES[:3])


def test_samples_are_written_with_sheet_truth_and_readme(tmp_path):
    write_samples(tmp_path, SMALL)
    sheet = pd.read_csv(tmp_path / "photos.csv")
    truth = pd.read_csv(tmp_path / "truth.csv")
    assert list(sheet.columns) == ["photo", "um_per_px", "sample"]
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
        write_samples(tmp_path / name, SMALL[:1])
        data = (tmp_path / name / SMALL[0].file).read_bytes()
        hashes.append(hashlib.sha256(data).hexdigest())
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
