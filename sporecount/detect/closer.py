"""Closer look: what each find is, at the photo's own fineness, turned to its long axis."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.inputs import scale
from sporecount.detect.seeds import Seeds
from sporecount.field.closeup import close_ups
from sporecount.field.field import Field

#: What a find can be, in the order of the network's outputs.
CLASSES = ("intact", "damaged", "fragment", "neither")

#: Scale of the close-ups, um per pixel, and side of what the network sees, pixels: 22.4 um.
CLOSER_UM_PER_PX, SIDE = 0.4, 56

#: Half the side of an upright close-up that a turned one is cut from, um.
_HALF_UM = 14.4

#: Finds looked at in one go.
BATCH = 128


@lru_cache(maxsize=1)
def soft_disc() -> NDArray[np.float32]:
    """Return the weight of each pixel: a disc that ends softly, whatever the turn."""
    at = np.arange(SIDE, dtype=np.float32) - np.float32((SIDE - 1) / 2)
    far = np.hypot(at[:, None], at[None, :])
    return np.clip((SIDE / 2 - far) / 3.0, 0.0, 1.0).astype(np.float32)


def windows(field: Field, seeds: Seeds) -> NDArray[np.float32]:
    """Return what the network sees of each find.

    Parameters
    ----------
    field : Field
        The sample.
    seeds : Seeds
        The finds.

    Returns
    -------
    ndarray, shape (k, 3, SIDE, SIDE), float32
        Clipped and doubled optical density, the find in the middle, its long axis level.
    """
    closes = close_ups(field, seeds.xy_px, _HALF_UM, CLOSER_UM_PER_PX)
    seen = np.empty((len(seeds), 3, SIDE, SIDE), np.float32)
    middle, centre = (closes.shape[1] - 1) / 2, (SIDE - 1) / 2
    disc = soft_disc()
    for out, close, angle in zip(seen, closes, np.deg2rad(seeds.angle_deg)):
        cos, sin = float(np.cos(angle)), float(np.sin(angle))
        matrix = np.array(
            [
                [cos, -sin, middle - centre * (cos - sin)],
                [sin, cos, middle - centre * (sin + cos)],
            ]
        )
        turned = cv2.warpAffine(
            close,
            matrix,
            (SIDE, SIDE),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        out[:] = (scale(np.asarray(turned, np.float32)) * disc[..., None]).transpose(2, 0, 1)
    return seen


def look_closer(field: Field, seeds: Seeds) -> NDArray[np.float64]:
    """Return the network's share of each of `CLASSES` for each find.

    Parameters
    ----------
    field : Field
        The sample.
    seeds : Seeds
        The finds.

    Returns
    -------
    ndarray, shape (k, len(CLASSES)), float64
        Rows add up to 1.
    """
    shares = np.zeros((len(seeds), len(CLASSES)))
    for start in range(0, len(seeds), BATCH):
        part = slice(start, start + BATCH)
        logits = engine.run("closer", windows(field, seeds.take(part))).astype(np.float64)
        shares[part] = np.exp(logits - logits.max(axis=1, keepdims=True))
    return shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-12)
