"""What a decoder hands on: samples as stored, and what must still be done to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from sporecount.errors import PhotoUnreadableError
from sporecount.photo.photo import TagScale

#: Larger pictures are refused: they would not fit in a usual computer's memory.
PIXEL_LIMIT = 600_000_000

COPY_AGAIN = "copy the file from the camera again, or export it as JPEG, PNG or TIFF"


@dataclass(frozen=True, eq=False)
class Decoded:
    """A decoded picture, not yet upright and not yet 8-bit RGB.

    Attributes
    ----------
    samples : ndarray, shape (height, width) or (height, width, 1 to 4)
        Grey, grey + alpha, RGB or RGB + alpha, of the type the file holds.
    bits : int or None
        Bit depth the file declares for its samples; None where it says nothing.
    white_is_zero : bool
        True where 0 means white.
    premultiplied : bool
        True where the colours have been multiplied by alpha already.
    orientation : int
        EXIF/TIFF orientation code that is still to be applied.
    tag_scale : TagScale or None
        Scale found in the tags.
    notes : tuple of str
        What a person should know.
    """

    samples: NDArray[Any]
    bits: int | None = None
    white_is_zero: bool = False
    premultiplied: bool = False
    orientation: int = 1
    tag_scale: TagScale | None = None
    notes: tuple[str, ...] = ()


def check_pixel_count(width: int, height: int, given: str) -> None:
    """Refuse a picture that is empty or too large to hold in memory.

    Raises
    ------
    PhotoUnreadableError
        If there is no pixel, or more than `PIXEL_LIMIT`.
    """
    if width < 1 or height < 1:
        raise PhotoUnreadableError(given, f"it has no pixels ({width} x {height})", COPY_AGAIN)
    if width * height > PIXEL_LIMIT:
        raise PhotoUnreadableError(
            given,
            f"it has {width} x {height} pixels, more than the limit of "
            f"{PIXEL_LIMIT // 1_000_000} megapixels",
            "cut it into tiles, or export it at a lower resolution and with its new scale",
        )
