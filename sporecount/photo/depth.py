"""From samples of any depth and channel count to 8-bit RGB, by stated rules."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

#: Depths that cameras deliver; data are read at the smallest that holds their maximum.
CAMERA_BITS = (8, 10, 12, 14, 16)


def rgb8(
    samples: NDArray[Any],
    *,
    bits: int | None = None,
    white_is_zero: bool = False,
    premultiplied: bool = False,
) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    """Convert samples to 8-bit RGB.

    Whole numbers of more than 8 bits are scaled by ``255 / (2**bits - 1)`` and
    rounded. Where the file does not declare ``bits``, it is the smallest of
    8, 10, 12, 14 and 16 that holds the largest sample, so that data of a 12-bit
    camera in a 16-bit file do not come out black. Floats are scaled from 0-1 if
    they fit, else as whole numbers. The counts rest on ratios of light, which no
    such factor changes.

    Parameters
    ----------
    samples : ndarray, shape (height, width) or (height, width, 1 to 4)
        Bool, integer or float; channels are grey, grey + alpha, RGB, RGB + alpha.
    bits : int, optional
        Declared bit depth of whole numbers.
    white_is_zero : bool
        Invert the samples.
    premultiplied : bool
        Colours are multiplied by alpha already.

    Returns
    -------
    pixels : ndarray, shape (height, width, 3), uint8
        New, or the input itself if it was 8-bit RGB already.
    notes : tuple of str
        What was done, for people.

    Raises
    ------
    ValueError
        For other shapes and types, negative samples, and samples that are not finite.

    Examples
    --------
    >>> pixels, notes = rgb8(np.array([[0, 4095]], dtype=np.uint16))
    >>> pixels[0, :, 0].tolist(), notes
    ([0, 255], ('12-bit samples reduced to 8 bit',))
    """
    if samples.ndim not in (2, 3) or (samples.ndim == 3 and not 1 <= samples.shape[2] <= 4):
        raise ValueError(f"shape {samples.shape} is not (height, width) or (height, width, 1 to 4)")
    if samples.size == 0:
        raise ValueError(f"shape {samples.shape} holds no pixels")
    eight, notes = _eight_bit(samples, bits)
    if white_is_zero:
        eight = np.bitwise_not(eight)
    channels = 1 if eight.ndim == 2 else eight.shape[2]
    if channels == 3:
        return np.ascontiguousarray(eight), notes
    if channels == 1:
        grey = np.ascontiguousarray(eight.reshape(eight.shape[:2]))
        return cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB).astype(np.uint8, copy=False), notes
    pixels, see_through = _on_white(eight, premultiplied)
    return pixels, notes + (("transparent parts laid on white",) if see_through else ())


def _eight_bit(
    samples: NDArray[Any], bits: int | None
) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    """Reduce samples of any type to 8 bit."""
    kind = samples.dtype.kind
    if kind == "b":
        return samples.astype(np.uint8) * np.uint8(255), ("black-and-white samples (1 bit)",)
    if kind == "f":
        return _float_to_eight_bit(samples)
    if kind not in "ui":
        raise ValueError(f"samples of type {samples.dtype} are not grey levels")
    if samples.dtype == np.uint8 and bits in (None, 8):
        return samples, ()
    lowest, highest = int(samples.min()), int(samples.max())
    if lowest < 0:
        raise ValueError(f"samples below zero ({lowest}) are not light")
    if highest > 65535:
        raise ValueError(f"samples up to {highest} do not fit in 16 bit")
    if bits is None or not 1 <= bits <= 16 or highest >= 1 << bits:
        bits = next(b for b in CAMERA_BITS if highest < 1 << b)
    table = np.rint(np.minimum(np.arange(1 << bits) * (255.0 / ((1 << bits) - 1)), 255.0))
    note = "samples reduced to 8 bit" if bits > 8 else "samples brought to 8 bit"
    return table.astype(np.uint8)[samples], (f"{bits}-bit {note}",)


def _float_to_eight_bit(samples: NDArray[Any]) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    """Reduce floats: 0-1, or whole numbers stored as floats."""
    lowest, highest = float(samples.min()), float(samples.max())
    if not (np.isfinite(lowest) and np.isfinite(highest)):
        raise ValueError("samples that are not finite (nan or infinity)")
    if lowest < 0:
        raise ValueError(f"samples below zero ({lowest:g}) are not light")
    if highest > 65535:
        raise ValueError(f"samples up to {highest:g} do not fit in 16 bit")
    if highest <= 1:
        top, scale = 1.0, "0 to 1"
    else:
        top = float((1 << next(b for b in CAMERA_BITS if highest < 1 << b)) - 1)
        scale = f"0 to {top:.0f}"
    eight = np.minimum(np.rint(samples * (255.0 / top)), 255).astype(np.uint8)
    return eight, (f"floating-point samples read as {scale} and reduced to 8 bit",)


def _on_white(eight: NDArray[np.uint8], premultiplied: bool) -> tuple[NDArray[np.uint8], bool]:
    """Lay grey + alpha or RGB + alpha on white; say whether anything was see-through."""
    alpha = eight[..., -1]
    colour = eight[..., :-1]
    if colour.shape[2] == 1:
        colour = np.repeat(colour, 3, axis=2)
    if bool((alpha == 255).all()):
        return np.ascontiguousarray(colour), False
    white = (255 - alpha)[..., None].astype(np.uint16)
    if premultiplied:
        mixed = np.minimum(colour + white, 255)
    else:
        wide = colour.astype(np.uint32)
        mixed = (wide * alpha[..., None] + 255 * white.astype(np.uint32) + 127) // 255
    return mixed.astype(np.uint8), True
