"""Touching round or oval bodies in a mask are parted at their necks."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.errors import SettingsError


def part_touching(
    mask: NDArray[np.bool_], expected_radius_px: float, neck: float = 0.12
) -> NDArray[np.int32]:
    """Label the bodies of a mask, one label each, touching bodies apart.

    The distance to the background has one summit in each body and a saddle in
    each neck. A summit stands for a body of its own when it rises above its
    highest saddle by at least `neck` times the expected radius; the line of
    parting runs along the valley between two summits.

    Parameters
    ----------
    mask : ndarray, shape (rows, columns), bool
        True inside the bodies.
    expected_radius_px : float
        Half the expected width of a body, in pixels of the mask.
    neck : float
        How much narrower than its neighbours a neck must be, as a part of the
        expected radius.

    Returns
    -------
    labels : ndarray, shape (rows, columns), int32
        0 outside the mask, 1..n for the bodies.

    Raises
    ------
    SettingsError
        If `expected_radius_px` is not positive.

    Examples
    --------
    >>> yy, xx = np.mgrid[:40, :80]
    >>> two = np.hypot(xx - 25, yy - 20) < 14
    >>> two |= np.hypot(xx - 51, yy - 20) < 14
    >>> int(part_touching(two, 14.0).max())
    2
    """
    if not expected_radius_px > 0:
        raise SettingsError(
            f"expected_radius_px {expected_radius_px!r}",
            "a body has a positive radius",
            "give half the expected width in pixels of the mask",
        )
    if not mask.any():
        return np.zeros(mask.shape, np.int32)
    from skimage.morphology import local_maxima, reconstruction
    from skimage.segmentation import watershed

    # A border of background, so that a body cut by the picture's edge keeps its neck there.
    padded = np.pad(mask, 1).astype(np.uint8)
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    distance = cv2.GaussianBlur(distance, (0, 0), max(0.5, 0.08 * expected_radius_px))
    distance[padded == 0] = 0
    height = np.float32(neck * expected_radius_px)
    flattened = reconstruction(np.maximum(distance - height, 0), distance)
    summits = local_maxima(flattened) & (padded > 0)
    # Parts thinner than the neck height have no summit; they stay as bodies of their own.
    pieces, whole = cv2.connectedComponents(padded, connectivity=8)
    lost = np.setdiff1d(np.arange(1, pieces), whole[summits])
    _, markers = cv2.connectedComponents(
        (summits | np.isin(whole, lost)).astype(np.uint8), connectivity=8
    )
    labels = watershed(-distance, markers, mask=padded > 0)
    return np.ascontiguousarray(labels[1:-1, 1:-1], dtype=np.int32)
