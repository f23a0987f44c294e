"""The truth of a photo: where each spore lies on it, and whether anybody could see it."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pandas as pd

from other_hands.illustrated.camera.shoot import Shot
from other_hands.illustrated.conditions import HEIGHT_PX, WIDTH_PX
from other_hands.illustrated.scene import PaintedSpore, Scene
from other_hands.photograph import TRUTH_COLUMNS

#: Blur, as a share of the width, beyond which nobody could read a spore.
MOST_BLUR = {"intact": 0.31, "damaged": 0.25, "fragment": 0.5}


def truth_table(scene: Scene, shot: Shot) -> pd.DataFrame:
    """One row for each spore and fragment whose middle lies on the photo."""
    rows = []
    for spore in scene.spores:
        if not (0 <= spore.x_px <= WIDTH_PX - 1 and 0 <= spore.y_px <= HEIGHT_PX - 1):
            continue
        rows.append(
            (
                (spore.x_px + 0.5) * shot.shrink - 0.5,
                (spore.y_px + 0.5) * shot.shrink - 0.5,
                spore.length_um,
                spore.width_um,
                spore.angle_deg,
                spore.state,
                is_seen(spore, shot, scene.um_per_px),
                spore.damage,
            )
        )
    return pd.DataFrame(rows, columns=list(TRUTH_COLUMNS)).astype(TRUTH_COLUMNS)


def is_seen(spore: PaintedSpore, shot: Shot, um_per_px: float) -> bool:
    """Whether a spore is mostly free, stands out, is sharp enough and large enough."""
    left, top, right, bottom = spore.box
    shown = 1 - shot.hidden[top:bottom, left:right]
    free = float((spore.cover * spore.uncovered * shown).sum() / max(spore.area_px, 1e-3))
    camera_px = math.hypot(shot.lens_px, shot.motion_px * 0.3)
    blur_um = math.hypot(spore.blur_px, camera_px) * um_per_px
    length_px = spore.length_um / um_per_px * shot.shrink
    width_px = spore.width_um / um_per_px * shot.shrink
    return bool(
        free >= 0.5
        and _stands_out(spore, shot, camera_px)
        and blur_um <= MOST_BLUR[spore.state] * spore.width_um
        and length_px >= 3.0
        and width_px >= 1.5
    )


def _stands_out(spore: PaintedSpore, shot: Shot, camera_px: float) -> bool:
    """Whether the picture would look different enough without the spore."""
    left, top, right, bottom = spore.box
    inside = spore.cover > 0.5
    if inside.sum() < 4:
        inside = spore.cover > 0.15
    if not inside.any():
        return False
    # Take the spore's own layer, as the camera blurred it, out of the light.
    layer = 1 - cv2.GaussianBlur(1 - spore.transmission, (0, 0), camera_px)
    light = shot.light[top:bottom, left:right]
    without = shot.tone(np.clip(light / np.maximum(layer, 0.08), 0, 2.0))
    difference = np.abs(shot.tone(light) - without).max(-1)[inside]
    contrast = max(float(np.percentile(difference, 65)), 0.7 * float(np.percentile(difference, 92)))
    ground = without.mean(-1)[inside]
    needed = 0.055 + 1.3 * shot.noise + 0.32 * float(ground.std())
    if float(ground.mean()) < 0.2:  # on a dark ground less is seen
        needed = max(needed, 0.09)
    large = inside.sum() * shot.shrink * shot.shrink > 500
    return contrast >= (0.8 if large else 1.0) * needed
