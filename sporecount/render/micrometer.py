"""A photo of a stage micrometer whose scale is known exactly."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

#: Half lengths of ordinary, fifth and tenth lines, in divisions.
HALF_LENGTHS = (5.0, 7.5, 10.0)

#: Divisions on the ruling: 1 mm in 100 parts (common practice, no source).
DIVISIONS = 100


def render_micrometer(
    rng: np.random.Generator,
    *,
    um_per_px: float,
    size_px: tuple[int, int] = (1280, 960),
    angle_deg: float = 0.0,
    division_um: float = 10.0,
    line_um: float = 2.0,
    long_marks: bool = True,
    only_long_marks: bool = False,
    blur_px: float = 0.7,
    noise: float = 0.01,
    light_slope: float = 0.15,
    background: float = 0.75,
    line_darkness: float = 0.85,
    numbers: bool = False,
    dust_per_mpx: float = 20.0,
    divisions: int = DIVISIONS,
    offset_um: tuple[float, float] | None = None,
) -> NDArray[np.uint8]:
    """Draw the ruling of a stage micrometer as a camera would see it.

    Parameters
    ----------
    rng : Generator
        Source of noise, dust, light and, where not given, the place.
    um_per_px : float
        Scale of the picture; exact.
    size_px : tuple of int
        (width, height).
    angle_deg : float
        Direction along the ruling, from +x towards +y: lines stand square to it.
    division_um, line_um : float
        Pitch of the finest lines drawn and width of a line, in um.
    long_marks : bool
        Whether fifth and tenth lines are longer.
    only_long_marks : bool
        Leave out all but the fifth and tenth lines (a coarse ruling).
    blur_px : float
        Sigma of the blur.
    noise : float
        Standard deviation of the camera's noise, as a share of white.
    light_slope : float
        Largest relative change of light from the middle to a corner.
    background, line_darkness : float
        Brightness of the ground (0 to 1), and the share of it a line takes away.
    numbers : bool
        Write 0, 10, 20 ... beside the tenth lines.
    dust_per_mpx : float
        Dark specks per megapixel.
    divisions : int
        Number of divisions of the whole ruling.
    offset_um : tuple of float, optional
        Place of the picture's middle on the ruling: along it and across it,
        from the ruling's middle.

    Returns
    -------
    ndarray, shape (height, width, 3), uint8
        RGB picture.

    Examples
    --------
    >>> render_micrometer(np.random.default_rng(1), um_per_px=1.0, size_px=(80, 60)).shape
    (60, 80, 3)
    """
    width, height = size_px
    if offset_um is None:
        offset_um = _random_offset(rng, size_px, um_per_px, divisions * division_um, division_um)
    along, across = _ruling_axes(size_px, um_per_px, angle_deg, offset_um)
    ink = _lines(along, across, um_per_px, division_um, line_um, divisions, long_marks)
    if only_long_marks:
        ink = _lines(along, across, um_per_px, 5 * division_um, line_um, divisions // 5, long_marks)
    if numbers:
        ink = np.maximum(
            ink, _numbers(size_px, um_per_px, angle_deg, division_um, divisions, offset_um)
        )
    ink = np.maximum(ink, _dust(rng, size_px, dust_per_mpx))
    if blur_px > 0:
        ink = np.asarray(cv2.GaussianBlur(ink, (0, 0), blur_px), np.float32)
    light = background * _uneven(rng, size_px, light_slope)
    value = light * (1 - line_darkness * ink)
    tint = 1 + rng.uniform(-0.05, 0.05, 3).astype(np.float32)
    picture = value[..., None] * tint
    picture += rng.standard_normal((height, width, 3), dtype=np.float32) * np.float32(noise)
    return (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8)


def _random_offset(
    rng: np.random.Generator,
    size_px: tuple[int, int],
    um_per_px: float,
    ruling_um: float,
    division_um: float,
) -> tuple[float, float]:
    """Return a place of the picture's middle that keeps the ruling well in sight."""
    view_um = min(size_px) * um_per_px
    spare = max(0.0, (ruling_um - view_um) / 2)
    reach = min(0.2 * view_um, 4 * division_um)
    return float(rng.uniform(-spare, spare)), float(rng.uniform(-reach, reach))


def _ruling_axes(
    size_px: tuple[int, int], um_per_px: float, angle_deg: float, offset_um: tuple[float, float]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return each pixel's place along and across the ruling, in um."""
    width, height = size_px
    x = (np.arange(width, dtype=np.float32) - (width - 1) / 2) * um_per_px
    y = (np.arange(height, dtype=np.float32) - (height - 1) / 2) * um_per_px
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    along = x[None, :] * cos + y[:, None] * sin + offset_um[0]
    across = -x[None, :] * sin + y[:, None] * cos + offset_um[1]
    return along.astype(np.float32), across.astype(np.float32)


def _lines(
    along: NDArray[np.float32],
    across: NDArray[np.float32],
    um_per_px: float,
    division_um: float,
    line_um: float,
    divisions: int,
    long_marks: bool,
) -> NDArray[np.float32]:
    """Return the share of each pixel that lines cover, 0 to 1."""
    count = np.rint(along / division_um)
    half = np.full(along.shape, HALF_LENGTHS[0] * division_um, np.float32)
    if long_marks:
        number = count + divisions // 2
        half[np.mod(number, 5) == 0] = HALF_LENGTHS[1] * division_um
        half[np.mod(number, 10) == 0] = HALF_LENGTHS[2] * division_um
    off_line = np.abs(along - count * division_um)
    in_width = np.clip((line_um / 2 - off_line) / um_per_px + 0.5, 0, 1)
    in_width *= min(1.0, line_um / um_per_px)
    in_length = np.clip((half - np.abs(across)) / um_per_px + 0.5, 0, 1)
    return (in_width * in_length * (np.abs(count) <= divisions / 2)).astype(np.float32)


def _numbers(
    size_px: tuple[int, int],
    um_per_px: float,
    angle_deg: float,
    division_um: float,
    divisions: int,
    offset_um: tuple[float, float],
) -> NDArray[np.float32]:
    """Return the ink of the numbers beside every tenth line."""
    width, height = size_px
    ink = np.zeros((height, width), np.float32)
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    scale = 4 * division_um / um_per_px / 22.0
    thickness = max(1, round(1.5 * scale))
    for number in range(0, divisions + 1, 10):
        along = (number - divisions / 2) * division_um - offset_um[0]
        across = -(HALF_LENGTHS[2] + 3.5) * division_um - offset_um[1]
        x = (along * cos - across * sin) / um_per_px + (width - 1) / 2
        y = (along * sin + across * cos) / um_per_px + (height - 1) / 2
        (text_w, text_h), _ = cv2.getTextSize(
            str(number), cv2.FONT_HERSHEY_SIMPLEX, scale, thickness
        )
        reach = max(text_w, text_h) + 4
        patch = np.zeros((2 * reach, 2 * reach), np.uint8)
        place = (reach - text_w // 2, reach + text_h // 2)
        cv2.putText(
            patch,
            str(number),
            place,
            cv2.FONT_HERSHEY_SIMPLEX,
            scale,
            255,
            thickness,
            cv2.LINE_AA,
        )
        turn = cv2.getRotationMatrix2D((reach, reach), -angle_deg, 1.0)
        turn[:, 2] += np.array([x - reach, y - reach])
        ink = np.maximum(ink, cv2.warpAffine(patch, turn, (width, height)).astype(np.float32) / 255)
    return ink


def _dust(
    rng: np.random.Generator, size_px: tuple[int, int], per_mpx: float
) -> NDArray[np.float32]:
    """Return round specks, 0 to 1."""
    width, height = size_px
    ink = np.zeros((height, width), np.float32)
    for _ in range(rng.poisson(per_mpx * width * height / 1e6)):
        centre = (int(rng.integers(0, width)), int(rng.integers(0, height)))
        shade = float(rng.uniform(0.2, 0.9))
        cv2.circle(ink, centre, int(rng.integers(1, 5)), shade, -1, cv2.LINE_AA)
    return ink


def _uneven(
    rng: np.random.Generator, size_px: tuple[int, int], slope: float
) -> NDArray[np.float32]:
    """Return uneven light with mean about 1: a slope and a darker rim."""
    width, height = size_px
    x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
    towards = rng.uniform(0, 2 * math.pi)
    tilt = x * math.cos(towards) + y * math.sin(towards)
    rim = (x**2 + y**2) / 2
    light = 1 + slope * (rng.uniform(-1, 1) * tilt - rng.uniform(0, 1) * rim)
    return light.astype(np.float32)
