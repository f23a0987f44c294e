"""Three plain recipes for counting dark blobs, as a textbook would write them.

Each takes the photo's pixels and its scale and returns the centres (n, 2) of what it
takes for spores, in photo pixels. They know a spore's size and nothing else.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy import ndimage
from skimage.feature import blob_log, peak_local_max
from skimage.filters import threshold_otsu
from skimage.measure import regionprops
from skimage.segmentation import watershed

LENGTH_UM, WIDTH_UM = 12.5, 8.0
AREA_UM2 = (35.0, 180.0)


def threshold_watershed(pixels: np.ndarray, um_per_px: float) -> np.ndarray:
    """Grey, blur, Otsu, distance transform, watershed, regions of a spore's area."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    smooth = cv2.GaussianBlur(grey, (0, 0), max(0.8, 0.8 / um_per_px))
    mask = smooth < threshold_otsu(smooth)
    distance = ndimage.distance_transform_edt(mask)
    apart = max(1, round(0.4 * WIDTH_UM / um_per_px))
    summits = peak_local_max(distance, min_distance=apart, labels=ndimage.label(mask)[0])
    markers = np.zeros(mask.shape, int)
    markers[tuple(summits.T)] = np.arange(1, len(summits) + 1)
    labels = watershed(-distance, markers, mask=mask)
    centres = [
        region.centroid[::-1]
        for region in regionprops(labels)
        if AREA_UM2[0] <= region.area * um_per_px**2 <= AREA_UM2[1]
    ]
    return np.array(centres, float).reshape(-1, 2)


def laplacian_blobs(pixels: np.ndarray, um_per_px: float) -> np.ndarray:
    """Laplacian-of-Gaussian blobs of a spore's size on the inverted grey picture."""
    grey = 1.0 - cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255.0
    # At full size the recipe needs minutes on a phone photo; 0.9 um per pixel is its best case.
    zoom = min(1.0, um_per_px / 0.9)
    small = cv2.resize(grey, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    sigma = WIDTH_UM / 2 / (um_per_px / zoom) / np.sqrt(2)
    blobs = blob_log(
        small, min_sigma=sigma * 0.8, max_sigma=sigma * 1.5, num_sigma=4, threshold=0.08
    )
    return (blobs[:, 1::-1] + 0.5) / zoom - 0.5


def simple_blobs(pixels: np.ndarray, um_per_px: float) -> np.ndarray:
    """OpenCV's simple blob detector with a spore's area, roundness and convexity."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    wanted = cv2.SimpleBlobDetector_Params()
    wanted.filterByArea, wanted.minArea, wanted.maxArea = (
        True,
        AREA_UM2[0] / um_per_px**2,
        AREA_UM2[1] / um_per_px**2,
    )
    wanted.filterByInertia, wanted.minInertiaRatio = True, 0.2
    wanted.filterByCircularity, wanted.minCircularity = True, 0.55
    wanted.filterByConvexity, wanted.minConvexity = True, 0.8
    wanted.minDistBetweenBlobs = 4.0 / um_per_px
    points = cv2.SimpleBlobDetector_create(wanted).detect(grey)
    return np.array([p.pt for p in points], float).reshape(-1, 2)


RECIPES = {
    "threshold + watershed": threshold_watershed,
    "Laplacian of Gaussian": laplacian_blobs,
    "simple blob detector": simple_blobs,
}
