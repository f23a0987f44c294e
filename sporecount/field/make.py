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
from sporecount.field.sample import Sample, disc, find_sample
from sporecount.field.text import Box, find_text
from sporecount.photo.photo import Photo
from sporecount.scale.calibration import Calibration
from sporecount.settings import FieldSettings
from sporecount.threads import on_threads, side_by_side

#: Working pixels per pixel of the coarse picture that light and sample are found on.
_COARSE = 4
#: Numbers that are evened out at a time.
_AT_ONCE = 400_000


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
    # By itself, as OpenCV shares it among threads where no other step takes them.
    work = to_working_scale(photo.pixels, zoom)
    (coarse, sample), found_text = side_by_side(
        lambda: _coarse_and_sample(work), lambda: find_text(photo.pixels)
    )
    text = _at_work(found_text, zoom)
    if text:
        sample = find_sample(_without(coarse, text), work)
    logs, (examined, light_log, step) = side_by_side(
        lambda: cv2.LUT(work, log_counts(np.arange(256, dtype=np.uint8))),
        lambda: _examined_and_light(coarse, sample, text, work.shape, settings.work_um_per_px),
    )
    density = _even_out(np.asarray(logs, np.float32), light_log, step)
    fitness, notes = judge_fitness(work, density, examined, calibration.um_per_px, settings)
    return Field(
        calibration=calibration,
        pixels=photo.pixels,
        density=density,
        light=np.power(np.float32(10.0), light_log),
        examined=examined,
        work_um_per_px=settings.work_um_per_px,
        examined_mm2=float(np.count_nonzero(examined)) * (settings.work_um_per_px / 1000.0) ** 2,
        fitness=fitness,
        notes=notes,
        light_step=step,
    )


def _coarse_and_sample(work: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], Sample]:
    """Return the coarse picture made from one at the working scale, and its sample."""
    coarse = block_means(work, _COARSE)
    return coarse, find_sample(coarse, work)


def _without(coarse: NDArray[np.uint8], text: list[tuple[slice, slice]]) -> NDArray[np.uint8]:
    """Return the picture with text blacked out, that a label beside a round field is no light."""
    unlabelled = coarse.copy()
    for box in text:
        unlabelled[_coarser(box)] = 0
    return unlabelled


def _examined_and_light(
    coarse: NDArray[np.uint8],
    sample: Sample,
    text: list[tuple[slice, slice]],
    shape: tuple[int, ...],
    um_per_px: float,
) -> tuple[NDArray[np.bool_], NDArray[np.float32], int]:
    """Return the part to examine, the light's logarithm and working pixels per pixel of it."""
    usable = sample.mask.copy()
    for box in text:
        usable[_coarser(box)] = False
    step = _light_step(coarse.shape)
    light_um_per_px = step * _COARSE * um_per_px
    examined, light_log = side_by_side(
        lambda: _enlarged_sample(sample, shape),
        lambda: log_light(_every(coarse, step), _every(usable, step), light_um_per_px),
    )
    for box in text:
        examined[box] = False
    return examined, light_log, step * _COARSE


def _light_step(shape: tuple[int, ...]) -> int:
    """Coarse pixels per pixel of the light; odd, and 1 where the picture is small."""
    return 3 if min(shape[:2]) >= 120 else 1


def _every(picture: NDArray[Any], step: int) -> NDArray[Any]:
    """Take the middle pixel of each block: an average would mix background and objects."""
    rows, columns = (
        np.minimum(np.arange(step // 2, side + step // 2, step), side - 1)
        for side in picture.shape[:2]
    )
    return np.ascontiguousarray(picture[rows[:, None], columns])


def _enlarged_sample(sample: Sample, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Bring the sample's mask from the coarse picture to the working scale."""
    if sample.circle is not None:
        x, y = ((c + 0.5) * _COARSE - 0.5 for c in sample.circle[:2])
        return disc(shape, (x, y, sample.circle[2] * _COARSE))
    if sample.mask.all():
        return np.ones(shape[:2], bool)
    return np.kron(sample.mask, np.ones((_COARSE, _COARSE), bool))[: shape[0], : shape[1]]


def _at_work(boxes: list[Box], zoom: float) -> list[tuple[slice, slice]]:
    """Bring boxes from photo pixels to the working scale, whole pixels outwards."""
    return [
        (
            slice(max(int(np.floor(top / zoom)), 0), int(np.ceil(bottom / zoom))),
            slice(max(int(np.floor(left / zoom)), 0), int(np.ceil(right / zoom))),
        )
        for left, top, right, bottom in boxes
    ]


def _coarser(box: tuple[slice, slice]) -> tuple[slice, slice]:
    """Bring a box from the working scale to the coarse picture, whole pixels outwards."""
    rows, columns = (slice(s.start // _COARSE, -(-s.stop // _COARSE)) for s in box)
    return rows, columns


def _even_out(
    logs: NDArray[np.float32], light_log: NDArray[np.float32], step: int
) -> NDArray[np.float32]:
    """Return the density, from the light's logarithm ``step`` times coarser.

    Done in strips: of whole pictures of floats memory costs more than arithmetic. The density
    takes the place of ``logs``, the logarithm of the photo.
    """
    columns, across = logs.shape[1], light_log.shape[1] * step
    end = len(light_log)
    each = max(_AT_ONCE // (step * 3 * columns), 1)

    def fill(first: int) -> None:
        # One row of the light more on either side, for what lies between two.
        top, bottom = max(first - 1, 0), min(first + each + 1, end)
        size = (across, (bottom - top) * step)
        light = cv2.resize(light_log[top:bottom], size, interpolation=cv2.INTER_LINEAR)
        part = logs[first * step : (first + each) * step]
        start = (first - top) * step
        np.subtract(light[start : start + len(part), :columns], part, out=part)
        np.clip(part, *DENSITY_BOUNDS, out=part)

    on_threads(fill, range(0, end, each))
    return logs
