"""Decoding of TIFF and OME-TIFF."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from sporecount.errors import PhotoUnreadableError
from sporecount.photo.decoded import COPY_AGAIN, Decoded, check_pixel_count
from sporecount.photo.orient import SWAPPING_CODES
from sporecount.photo.tagscale import Found, scale_from_ome, scale_from_resolution

# Photometric interpretations and one compression, by their TIFF numbers.
WHITE_IS_ZERO, BLACK_IS_ZERO, RGB, PALETTE, SEPARATED, YCBCR = 0, 1, 2, 3, 5, 6
UNCOMPRESSED_COLOURS = (1, 5, 8, 32773, 32946)  # none, LZW, deflate, PackBits, deflate (old)
MAX_SAMPLE_VALUE, ORIENTATION, DNG_VERSION = 281, 274, 50706

EXPORT = "export it as an RGB or grey TIFF, PNG or JPEG"


def decode_tiff(data: bytes, given: str) -> Decoded:
    """Decode the first full-size page of a TIFF.

    Parameters
    ----------
    data : bytes
        The whole file.
    given : str
        Name of the file, for messages.

    Raises
    ------
    PhotoUnreadableError
        If any part of the picture is missing or damaged, it is too large, or it
        is not a grey or colour picture (raw sensor data, volumes, CIELab).
    """
    try:
        with tifffile.TiffFile(io.BytesIO(data)) as tif:
            return _decode(tif, len(data), given)
    except PhotoUnreadableError:
        raise
    except MemoryError as error:
        raise PhotoUnreadableError(
            given, "there is not enough memory to hold it", "export it at a lower resolution"
        ) from error
    except Exception as error:  # tifffile and its codecs raise whatever they like
        text = " ".join(str(error).split()).rstrip(".")[:120] or type(error).__name__
        raise PhotoUnreadableError(
            given, f"the TIFF picture is damaged or of an unknown kind ({text})", COPY_AGAIN
        ) from error


def _decode(tif: Any, file_size: int, given: str) -> Decoded:
    pages = list(tif.pages)
    index = next((i for i, p in enumerate(pages) if not getattr(p, "is_reduced", False)), -1)
    page = pages[index].aspage()
    if index < 0 or DNG_VERSION in page.tags:
        raise PhotoUnreadableError(given, "it holds raw sensor data, not a picture", EXPORT)
    check_pixel_count(page.imagewidth, page.imagelength, given)
    orientation = _number(page, ORIENTATION, 1)
    tag_scale, notes = _tag_scale(tif, page, orientation in SWAPPING_CODES)
    if _is_three_channel_pages(tif):
        for channel in pages[:3]:
            _check_whole(channel.aspage(), file_size, given)
        samples = np.moveaxis(np.squeeze(tif.series[0].asarray()), 0, -1)
        notes += ("three channel pages read as red, green and blue",)
        return Decoded(
            samples, _declared_bits(tif, page), False, False, orientation, tag_scale, notes
        )
    if len(pages) > 1:
        which = "first" if index == 0 else f"page {index + 1}, the first of full size,"
        notes += (f"{which} of {len(pages)} pages",)
    _check_whole(page, file_size, given)
    samples, premultiplied, more = _samples(page, given)
    return Decoded(
        samples,
        bits=_declared_bits(tif, page),
        white_is_zero=int(page.photometric) == WHITE_IS_ZERO,
        premultiplied=premultiplied,
        orientation=orientation,
        tag_scale=tag_scale,
        notes=notes + more,
    )


def _check_whole(page: Any, file_size: int, given: str) -> None:
    """Refuse a page with strips or tiles outside the file, which would come out black."""
    ends = [o + n for o, n in zip(page.dataoffsets, page.databytecounts)]
    if not ends or min(page.databytecounts) == 0 or max(ends) > file_size:
        raise PhotoUnreadableError(given, "the TIFF picture is cut short", COPY_AGAIN)


def _is_three_channel_pages(tif: Any) -> bool:
    """Say whether red, green and blue are stored as three grey pages."""
    if not tif.series or len(tif.pages) != 3:
        return False
    axes = [a for a, n in zip(tif.series[0].axes, tif.series[0].shape) if n > 1]
    return axes == ["C", "Y", "X"] and tif.series[0].sizes.get("channel", 3) == 3


def _samples(page: Any, given: str) -> tuple[NDArray[Any], bool, tuple[str, ...]]:
    """Read a page as grey, grey + alpha, RGB or RGB + alpha samples."""
    samples = page.asarray()
    if page.axes.startswith("S"):  # planar: one plane per channel
        samples = np.moveaxis(samples, 0, -1)
    photometric = int(page.photometric)
    channels = 1 if samples.ndim == 2 else samples.shape[-1]
    if samples.ndim not in (2, 3):
        raise PhotoUnreadableError(given, f"a page of axes {page.axes} is not flat", EXPORT)
    if photometric == PALETTE and channels == 1:
        return _through_palette(page.colormap, samples), False, ()
    if photometric == SEPARATED and channels >= 4 and samples.dtype == np.uint8:
        ink = Image.fromarray(np.ascontiguousarray(samples[..., :4]), mode="CMYK")
        note = "CMYK colours converted to RGB without a colour profile"
        return np.array(ink.convert("RGB")), False, (note,)
    if photometric == YCBCR and int(page.compression) in UNCOMPRESSED_COLOURS:
        if channels != 3 or samples.dtype != np.uint8:
            raise PhotoUnreadableError(given, "its YCbCr colours cannot be read", EXPORT)
        chroma = Image.fromarray(np.ascontiguousarray(samples), mode="YCbCr")
        return np.array(chroma.convert("RGB")), False, ()
    if photometric not in (WHITE_IS_ZERO, BLACK_IS_ZERO, RGB, YCBCR):
        kind = getattr(page.photometric, "name", photometric)
        raise PhotoUnreadableError(given, f"its colours are of the kind {kind}", EXPORT)
    return _without_extra_channels(samples, page, given)


def _without_extra_channels(
    samples: NDArray[Any], page: Any, given: str
) -> tuple[NDArray[Any], bool, tuple[str, ...]]:
    """Keep colours and a declared alpha; drop a channel nobody explains."""
    channels = 1 if samples.ndim == 2 else samples.shape[-1]
    colours = 3 if channels >= 3 else 1
    extra = [int(e) for e in page.extrasamples]
    if channels == colours:
        return samples, False, ()
    if extra[:1] in ([1], [2]):
        return samples[..., : colours + 1], extra[0] == 1, ()
    if channels > 4:
        raise PhotoUnreadableError(given, f"it has {channels} channels", EXPORT)
    note = f"{channels - colours} extra channel of unknown meaning left out"
    return samples[..., :colours], False, (note,)


def _through_palette(colormap: NDArray[np.uint16], index: NDArray[Any]) -> NDArray[np.uint8]:
    """Look up colours; entries are 16 bit, but some writers leave them at 8."""
    table = colormap if colormap.max() < 256 else colormap >> 8
    return table.T.astype(np.uint8)[index]


def _declared_bits(tif: Any, page: Any) -> int | None:
    """Return the bit depth the file declares, None where it says only 8 or 16."""
    bits = int(page.bitspersample)
    if int(page.photometric) in (PALETTE, SEPARATED) or bits == 8 or page.dtype.kind == "f":
        return None
    if bits < 16:
        return bits
    if tif.is_ome and tif.ome_metadata:
        _, found, rest = tif.ome_metadata.partition('SignificantBits="')
        if found and rest.partition('"')[0].isdigit():
            return int(rest.partition('"')[0])
    highest = _number(page, MAX_SAMPLE_VALUE, 0)
    return highest.bit_length() if 255 < highest < 65535 else None


def _tag_scale(tif: Any, page: Any, swapped: bool) -> Found:
    """Read the scale from OME-XML, or else from the resolution tags."""
    notes: tuple[str, ...] = ()
    if tif.is_ome and tif.ome_metadata:
        scale, notes = scale_from_ome(tif.ome_metadata, swapped=swapped)
        if scale is not None or notes:
            return scale, notes
    x, y, unit = (page.tags.valueof(tag) for tag in ("XResolution", "YResolution", 296))
    if (x, y) == ((1, 1), (1, 1)) and unit in (None, 1):
        return None, notes  # what writers put where nothing is known
    scale, more = scale_from_resolution(
        x, y, None if unit is None else int(unit), description=page.description, swapped=swapped
    )
    return scale, notes + more


def _number(page: Any, tag: int, default: int) -> int:
    """Return a tag as a whole number, or the default."""
    value = page.tags.valueof(tag)
    if isinstance(value, tuple):
        value = value[0] if value else None
    return int(value) if isinstance(value, int) else default
