"""From a photo and its scale to the field."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from sporecount.field.density import DENSITY_BOUNDS, log_counts
from sporecount.field.field import Field
from sporecount.field.fitness import judge_fitness
from sporecount.field.light import log_light
from sporecount.field.resample import block_means, to_working_scale
from sporecount.field.sample import disc, find_sample
from sporecount.field.text import find_text
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings

#: Working pixels per pixel of the coarse picture that light and sample are found on.
_COARSE = 4
#: Rows of the picture that are brought to density at a time.
_STRIP = 128


def make_field(photo: Photo, calibration: Calibration, settings: FieldSettings) -> Field:
    """Find the sample, even out its light and judge whether it can be counted.

    Optical density is taken from the pixel values as they are: a camera's tone curve
    is not known, so densities compare within a photo, not between cameras.

    Parameters
    ----------
    photo : Photo
        The photo.
    calibration : Calibration
        Its scale.
    settings : FieldSettings
        The working scale and the limits of what can be judged.

    Returns
    -------
    Field

    Examples
    --------
    >>> clear = np.full((300, 400, 3), 210, np.uint8)
    >>> photo = Photo("clear.png", clear, sha256="")
    >>> field = make_field(photo, Calibration(0.45, "given"), FieldSettings())
    >>> field.density.shape, round(field.examined_mm2, 4)
    ((150, 200, 3), 0.0243)
    """
    zoom = settings.work_um_per_px / calibration.um_per_px
    work = to_working_scale(photo.pixels, zoom)
    coarse = block_means(work, _COARSE)
    text = _text_mask(find_text(photo.pixels), zoom, work.shape)
    coarse_text = _shrunk_any(text, coarse.shape)
    # A label in the black around a round field must not pass for light.
    sample = find_sample(np.where(coarse_text[..., None], np.uint8(0), coarse), work)
    usable = sample.mask & ~coarse_text
    step = _light_step(coarse.shape)
    light_log = log_light(
        _every(coarse, step), _every(usable, step), step * _COARSE * settings.work_um_per_px
    )
    examined = _enlarged_sample(sample.mask, sample.circle, work.shape) & ~text
    density, light = _even_out(work, light_log, step * _COARSE)
    fitness, notes = judge_fitness(work, density, examined, calibration.um_per_px, settings)
    return Field(
        calibration=calibration,
        pixels=photo.pixels,
        density=density,
        light=light,
        examined=examined,
        work_um_per_px=settings.work_um_per_px,
        examined_mm2=float(examined.sum()) * (settings.work_um_per_px / 1000.0) ** 2,
        fitness=fitness,
        notes=notes,
    )


def _light_step(shape: tuple[int, ...]) -> int:
    """Coarse pixels per pixel of the light; odd, and 1 where the picture is small."""
    return 3 if min(shape[:2]) >= 120 else 1


def _every(picture: NDArray[Any], step: int) -> NDArray[Any]:
    """Take the middle pixel of each block: an average would mix background and objects."""
    below, right = -picture.shape[0] % step, -picture.shape[1] % step
    if below or right:
        picture = np.pad(picture, [(0, below), (0, right), (0, 0)][: picture.ndim], mode="edge")
    return np.ascontiguousarray(picture[step // 2 :: step, step // 2 :: step])


def _shrunk_any(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Shrink a mask to the coarse picture; any True in a block counts."""
    padded = np.zeros((shape[0] * _COARSE, shape[1] * _COARSE), bool)
    padded[: mask.shape[0], : mask.shape[1]] = mask
    return np.asarray(padded.reshape(shape[0], _COARSE, shape[1], _COARSE).any(axis=(1, 3)))


def _enlarged_sample(
    coarse: NDArray[np.bool_],
    circle: tuple[float, float, float] | None,
    shape: tuple[int, ...],
) -> NDArray[np.bool_]:
    """Bring the sample's mask from the coarse picture to the working scale."""
    if circle is not None:
        x, y = ((c + 0.5) * _COARSE - 0.5 for c in circle[:2])
        return disc(shape, (x, y, circle[2] * _COARSE))
    if coarse.all():
        return np.ones(shape[:2], bool)
    return np.kron(coarse, np.ones((_COARSE, _COARSE), bool))[: shape[0], : shape[1]]


def _text_mask(
    boxes: list[tuple[float, float, float, float]], zoom: float, shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Paint boxes given in photo pixels at the working scale."""
    mask = np.zeros(shape[:2], bool)
    for left, top, right, bottom in boxes:
        x0, y0 = (max(int(np.floor(v / zoom)), 0) for v in (left, top))
        x1, y1 = (int(np.ceil(v / zoom)) for v in (right, bottom))
        mask[y0:y1, x0:x1] = True
    return mask


def _even_out(
    work: NDArray[np.uint8], light_log: NDArray[np.float32], step: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return density and light at the working scale."""
    rows, columns = work.shape[:2]
    size = (light_log.shape[1] * step, light_log.shape[0] * step)
    density = cv2.resize(light_log, size, interpolation=cv2.INTER_LINEAR)[:rows, :columns]
    light = cv2.resize(10.0**light_log, size, interpolation=cv2.INTER_LINEAR)[:rows, :columns]
    table = log_counts(np.arange(256, dtype=np.uint8))
    # In strips: a whole picture of floats more would cost more than the arithmetic.
    for top in range(0, rows, _STRIP):
        strip = density[top : top + _STRIP]
        np.subtract(strip, cv2.LUT(work[top : top + _STRIP], table), out=strip)
        np.clip(strip, *DENSITY_BOUNDS, out=strip)
    return np.ascontiguousarray(density), np.ascontiguousarray(light)
