"""From a file or an array to a `Photo`: upright 8-bit RGB, or an error that says why not."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sporecount.errors import PhotoUnreadableError
from sporecount.photo.decoded import COPY_AGAIN, Decoded, check_pixel_count
from sporecount.photo.depth import rgb8
from sporecount.photo.orient import upright
from sporecount.photo.photo import Photo

#: Larger files are refused before they are read into memory.
BYTE_LIMIT = 4_000_000_000

FORMATS = "JPEG, PNG, TIFF, OME-TIFF, BMP, WebP, GIF or HEIC"

_HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")


def read_photo(path: str | Path, name: str | None = None) -> Photo:
    """Read a photo.

    Parameters
    ----------
    path : str or Path
        A JPEG, PNG, TIFF, OME-TIFF, BMP, WebP, GIF or HEIC file, told apart by
        its content, not by its name.
    name : str, optional
        Name of the photo in results; the file's name by default.

    Returns
    -------
    Photo
        Upright 8-bit RGB pixels, read-only. Of several pages or frames, the
        first; what was left out or converted is in ``notes``. The dots per inch
        of a JPEG are a printing value and never a scale.

    Raises
    ------
    PhotoUnreadableError
        If the file is missing, empty, not a picture, cut short, damaged, or
        larger than 600 megapixels.
    """
    path = Path(path)
    given = name if name is not None else path.name or str(path)
    data = _file_bytes(path, given)
    kind = _kind(data)
    if kind is None:
        raise PhotoUnreadableError(
            given, "it is not a picture this program reads", f"export it as {FORMATS}"
        )
    decoded = _decode(data, kind, given)
    return _photo(decoded, given, hashlib.sha256(data).hexdigest())


def photo_from_array(array: ArrayLike, name: str = "array") -> Photo:
    """Make a photo of an array, as if it had been read from a file.

    Parameters
    ----------
    array : array_like, shape (height, width) or (height, width, 1 to 4)
        Grey, grey + alpha, RGB or RGB + alpha; uint8, uint16, bool, or float
        from 0 to 1. Copied, never changed.
    name : str
        Name of the photo in results.

    Returns
    -------
    Photo
        With the hash of the pixels, and no scale.

    Raises
    ------
    PhotoUnreadableError
        For other shapes, types and values.

    Examples
    --------
    >>> import numpy as np
    >>> photo_from_array(np.zeros((4, 6))).pixels.shape
    (4, 6, 3)
    """
    samples = np.array(array)
    remedy = "give (height, width) or (height, width, 3): uint8, uint16, or float from 0 to 1"
    if samples.dtype.kind != "b" and samples.dtype not in (np.uint8, np.uint16):
        if samples.dtype.kind != "f":
            raise PhotoUnreadableError(name, f"its type {samples.dtype} is not allowed", remedy)
        if samples.size and not bool(np.isfinite(samples).all()):
            raise PhotoUnreadableError(name, "it holds values that are not finite", remedy)
        if samples.size and not (samples.min() >= 0 and samples.max() <= 1):
            span = f"{samples.min():g} to {samples.max():g}"
            raise PhotoUnreadableError(name, f"its values run from {span}", remedy)
    if samples.ndim == 3 and samples.shape[0] in (1, 3, 4) and samples.shape[2] > 4:
        raise PhotoUnreadableError(
            name,
            f"shape {samples.shape} has the channels first",
            "move them last: numpy.moveaxis(array, 0, -1)",
        )
    if samples.size == 0 or samples.ndim not in (2, 3) or samples.shape[2:] > (4,):
        raise PhotoUnreadableError(name, f"shape {samples.shape} is not a picture", remedy)
    check_pixel_count(samples.shape[1], samples.shape[0], name)
    return _photo(Decoded(samples), name, None)


def _file_bytes(path: Path, given: str) -> bytes:
    """Read a file whole, with an error a person can act on."""
    try:
        if path.is_dir():
            raise PhotoUnreadableError(given, "it is a folder", "give the photos in it")
        size = path.stat().st_size
        if size > BYTE_LIMIT:
            raise PhotoUnreadableError(
                given,
                f"it has {size / 1e9:.1f} GB, more than the limit of {BYTE_LIMIT / 1e9:.0f} GB",
                "cut it into tiles, or export it at a lower resolution and with its new scale",
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise PhotoUnreadableError(given, "there is no such file", "check the name") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PhotoUnreadableError(
            given, f"it cannot be opened ({reason})", "check the disk and your rights to read it"
        ) from error
    if not data:
        raise PhotoUnreadableError(given, "the file is empty", COPY_AGAIN)
    return data


def _kind(data: bytes) -> str | None:
    """Tell the format from the first bytes; names lie more often than bytes do."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return None if data[8:10] == b"CR" else "TIFF"  # CR: a camera's raw file
    if data[:2] == b"BM":
        return "BMP"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[:6] in (b"GIF87a", b"GIF89a"):
        return "GIF"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS and b"avif" not in data[8:40]:
        return "HEIC"
    return None


def _decode(data: bytes, kind: str, given: str) -> Decoded:
    """Hand the bytes to the decoder of their format."""
    if kind == "TIFF":
        from sporecount.photo.tiff import decode_tiff  # tifffile is slow to import

        return decode_tiff(data, given)
    from sporecount.photo.rasters import decode_raster

    return decode_raster(data, kind, given)


def _photo(decoded: Decoded, name: str, sha256: str | None) -> Photo:
    """Bring decoded samples to 8-bit RGB, turn them upright and lock them."""
    try:
        pixels, notes = rgb8(
            decoded.samples,
            bits=decoded.bits,
            white_is_zero=decoded.white_is_zero,
            premultiplied=decoded.premultiplied,
        )
    except ValueError as error:
        raise PhotoUnreadableError(name, str(error), f"export it as {FORMATS}") from error
    pixels = np.ascontiguousarray(upright(pixels, decoded.orientation))
    pixels.setflags(write=False)
    return Photo(
        name=name,
        pixels=pixels,
        sha256=sha256 if sha256 is not None else _pixel_hash(pixels),
        tag_scale=decoded.tag_scale,
        notes=decoded.notes + notes,
    )


def _pixel_hash(pixels: NDArray[Any]) -> str:
    """Hash shape and pixels, so that two arrays of the same bytes differ in shape."""
    digest = hashlib.sha256(repr(pixels.shape).encode())
    digest.update(pixels.data)
    return digest.hexdigest()
