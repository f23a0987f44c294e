"""Reading files: every format upright, whole, and with its own depth."""

from __future__ import annotations

import hashlib
import io

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from sporecount.errors import PhotoUnreadableError
from sporecount.photo import decoded
from sporecount.photo.depth import rgb8
from sporecount.photo.read import photo_from_array, read_photo

ORIENTATIONS = range(1, 9)


def scene(height=48, width=64):
    """Four corners of different colours on a slope: no turn or flip leaves it as it is."""
    y, x = np.mgrid[:height, :width]
    rgb = np.stack([x * 3, y * 4, 40 + x + y], axis=-1).astype(np.uint8)
    rgb[: height // 3, : width // 4] = (250, 20, 20)
    return rgb


def encoded(kind, array, **more):
    buffer = io.BytesIO()
    Image.fromarray(array).save(buffer, kind, **more)
    return buffer.getvalue()


def noisy_jpeg(**more):
    noise = np.random.default_rng(1).integers(0, 255, (200, 240, 3), dtype=np.uint8)
    return encoded("JPEG", noise, quality=90, **more)


@pytest.fixture
def put(tmp_path):
    def write(data, name="photo.bin"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return write


@pytest.mark.parametrize("code", ORIENTATIONS)
@pytest.mark.parametrize(
    ("kind", "more", "off"),
    [
        ("JPEG", {"quality": 95, "subsampling": 0}, 0),
        ("PNG", {}, 0),
        ("WEBP", {"lossless": True}, 0),
    ],
)
def test_orientation_matches_an_independent_reader(put, kind, more, off, code):
    exif = Image.Exif()
    exif[274] = code
    data = encoded(kind, scene(), exif=exif.tobytes(), **more)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    got = read_photo(put(data)).pixels
    assert got.shape == expected.shape
    assert np.abs(got.astype(int) - expected).max() <= off


@pytest.mark.parametrize("code", ORIENTATIONS)
@pytest.mark.parametrize("deep", [False, True])
def test_tiff_orientation(put, code, deep):
    array = scene().astype(np.uint16) * 257 if deep else scene()
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer, array, photometric="rgb", metadata=None, extratags=[(274, "H", 1, code, True)]
    )
    plain = Image.fromarray(scene())
    plain.getexif()[274] = code
    expected = np.asarray(ImageOps.exif_transpose(plain))
    np.testing.assert_array_equal(read_photo(put(buffer.getvalue())).pixels, expected)


@pytest.mark.parametrize("code", ORIENTATIONS)
def test_heic_orientation(put, code):
    import pillow_heif

    pillow_heif.register_heif_opener()
    plain = Image.fromarray(scene())
    exif = Image.Exif()
    exif[274] = code
    buffer = io.BytesIO()
    plain.save(buffer, "HEIF", exif=exif.tobytes(), quality=95)
    plain.getexif()[274] = code
    expected = np.asarray(ImageOps.exif_transpose(plain)).astype(int)
    got = read_photo(put(buffer.getvalue())).pixels
    assert got.shape == expected.shape
    assert np.abs(got - expected).mean() < 6


@pytest.mark.parametrize("kind", ["PNG", "BMP", "TIFF", "GIF"])
@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB", "RGBA"])
def test_modes_match_an_independent_reader(put, kind, mode):
    image = Image.fromarray(scene()).convert(mode)
    if (kind, mode) == ("BMP", "RGBA"):
        pytest.skip("alpha in BMP has no agreed meaning")
    buffer = io.BytesIO()
    image.save(buffer, kind)
    expected = np.asarray(Image.open(io.BytesIO(buffer.getvalue())).convert("RGB"))
    np.testing.assert_array_equal(read_photo(put(buffer.getvalue())).pixels, expected)


def test_a_photo_is_read_only_rgb_with_the_hash_of_its_bytes(put):
    data = encoded("JPEG", scene()[..., 0])
    photo = read_photo(put(data, "grey.jpg"))
    assert photo.pixels.shape == (48, 64, 3)
    assert photo.pixels.dtype == np.uint8
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.name == "grey.jpg"
    with pytest.raises(ValueError, match="read-only"):
        photo.pixels[0, 0] = 0


@pytest.mark.parametrize(
    "name",
    ["Ä ö.jpg", "样品 1.jpg", "a'b\"#%&.jpg", "no suffix", "-x.jpg", "🦋.png", "e\u0301.jpg"],
)
def test_odd_names(put, name):
    assert read_photo(put(encoded("JPEG", scene()), name)).name == name


def test_the_content_decides_not_the_name(put):
    np.testing.assert_array_equal(read_photo(put(encoded("PNG", scene()), "x.jpg")).pixels, scene())


@pytest.mark.parametrize("share", [0.5, 0.9, 0.999])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_cut_short_is_refused(put, share, progressive):
    data = noisy_jpeg(progressive=progressive)
    with pytest.raises(PhotoUnreadableError, match=r"damaged or cut short.*Copy the file"):
        read_photo(put(data[: int(len(data) * share)]))


@pytest.mark.parametrize("kind", ["PNG", "BMP", "WEBP", "GIF", "TIFF", "HEIF"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.9, 0.97])
def test_other_formats_cut_short_are_refused(put, kind, share):
    import pillow_heif

    pillow_heif.register_heif_opener()
    noise = np.random.default_rng(2).integers(0, 255, (90, 110, 3), dtype=np.uint8)
    data = encoded(kind, noise)
    with pytest.raises(PhotoUnreadableError):
        read_photo(put(data[: int(len(data) * share)]))


@pytest.mark.parametrize("compression", [None, "zlib", "lzw", "jpeg"])
def test_a_tiff_whose_last_strip_is_missing_is_refused(put, compression):
    noise = np.random.default_rng(3).integers(0, 255, (90, 110, 3), dtype=np.uint8)
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, noise, photometric="rgb", compression=compression, rowsperstrip=16)
    assert read_photo(put(buffer.getvalue())).pixels.shape == noise.shape
    with pytest.raises(PhotoUnreadableError, match="cut short"):
        read_photo(put(buffer.getvalue()[:-40]))


@pytest.mark.parametrize(
    ("data", "wrong"),
    [
        (b"", "the file is empty"),
        (b"hello, not a picture", "not a picture this program reads"),
        (b"\xff\xd8\xff", "damaged or cut short"),
        (b"II*\x00", "damaged or of an unknown kind"),
        (b"\x00" * 500, "not a picture this program reads"),
    ],
)
def test_what_is_no_picture_is_refused(put, data, wrong):
    with pytest.raises(PhotoUnreadableError, match=wrong) as caught:
        read_photo(put(data, "bad.jpg"), name="tray/bad.jpg")
    assert caught.value.given == "tray/bad.jpg"
    assert caught.value.remedy


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(PhotoUnreadableError, match="no such file"):
        read_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoUnreadableError, match="it is a folder"):
        read_photo(tmp_path)


def test_too_many_pixels_are_refused_before_they_are_decoded(put, monkeypatch):
    monkeypatch.setattr(decoded, "PIXEL_LIMIT", 3000)
    for data in (encoded("PNG", scene()), encoded("JPEG", scene()), encoded("TIFF", scene())):
        with pytest.raises(PhotoUnreadableError, match=r"64 x 48 pixels, more than the limit"):
            read_photo(put(data))


def test_pictures_above_the_usual_guard_against_bombs_are_read(put, monkeypatch):
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 100)
    for kind in ("PNG", "JPEG", "BMP", "GIF", "TIFF"):
        assert read_photo(put(encoded(kind, scene()))).pixels.shape == (48, 64, 3)


def test_cmyk_jpeg_comes_out_in_its_colours(put):
    data = io.BytesIO()
    Image.new("RGB", (32, 32), (200, 120, 40)).convert("CMYK").save(data, "JPEG", quality=95)
    photo = read_photo(put(data.getvalue()))
    assert np.abs(photo.pixels[16, 16].astype(int) - (200, 120, 40)).max() <= 3
    assert any("CMYK" in note for note in photo.notes)


def test_alpha_is_laid_on_white_and_said(put):
    rgba = np.dstack([scene(), np.full((48, 64), 255, np.uint8)])
    assert read_photo(put(encoded("PNG", rgba))).notes == ()
    rgba[:24, :, 3] = 0
    photo = read_photo(put(encoded("PNG", rgba)))
    assert (photo.pixels[:24] == 255).all()
    np.testing.assert_array_equal(photo.pixels[24:], scene()[24:])
    assert photo.notes == ("transparent parts laid on white",)


@pytest.mark.parametrize("bits", [10, 12, 14, 16])
def test_deep_tiff_and_png_use_the_depth_of_their_data(put, bits):
    top = (1 << bits) - 1
    deep = np.rint(scene() / 255.0 * top).astype(np.uint16)
    deep[0, 0] = top
    tiff, png = io.BytesIO(), io.BytesIO()
    tifffile.imwrite(tiff, deep, photometric="rgb")
    import cv2

    png.write(cv2.imencode(".png", deep[..., ::-1])[1].tobytes())
    for data in (tiff, png):
        photo = read_photo(put(data.getvalue()))
        np.testing.assert_array_equal(photo.pixels[1:], scene()[1:])
        assert photo.notes[-1] == f"{bits}-bit samples reduced to 8 bit"


def test_grey_alpha_and_rgba_png_of_16_bits(put):
    import cv2

    deep = np.dstack([scene(), np.full((48, 64), 255, np.uint8)]).astype(np.uint16) * 257
    bgra = np.ascontiguousarray(deep[..., [2, 1, 0, 3]])
    photo = read_photo(put(cv2.imencode(".png", bgra)[1].tobytes()))
    np.testing.assert_array_equal(photo.pixels, scene())


def test_white_is_zero_planar_and_float_tiff(put):
    grey = scene()[..., 0]
    for array, more, expected in (
        (grey, {"photometric": "miniswhite"}, np.dstack([255 - grey] * 3)),
        (np.moveaxis(scene(), 2, 0), {"photometric": "rgb", "planarconfig": "separate"}, scene()),
        ((grey / 255).astype(np.float32), {"photometric": "minisblack"}, np.dstack([grey] * 3)),
        (grey.astype(np.float32), {"photometric": "minisblack"}, np.dstack([grey] * 3)),
        (grey.astype(np.int16), {"photometric": "minisblack"}, np.dstack([grey] * 3)),
        (grey[:47, :61], {"photometric": "minisblack", "tile": (16, 16)}, None),
    ):
        buffer = io.BytesIO()
        tifffile.imwrite(buffer, np.ascontiguousarray(array), **more)
        expected = np.dstack([array] * 3) if expected is None else expected
        np.testing.assert_array_equal(read_photo(put(buffer.getvalue())).pixels, expected)


def test_ycbcr_and_cmyk_tiff(put):
    for mode in ("YCbCr", "CMYK"):
        buffer = io.BytesIO()
        Image.fromarray(scene()).convert(mode).save(buffer, "TIFF")
        expected = Image.fromarray(scene()).convert(mode).convert("RGB")
        got = read_photo(put(buffer.getvalue())).pixels
        np.testing.assert_array_equal(got, np.asarray(expected))


def test_of_several_pages_or_frames_the_first(put):
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as tif:
        for page in (scene(), scene()[::-1], scene()[:, ::-1], scene()):
            tif.write(page, photometric="rgb", metadata=None)
    photo = read_photo(put(buffer.getvalue()))
    np.testing.assert_array_equal(photo.pixels, scene())
    assert photo.notes == ("first of 4 pages",)
    gif = io.BytesIO()
    frames = [Image.fromarray(scene()[..., 0]), Image.fromarray(scene()[::-1, :, 0])]
    frames[0].save(gif, "GIF", save_all=True, append_images=frames[1:])
    assert read_photo(put(gif.getvalue())).notes == ("first of 2 frames",)


def test_a_thumbnail_before_the_picture_is_passed_over(put):
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as tif:
        tif.write(scene()[::4, ::4], photometric="rgb", subfiletype=1, metadata=None)
        tif.write(scene(), photometric="rgb", metadata=None)
    assert read_photo(put(buffer.getvalue())).pixels.shape == (48, 64, 3)


def test_three_channel_pages_make_one_colour_picture(put):
    buffer = io.BytesIO()
    planes = np.ascontiguousarray(np.moveaxis(scene(), 2, 0))
    tifffile.imwrite(buffer, planes, ome=True, photometric="minisblack", metadata={"axes": "CYX"})
    photo = read_photo(put(buffer.getvalue(), "x.ome.tif"))
    np.testing.assert_array_equal(photo.pixels, scene())
    assert any("red, green and blue" in note for note in photo.notes)


def test_raw_sensor_data_are_refused(put):
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        scene()[..., 0],
        photometric="minisblack",
        extratags=[(50706, "B", 4, (1, 4, 0, 0), True)],
    )
    with pytest.raises(PhotoUnreadableError, match=r"raw sensor data.*[Ee]xport it"):
        read_photo(put(buffer.getvalue()))


def test_damaged_exif_does_not_keep_a_photo_from_being_read(put):
    data = encoded("JPEG", scene(), exif=b"Exif\x00\x00MM\x00*\xff\xff\xff\xff junk")
    assert read_photo(put(data)).pixels.shape == (48, 64, 3)


# --- arrays ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "array",
    [
        scene(),
        scene().astype(np.uint16) * 257,
        scene() / 255.0,
        (scene() / 255.0).astype(np.float32),
        np.dstack([scene(), np.full((48, 64), 255, np.uint8)]),
    ],
)
def test_arrays_of_every_type_give_the_same_photo(array):
    before = array.copy()
    photo = photo_from_array(array)
    np.testing.assert_array_equal(photo.pixels[..., :2], scene()[..., :2])
    np.testing.assert_array_equal(array, before)
    array[:] = 0  # the photo is a copy
    assert photo.pixels.any()
    assert photo.tag_scale is None


def test_the_hash_of_an_array_depends_on_its_pixels_and_shape():
    hashes = {
        photo_from_array(a).sha256
        for a in (np.zeros((2, 8)), np.zeros((8, 2)), np.ones((2, 8)), np.zeros((4, 4)))
    }
    assert len(hashes) == 4


@pytest.mark.parametrize(
    ("array", "wrong"),
    [
        (np.zeros((0, 5)), "not a picture"),
        (np.zeros(5), "not a picture"),
        (np.zeros((5, 6, 5)), "not a picture"),
        (np.zeros((2, 5, 6, 3)), "not a picture"),
        (np.zeros((3, 50, 60)), "channels first"),
        (np.zeros((5, 6), dtype=np.int64), "type int64"),
        (np.zeros((5, 6), dtype=complex), "type complex"),
        (np.full((5, 6), "a"), "type <U1"),
        (np.full((5, 6), np.nan), "not finite"),
        (np.full((5, 6), np.inf), "not finite"),
        (np.full((5, 6), 200.0), "values run from 200 to 200"),
        (np.full((5, 6), -0.5), "values run from -0.5"),
    ],
)
def test_arrays_that_are_no_pictures_are_refused(array, wrong):
    with pytest.raises(PhotoUnreadableError, match=wrong):
        photo_from_array(array, "mine")


def test_bool_and_premultiplied_samples():
    pixels, _ = rgb8(np.array([[True, False]]))
    assert pixels[0, :, 0].tolist() == [255, 0]
    half = np.array([[[64, 64, 64, 128]]], dtype=np.uint8)
    assert rgb8(half, premultiplied=True)[0][0, 0, 0] == 64 + 127
    assert rgb8(half)[0][0, 0, 0] == round((64 * 128 + 255 * 127) / 255)


def test_declared_depth_beats_the_guess_unless_the_data_contradict_it():
    dim = np.array([[0, 600]], dtype=np.uint16)
    assert rgb8(dim, bits=12)[0][0, 1, 0] == round(600 * 255 / 4095)
    assert rgb8(dim)[0][0, 1, 0] == round(600 * 255 / 1023)
    assert rgb8(dim, bits=9)[0][0, 1, 0] == round(600 * 255 / 1023)
    nibble = np.array([[0, 15]], dtype=np.uint8)
    assert rgb8(nibble, bits=4)[0][0, 1, 0] == 255
