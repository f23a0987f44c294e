"""Closer look: what each find is, at the photo's own fineness, turned to its long axis."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.inputs import scale
from sporecount.detect.seeds import Seeds
from sporecount.field.closeup import batches, padded_close_ups
from sporecount.field.field import Field
from sporecount.threads import on_threads

#: What a find can be, in the order of the network's outputs.
CLASSES = ("intact", "damaged", "fragment", "neither")

#: Scale of the close-ups, um per pixel, and side of what the network sees, pixels: 22.4 um.
CLOSER_UM_PER_PX, SIDE = 0.4, 56

#: Half the side of an upright close-up that a turned one is cut from, um: it holds the disc
#: that the network sees of it.
_HALF_UM = (SIDE + 1) / 2 * CLOSER_UM_PER_PX

#: Nearer than this to the edge of the photo, close-ups would show repeated pixels, um: the
#: network never saw such, and is not asked.
EDGE_UM = 8.0

#: Finds looked at in one go.
BATCH = 128

#: A find's tone is at least so much.
LEAST_TONE = 0.01

#: Share of the photo's spores that are paler than what the tones are compared with: the
#: usual spore, and a dark one, which holds where most are ghosts.
TONE_SHARES = (0.5, 0.8)

#: So many other spores say well what is usual on a photo.
ENOUGH = 5


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
    seen = np.empty((len(seeds), 3, SIDE, SIDE), np.float32)

    def look(part: slice) -> None:
        own = seeds.take(part)
        # Clipped before it is turned, as crops are when they are stored.
        closes = scale(padded_close_ups(field, own.xy_px, _HALF_UM, CLOSER_UM_PER_PX))
        turned = _turned(closes, own.angle_deg)[..., :3]
        np.multiply(turned.transpose(0, 3, 1, 2), soft_disc(), out=seen[part])

    on_threads(look, batches(len(seeds)))
    return seen


def _turned(closes: NDArray[np.float32], angle_deg: NDArray[np.float64]) -> NDArray[np.float32]:
    """Cut pictures, each turned by its angle, from the middle of larger ones."""
    middle, centre = (closes.shape[1] - 1) / 2, (SIDE - 1) / 2
    angle = np.deg2rad(angle_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    across = [cos, -sin, middle - centre * (cos - sin)]
    down = [sin, cos, middle - centre * (sin + cos)]
    turned = np.empty((len(closes), SIDE, SIDE, closes.shape[3]), np.float32)
    for out, close, matrix in zip(turned, closes, np.array([across, down]).transpose(2, 0, 1)):
        cv2.warpAffine(
            close,
            matrix,
            (SIDE, SIDE),
            dst=out,
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return turned


def relative_tones(seen: NDArray[np.float32], spore: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return how dark each find is beside the spores of its photo.

    A ghost is a spore much paler than others of its slide; by itself it might be a pale kind.

    Parameters
    ----------
    seen : ndarray, shape (k, 3)
        Colours of the finds (`sporecount.detect.colour.colours`).
    spore : ndarray, shape (k,), bool
        Which of them are spores, not pieces.

    Returns
    -------
    ndarray, shape (k, len(TONE_SHARES) + 1), float32
        Logarithm of the tone over that of the usual and of a dark spore; then 0 to 1, how
        many others there are to compare with. All 0 where there are none.
    """
    found = np.zeros((len(seen), len(TONE_SHARES) + 1), np.float32)
    tones = np.maximum(seen.mean(axis=1), LEAST_TONE)
    others = np.count_nonzero(spore) - spore.astype(int)
    known = np.minimum(others, ENOUGH) / ENOUGH
    if spore.any():
        usual = np.quantile(tones[spore], TONE_SHARES)
        ratio = np.clip(np.log(tones[:, None] / usual), -2.0, 2.0)
        found[:, :-1] = np.where(known[:, None] > 0, ratio, 0.0)
    found[:, -1] = known
    return found


def look_closer(field: Field, seeds: Seeds, tones: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return the network's share of each of `CLASSES` for each find.

    Parameters
    ----------
    field : Field
        The sample.
    seeds : Seeds
        The finds.
    tones : ndarray, shape (k, 3)
        How dark they are beside the photo's spores, from `relative_tones`.

    Returns
    -------
    ndarray, shape (k, len(CLASSES)), float64
        Rows add up to 1; NaN for finds nearer than `EDGE_UM` to the edge of the photo.
    """
    shares = np.full((len(seeds), len(CLASSES)), np.nan)
    inner = np.flatnonzero(~_by_the_edge(field, seeds.xy_px))
    for start in range(0, len(inner), BATCH):
        part = inner[start : start + BATCH]
        seen = windows(field, seeds.take(part))
        logits = engine.run("closer", seen, tones[part]).astype(np.float64)
        shares[part] = np.exp(logits - logits.max(axis=1, keepdims=True))
    return shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-12)


def _by_the_edge(field: Field, xy_px: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which places have less than `EDGE_UM` of photo on some side."""
    high, wide = field.pixels.shape[:2]
    inside_um = np.minimum(xy_px, (wide - 1, high - 1) - xy_px) * field.calibration.um_per_px
    return inside_um.min(axis=1, initial=np.inf) < EDGE_UM


def damaged_share(shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far the closer look takes a spore for a damaged one, were it surely a spore.

    Parameters
    ----------
    shares : ndarray, shape (k, len(CLASSES))
        NaN, where nothing was looked at, gives NaN.

    Examples
    --------
    >>> damaged_share(np.array([[0.3, 0.1, 0.5, 0.1]])).round(2).tolist()
    [0.25]
    """
    return shares[:, 1] / np.maximum(shares[:, 0] + shares[:, 1], 1e-12)
