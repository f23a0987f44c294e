"""From a condition and a seed to a photo: the order in which everything is drawn."""

from __future__ import annotations

import zlib

import cv2
import numpy as np

from other_hands.illustrated.camera.shoot import shoot
from other_hands.illustrated.conditions import CONDITIONS, draw_crowd, draw_spore_count
from other_hands.illustrated.litter.strew import (
    draw_mix,
    draw_share_above,
    strew_above,
    strew_below,
)
from other_hands.illustrated.scene import set_up
from other_hands.illustrated.seen import truth_table
from other_hands.illustrated.spores.placing import place_spores
from other_hands.photograph import Photograph


def draw(condition: str, number: int, seed: int) -> Photograph:
    """Draw a photo; the same three values give the same photo.

    Parameters
    ----------
    condition
        One of CONDITIONS.
    number
        Which photo of this condition, from 0.
    seed
        Of the whole series.

    Raises
    ------
    ValueError
        If there is no such condition.
    """
    if condition not in CONDITIONS:
        raise ValueError(f"no condition {condition!r}: give one of {', '.join(CONDITIONS)}")
    rng = np.random.default_rng([seed, number, zlib.crc32(condition.encode())])
    scene = set_up(rng, condition)
    mix = draw_mix(rng, condition, scene.area_um2)
    count = draw_spore_count(rng, condition, scene.area_um2)
    above = draw_share_above(rng, condition)
    strew_below(scene, mix, above)
    crowd = draw_crowd(rng, condition)
    if count:
        place_spores(scene, count, crowd)
    strew_above(scene, mix, above)
    shot = shoot(scene)
    packed = _packed(rng, shot.picture, chat=condition == "chat")
    return Photograph(packed, scene.um_per_px / shot.shrink, truth_table(scene, shot))


def _packed(rng: np.random.Generator, picture: np.ndarray, *, chat: bool) -> bytes:
    """Pack a picture, red first, as JPEG or now and then as PNG; chat programs only as JPEG."""
    quality = max(int(rng.uniform(50, 96)), 55)
    png = rng.random() < 0.2 and not chat
    if chat:
        quality = int(rng.uniform(50, 85))
    blue_first = np.ascontiguousarray(picture[..., ::-1])
    if png:
        return cv2.imencode(".png", blue_first)[1].tobytes()
    return cv2.imencode(".jpg", blue_first, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
