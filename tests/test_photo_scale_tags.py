"""Scales in tags: OME-XML and TIFF 6.0 arithmetic."""

from __future__ import annotations

import io

import numpy as np
import pytest
import tifffile
from PIL import Image

from sporecount.photo.read import read_photo
from sporecount.photo.tagscale import scale_from_ome, scale_from_resolution, unit_um


def ome(**attributes):
    text = " ".join(f'{k}="{v}"' for k, v in attributes.items())
    return (
        '<?xml version="1.0"?><OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06">'
        f'<Image ID="Image:0"><Pixels ID="Pixels:0" {text}/></Image></OME>'
    )


# OME-XML: a missing unit means micrometre (schema of 2015-01 and before).
@pytest.mark.parametrize(
    ("size", "unit", "um"),
    [
        ("0.65", None, 0.65),
        ("0.65", "\u00b5m", 0.65),
        ("0.65", "\u03bcm", 0.65),
        ("650", "nm", 0.65),
        ("0.00065", "mm", 0.65),
        ("6.5e-5", "cm", 0.65),
        ("6.5E-7", "m", 0.65),
        ("0.0001", "in", 2.54),
    ],
)
def test_ome_physical_size(size, unit, um):
    attributes = {"PhysicalSizeX": size, "PhysicalSizeY": size}
    if unit:
        attributes |= {"PhysicalSizeXUnit": unit, "PhysicalSizeYUnit": unit}
    scale, notes = scale_from_ome(ome(**attributes))
    assert scale is not None
    assert scale.um_per_px == pytest.approx(um, rel=1e-12)
    assert scale.source == "OME-TIFF physical size"
    assert notes == ()


@pytest.mark.parametrize("unit", ["pixel", "reference frame", "parsec-ish"])
def test_ome_units_that_are_no_length(unit):
    scale, notes = scale_from_ome(ome(PhysicalSizeX="0.65", PhysicalSizeXUnit=unit))
    assert scale is None
    assert notes == (f'physical size in "{unit}" is not a length, so it is not a scale',)


@pytest.mark.parametrize("size", ["0", "-0.65", "nan", "inf", "1000", "abc"])
def test_ome_sizes_that_are_no_scale(size):
    scale, notes = scale_from_ome(ome(PhysicalSizeX=size))
    assert scale is None
    assert len(notes) == 1


def test_ome_without_a_size_or_unreadable():
    assert scale_from_ome(ome()) == (None, ())
    assert scale_from_ome("<OME/>") == (None, ())
    assert "cannot be parsed" in scale_from_ome("<OME")[1][0]


def test_x_and_y_that_differ():
    scale, notes = scale_from_ome(ome(PhysicalSizeX="0.64", PhysicalSizeY="0.66"))
    assert scale is not None
    assert scale.um_per_px == pytest.approx(0.65)
    assert "x 0.64 and y 0.66 um/px differ by 3.1 %; their mean is used" in notes[0]
    _, turned = scale_from_ome(ome(PhysicalSizeX="0.64", PhysicalSizeY="0.66"), swapped=True)
    assert "x 0.66 and y 0.64" in turned[0]
    assert scale_from_ome(ome(PhysicalSizeX="0.65", PhysicalSizeY="0.652"))[1] == ()
    scale, notes = scale_from_ome(ome(PhysicalSizeX="0.5", PhysicalSizeY="1"))
    assert scale is None
    assert "not used as a scale" in notes[0]


# TIFF Revision 6.0 (3 June 1992), pages 18-19: pixels per ResolutionUnit, 1 none,
# 2 inch (the default), 3 centimetre.
@pytest.mark.parametrize(
    ("resolution", "unit", "um"),
    [
        ((20000, 1), 3, 0.5),
        ((40000, 2), 3, 0.5),
        ((25400, 1), 2, 1.0),
        ((25400, 1), None, 1.0),
        ((254000, 5), 2, 0.5),
        (10000.0, 3, 1.0),
    ],
)
def test_tiff_resolution(resolution, unit, um):
    scale, notes = scale_from_resolution(resolution, resolution, unit)
    assert scale is not None
    assert scale.um_per_px == pytest.approx(um, rel=1e-12)
    assert notes == ()


@pytest.mark.parametrize("dpi", [72, 96, 150, 300, 600, 1200])
def test_printing_values_are_no_scale(dpi):
    scale, notes = scale_from_resolution((dpi, 1), (dpi, 1), 2)
    assert scale is None
    assert f"{dpi} dots per inch, a printing value" in notes[0]


def test_resolutions_without_meaning():
    assert scale_from_resolution(None, None, 2) == (None, ())
    assert scale_from_resolution((0, 1), (1, 0), 2) == (None, ())
    assert "has no unit" in scale_from_resolution((15385, 10000), (15385, 10000), 1)[1][0]
    assert "unknown unit 7" in scale_from_resolution((20000, 1), (20000, 1), 7)[1][0]


@pytest.mark.parametrize("unit", ["micron", "um", "\u00b5m", "\\u00B5m"])
def test_a_unit_named_in_the_description(unit):
    scale, _ = scale_from_resolution((2, 1), (2, 1), 1, description=f"images=1\nunit={unit}\nmin=0")
    assert scale is not None
    assert scale.um_per_px == 0.5


def test_units():
    assert unit_um(" MM ") == 1000
    assert unit_um("furlong") is None


def test_ome_tiff_as_written_by_its_library(tmp_path):
    path = tmp_path / "slide.ome.tif"
    tifffile.imwrite(
        path,
        np.zeros((20, 30, 3), np.uint8),
        photometric="rgb",
        resolution=(72, 72),
        resolutionunit="INCH",
        metadata={
            "axes": "YXS",
            "PhysicalSizeX": 325.0,
            "PhysicalSizeXUnit": "nm",
            "PhysicalSizeY": 0.325,
            "PhysicalSizeYUnit": "\u00b5m",
        },
    )
    photo = read_photo(path)
    assert photo.tag_scale is not None
    assert photo.tag_scale.um_per_px == pytest.approx(0.325)


@pytest.mark.parametrize("code", [1, 6])
def test_tiff_as_written_by_its_library(tmp_path, code):
    path = tmp_path / "x.tif"
    tifffile.imwrite(
        path,
        np.zeros((20, 30, 3), np.uint8),
        photometric="rgb",
        resolution=(20000, 19000),
        resolutionunit="CENTIMETER",
        metadata=None,
        extratags=[(274, "H", 1, code, True)],
    )
    photo = read_photo(path)
    assert photo.tag_scale is not None
    assert photo.tag_scale.um_per_px == pytest.approx((10000 / 20000 + 10000 / 19000) / 2)
    first = "x 0.5 and y 0.52632" if code == 1 else "x 0.52632 and y 0.5"
    assert first in photo.notes[0]


def test_the_resolution_of_other_formats_is_never_a_scale(tmp_path):
    for kind in ("JPEG", "PNG", "BMP"):
        buffer = io.BytesIO()
        Image.new("RGB", (30, 20)).save(buffer, kind, dpi=(25400, 25400))
        path = tmp_path / "x"
        path.write_bytes(buffer.getvalue())
        assert read_photo(path).tag_scale is None
