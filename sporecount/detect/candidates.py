"""Classical candidates: dark, spore-sized spots against their near surroundings."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect.parting import part_touching
from sporecount.detect.seeds import Seeds, no_seeds
from sporecount.field.field import Field
from sporecount.settings import DetectSettings

#: Side of the window whose darkest ground counts as the surroundings, um: wider than a
#: spore is long, narrower than a wing scale, so that scales are ground and spores are not.
SURROUNDINGS_UM = 19.0
#: A pixel belongs to a spot above this part of the spot's own peak contrast.
PART_OF_PEAK = 0.5
#: How many times the noise of the picture a spot must stand out.
TIMES_NOISE = 4.0
#: Areas of a spot that can hold one spore or a piece of one, um2.
SPOT_UM2 = (16.0, 260.0)
#: A clear centre up to this area, um2, is part of the spot around it.
CLEAR_CENTRE_UM2 = 90.0
#: Spots larger than this many typical spores, or reaching further than this, um, are
#: clutter (threads, edges of the field), not clumps.
LARGEST_CLUMP = 400.0
LONGEST_CLUMP_UM = 350.0


def find_candidates(field: Field, settings: DetectSettings) -> Seeds:
    """Find places where a spore may be.

    Parameters
    ----------
    field : Field
        The sample, evenly lit, at the working scale.
    settings : DetectSettings
        Typical size of a spore and least contrast.

    Returns
    -------
    Seeds
        One for each spore-sized spot, touching spots parted, in reading order.
    """
    spots = _spots(field, settings)
    labels = _parted(spots, field.work_um_per_px, settings)
    return _seeds_of(labels, field)


def _spots(field: Field, settings: DetectSettings) -> NDArray[np.uint8]:
    """Return a mask of what is darker than its near surroundings."""
    um = field.work_um_per_px
    flat = cv2.transform(field.density, np.full((1, 3), 1 / 3, np.float32))
    grey = np.asarray(cv2.GaussianBlur(np.clip(flat, -0.3, 1.5), (0, 0), 0.9 / um), np.float32)
    contrast = grey - _surroundings(grey, um)
    sample = contrast[field.examined][::7]
    if not len(sample):
        return np.zeros(grey.shape, np.uint8)
    middle = np.median(sample)
    noise = 1.4826 * np.median(np.abs(sample - middle))
    contrast -= middle
    reach = 2 * round(0.5 * settings.typical_length_um / um) + 1
    peak = cv2.dilate(contrast, np.ones((reach, reach), np.uint8))
    level = np.maximum(max(settings.least_contrast, TIMES_NOISE * noise), PART_OF_PEAK * peak)
    mask = ((contrast > level) & field.examined).astype(np.uint8)
    return _clear_centres_filled(mask, um)


def _surroundings(grey: NDArray[np.floating], um: float) -> NDArray[np.floating]:
    side = 2 * round(0.5 * SURROUNDINGS_UM / um) + 1
    ground = cv2.morphologyEx(grey, cv2.MORPH_OPEN, np.ones((side, side), np.uint8))
    return np.asarray(cv2.GaussianBlur(ground, (0, 0), 2.0 / um), np.float32)


def _clear_centres_filled(mask: NDArray[np.uint8], um: float) -> NDArray[np.uint8]:
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if tree is None:
        return mask
    parents = tree.reshape(-1, 4)[:, 3]
    limit = CLEAR_CENTRE_UM2 / um**2
    holes = [c for c, p in zip(contours, parents) if p >= 0 and cv2.contourArea(c) < limit]
    cv2.drawContours(mask, holes, -1, 1, cv2.FILLED)
    return mask


def _parted(mask: NDArray[np.uint8], um: float, settings: DetectSettings) -> NDArray[np.int32]:
    """Label the spots; those larger than one spore are parted at their necks."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    typical = np.pi / 4 * settings.typical_length_um * settings.typical_width_um / um**2
    areas = stats[:, cv2.CC_STAT_AREA]
    radius = 0.5 * settings.typical_width_um / um
    for label in np.flatnonzero(areas > 1.2 * typical):
        if label == 0:
            continue
        left, top, width, height, area = stats[label]
        window = labels[top : top + height, left : left + width]
        own = window == label
        if area > LARGEST_CLUMP * typical or max(width, height) * um > LONGEST_CLUMP_UM:
            window[own] = 0
            continue
        parts = part_touching(own, radius, settings.neck)
        window[parts > 1] = parts[parts > 1] + (count - 2)
        count += int(parts.max()) - 1
    return np.asarray(labels, np.int32)


def _seeds_of(labels: NDArray[np.int32], field: Field) -> Seeds:
    """Return one seed for each label of a fitting size, from its moments."""
    y, x = np.nonzero(labels)
    if not len(x):
        return no_seeds()
    label = labels[y, x]
    area = np.bincount(label).astype(float)
    safe = np.maximum(area, 1)
    mean_x, mean_y = np.bincount(label, x) / safe, np.bincount(label, y) / safe
    dx, dy = x - mean_x[label], y - mean_y[label]
    # 1/12: the spread of a pixel's own square.
    xx = np.bincount(label, dx * dx) / safe + 1 / 12
    yy = np.bincount(label, dy * dy) / safe + 1 / 12
    xy = np.bincount(label, dx * dy) / safe
    half_sum, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    um = field.work_um_per_px
    length = 4 * np.sqrt(half_sum + root) * um
    width = 4 * np.sqrt(np.maximum(half_sum - root, 0)) * um
    angle = np.rad2deg(0.5 * np.arctan2(2 * xy, xx - yy)) % 180.0
    area_um2 = area * um**2
    fits = (area_um2 > SPOT_UM2[0]) & (area_um2 < SPOT_UM2[1]) & (length < 32.0) & (width > 2.0)
    order = np.flatnonzero(fits)
    order = order[np.lexsort((mean_x[order], mean_y[order]))]
    centres = field.to_photo_px(np.column_stack([mean_x, mean_y])[order])
    return Seeds(centres, length[order], width[order], angle[order])
