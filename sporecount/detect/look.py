"""Second look: each candidate again, closer and with its surroundings."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.detect import engine
from sporecount.detect.inputs import (
    AROUND_SIDE_PX,
    CLOSE_SIDE_PX,
    CLOSE_UM_PER_PX,
    scale,
)
from sporecount.detect.search import TYPICAL_LENGTH_UM, TYPICAL_WIDTH_UM
from sporecount.field.closeup import close_ups
from sporecount.field.field import Field

#: Candidates looked at in one run of the network.
_BATCH = 256


@dataclass(frozen=True, eq=False)
class Looks:
    """What the second look made of the candidates.

    Attributes
    ----------
    chances : ndarray, shape (k, 4), float64
        Probability of nothing, intact, damaged, fragment (rows sum to 1).
    xy_work : ndarray, shape (k, 2), float64
        Centres in working pixels, improved.
    length_um, width_um, angle_deg : ndarray, shape (k,), float64
        Shape.
    """

    chances: NDArray[np.float64]
    xy_work: NDArray[np.float64]
    length_um: NDArray[np.float64]
    width_um: NDArray[np.float64]
    angle_deg: NDArray[np.float64]


def around(density: NDArray[np.float32], xy_work: NDArray[np.float64]) -> NDArray[np.float32]:
    """Cut the candidates' surroundings out of the field, zero beyond its edge.

    Returns
    -------
    ndarray, shape (k, 49, 49, 3), float32
    """
    half = AROUND_SIDE_PX // 2
    padded = cv2.copyMakeBorder(density, half, half, half, half, cv2.BORDER_CONSTANT, value=(0,) * 3)
    corner = np.round(xy_work).astype(int)
    rows, columns = density.shape[:2]
    corner[:, 0] = np.clip(corner[:, 0], 0, columns - 1)
    corner[:, 1] = np.clip(corner[:, 1], 0, rows - 1)
    return np.stack(
        [padded[y : y + AROUND_SIDE_PX, x : x + AROUND_SIDE_PX] for x, y in corner]
    ) if len(corner) else np.zeros((0, AROUND_SIDE_PX, AROUND_SIDE_PX, 3), np.float32)


def views(
    field: Field, xy_work: NDArray[np.float64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return close-ups (k, 65, 65, 3) and surroundings (k, 49, 49, 3), optical density."""
    half_um = (CLOSE_SIDE_PX / 2 - 0.5) * CLOSE_UM_PER_PX
    close = close_ups(field, field.to_photo_px(xy_work), half_um, CLOSE_UM_PER_PX)
    return close, around(field.density, xy_work)


def look(field: Field, xy_work: NDArray[np.float64]) -> Looks:
    """Look again at candidates.

    Parameters
    ----------
    field : Field
    xy_work : ndarray, shape (k, 2), float64
        Their centres in working pixels.
    """
    outputs = [np.zeros((0, 10), np.float32)]
    for start in range(0, len(xy_work), _BATCH):
        close, wide = views(field, xy_work[start : start + _BATCH])
        outputs.append(engine.run("look", _channels_first(close), _channels_first(wide)))
    return read(np.concatenate(outputs).astype(np.float64), xy_work, field.work_um_per_px)


def _channels_first(patches: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.ascontiguousarray(scale(patches).transpose(0, 3, 1, 2))


def read(
    output: NDArray[np.float64], xy_work: NDArray[np.float64], work_um_per_px: float
) -> Looks:
    """Turn the second look's logits, shape (k, 10), into classes and shapes."""
    logits = output[:, :4] - output[:, :4].max(axis=1, keepdims=True, initial=-np.inf)
    chances = np.exp(logits)
    chances /= chances.sum(axis=1, keepdims=True)
    # The network gives the centre's shift in units of 4 um.
    shift = np.clip(output[:, 4:6], -1.5, 1.5) * 4.0 / work_um_per_px
    return Looks(
        chances=chances,
        xy_work=xy_work + shift,
        length_um=TYPICAL_LENGTH_UM * np.exp(np.clip(output[:, 6], -2, 2)),
        width_um=TYPICAL_WIDTH_UM * np.exp(np.clip(output[:, 7], -2, 2)),
        angle_deg=np.rad2deg(0.5 * np.arctan2(output[:, 9], output[:, 8])) % 180.0,
    )
