"""Packs a picture into a file, as a camera or chat program does, and lists its truth."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import pandas as pd
from PIL import Image

from other_hands.layered.camera import on_picture
from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX, Canvas
from other_hands.layered.chance import pick
from other_hands.photograph import TRUTH_COLUMNS


@dataclass(frozen=True)
class Sent:
    """An 8-bit RGB picture on its way, and its size by that of the camera's."""

    image: np.ndarray
    jpeg_quality: int
    scale_x: float
    scale_y: float


def send_by_chat(rng: np.random.Generator, sent: Sent) -> Sent:
    """Pack, shrink and pack again, worse, as chat programs do."""
    shrink = rng.uniform(0.5, 0.75)
    quality = [cv2.IMWRITE_JPEG_QUALITY, sent.jpeg_quality]
    _, jpeg = cv2.imencode(".jpg", sent.image[..., ::-1], quality)
    image = np.ascontiguousarray(np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_COLOR))[..., ::-1])
    width, height = round(WIDTH_PX * shrink), round(HEIGHT_PX * shrink)
    ways = [cv2.INTER_AREA, cv2.INTER_LINEAR_EXACT if shrink > 0.6 else cv2.INTER_AREA]
    image = cv2.resize(image, (width, height), interpolation=pick(rng, ways))
    worse = int(rng.integers(50, 80))
    return Sent(image, worse, scale_x=width / WIDTH_PX, scale_y=height / HEIGHT_PX)


def pack(rng: np.random.Generator, sent: Sent, lossless_share: float) -> bytes:
    """Pack a picture as JPEG, or as PNG in a share of cases."""
    image, file = Image.fromarray(np.ascontiguousarray(sent.image)), io.BytesIO()
    if lossless_share and rng.random() < lossless_share:
        image.save(file, "PNG")
    else:
        image.save(file, "JPEG", quality=sent.jpeg_quality, subsampling=pick(rng, [0, 2]))
    return file.getvalue()


def truth_table(canvas: Canvas, seen: Sequence[bool], sent: Sent) -> pd.DataFrame:
    """List spores whose centres lie on the picture, one row each, by TRUTH_COLUMNS."""
    rows = []
    for spore, is_seen in zip(canvas.drawn, seen):
        x_px, y_px = on_picture(
            canvas.look.camera,
            spore.x_um / canvas.um_per_px - 0.5,
            spore.y_um / canvas.um_per_px - 0.5,
        )
        if not (-0.5 <= x_px < WIDTH_PX - 0.5 and -0.5 <= y_px < HEIGHT_PX - 0.5):
            continue
        rows.append(
            (
                (x_px + 0.5) * sent.scale_x - 0.5,
                (y_px + 0.5) * sent.scale_y - 0.5,
                spore.length_um,
                spore.width_um,
                spore.angle_deg,
                spore.state,
                is_seen,
                spore.damage,
            )
        )
    return pd.DataFrame(rows, columns=list(TRUTH_COLUMNS)).astype(TRUTH_COLUMNS)
