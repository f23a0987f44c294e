"""EXIF/TIFF orientation codes, applied in one place for every format."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

#: Codes under which a stored row becomes a column.
SWAPPING_CODES = (5, 6, 7, 8)


def upright(pixels: NDArray[np.uint8], code: int) -> NDArray[np.uint8]:
    """Turn stored pixels upright.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3), uint8
        Pixels as stored. Not changed.
    code : int
        Orientation, 1 to 8; anything else counts as 1, as viewers treat it.

    Returns
    -------
    ndarray, shape (height, width, 3) or (width, height, 3), uint8
        The input itself where nothing is to be done.

    References
    ----------
    TIFF Revision 6.0, tag 274 [tiff6].

    Examples
    --------
    >>> import numpy as np
    >>> stored = np.arange(6, dtype=np.uint8).reshape(1, 2, 3)
    >>> upright(stored, 6)[:, 0, 0].tolist()
    [0, 3]
    """
    if code == 2:
        return cv2.flip(pixels, 1)  # type: ignore[return-value]
    if code == 3:
        return cv2.rotate(pixels, cv2.ROTATE_180)  # type: ignore[return-value]
    if code == 4:
        return cv2.flip(pixels, 0)  # type: ignore[return-value]
    if code == 5:
        return cv2.transpose(pixels)  # type: ignore[return-value]
    if code == 6:
        return cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)  # type: ignore[return-value]
    if code == 7:
        return cv2.rotate(cv2.transpose(pixels), cv2.ROTATE_180)  # type: ignore[return-value]
    if code == 8:
        return cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)  # type: ignore[return-value]
    return pixels
