"""What a chat program does to a picture: compress, shrink, sharpen."""

from __future__ import annotations

import cv2
import numpy as np


def sent(rng: np.random.Generator, picture: np.ndarray) -> tuple[np.ndarray, float]:
    """Shrink a picture as a chat program does.

    Parameters
    ----------
    picture
        (height, width, 3) of 4 to 3, 0 to 1.

    Returns
    -------
    numpy.ndarray
        The smaller picture, 0 to 1.
    float
        Its width by the old one.
    """
    quality = int(rng.uniform(70, 95))
    levels = (picture[..., ::-1] * 255 + 0.5).astype(np.uint8)
    packed = cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    picture = cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1].astype(np.float32) / 255
    old_width = picture.shape[1]
    width = round(old_width * rng.uniform(0.5, 0.75) / 4) * 4
    way = cv2.INTER_AREA if rng.random() < 0.7 else cv2.INTER_LINEAR
    picture = cv2.resize(picture, (width, width * 3 // 4), interpolation=way)
    if rng.random() < 0.4:
        softer = cv2.GaussianBlur(picture, (0, 0), 0.8)
        picture = np.clip(picture + 0.5 * (picture - softer), 0, 1)
    return picture, width / old_width
