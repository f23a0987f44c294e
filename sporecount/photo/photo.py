"""The photo as the rest of the package sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class TagScale:
    """A scale that the file itself carries.

    Attributes
    ----------
    um_per_px : float
        Micrometres per pixel of the upright picture (mean of x and y).
    source : str
        Which tag said so, for people: ``"OME-TIFF physical size"``,
        ``"TIFF resolution tags"``.
    """

    um_per_px: float
    source: str


@dataclass(frozen=True, eq=False)
class Photo:
    """One photo, upright, in memory.

    Attributes
    ----------
    name : str
        Path relative to the folder that was given, with forward slashes.
    pixels : ndarray, shape (height, width, 3), uint8
        RGB, upright (EXIF orientation applied), read-only. The centre of the
        top-left pixel is at (x, y) = (0, 0); x runs right, y down.
    sha256 : str
        Hash of the file's bytes (of the pixels, where there is no file).
    tag_scale : TagScale or None
        Scale found in the file's own tags.
    notes : tuple of str
        What the reader had to do that a person should know ("first of 3 pages").
    """

    name: str
    pixels: NDArray[np.uint8]
    sha256: str
    tag_scale: TagScale | None = None
    notes: tuple[str, ...] = ()
