"""What the lens does to the light: blur, motion, colour error, distortion."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class OpticsPlan:
    """All about the lens.

    Attributes
    ----------
    blur_px : float
        Sigma of the lens's blur, in canvas pixels.
    corner_blur : float
        Extra sigma in the corners, in canvas pixels.
    motion_px, motion_deg : float
        Length and direction of a shake during the exposure.
    red_scale, blue_scale : float
        Magnification of red and blue against green.
    red_shift, blue_shift : tuple of float
        Shift of red and blue against green, in canvas pixels.
    distortion : float
        Relative change of the radius at the corner: positive is a cushion.
    """

    blur_px: float = 0.8
    corner_blur: float = 0.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    red_scale: float = 1.0
    blue_scale: float = 1.0
    red_shift: tuple[float, float] = (0.0, 0.0)
    blue_shift: tuple[float, float] = (0.0, 0.0)
    distortion: float = 0.0


def random_optics(rng: np.random.Generator) -> OpticsPlan:
    """Draw a lens at random: most are good, some are poor."""
    fringed = rng.random() < 0.35
    colour = 1.0 if fringed else 0.0
    return OpticsPlan(
        blur_px=float(np.clip(np.exp(rng.normal(np.log(0.8), 0.5)), 0.2, 3.0)),
        corner_blur=float(rng.gamma(1.0, 1.0)) if rng.random() < 0.2 else 0.0,
        motion_px=float(rng.uniform(1, 7)) if rng.random() < 0.12 else 0.0,
        motion_deg=float(rng.uniform(0, 180)),
        red_scale=1 + colour * float(rng.normal(0, 0.0015)),
        blue_scale=1 + colour * float(rng.normal(0, 0.0015)),
        red_shift=(colour * float(rng.normal(0, 0.5)), colour * float(rng.normal(0, 0.5))),
        blue_shift=(colour * float(rng.normal(0, 0.5)), colour * float(rng.normal(0, 0.5))),
        distortion=float(rng.normal(0, 0.008)) if rng.random() < 0.2 else 0.0,
    )


def through_lens(image: NDArray[np.float32], plan: OpticsPlan) -> NDArray[np.float32]:
    """Return the picture, shape (h, w, 3) or (h, w), as the lens forms it."""
    out = image
    if plan.blur_px >= 0.15:
        out = np.asarray(cv2.GaussianBlur(out, (0, 0), plan.blur_px), np.float32)
    if plan.corner_blur > 0.2:
        out = _corner_blur(out, plan.corner_blur)
    if plan.motion_px >= 1:
        kernel = _shake(plan.motion_px, plan.motion_deg)
        out = np.asarray(cv2.filter2D(out, -1, kernel), np.float32)
    if image.ndim == 3 and _has_colour_error(plan):
        out = _colour_error(out, plan)
    if plan.distortion != 0:
        out = _distorted(out, plan.distortion)
    return np.asarray(out, np.float32)


def moved_by_lens(
    xy_px: NDArray[np.float64], shape: tuple[int, int], plan: OpticsPlan
) -> NDArray[np.float64]:
    """Return where points of the canvas, shape (n, 2), end up in green light.

    Examples
    --------
    >>> moved_by_lens(np.array([[3.0, 4.0]]), (10, 10), OpticsPlan()).tolist()
    [[3.0, 4.0]]
    """
    if plan.distortion == 0 or len(xy_px) == 0:
        return xy_px.copy()
    middle = np.array([(shape[1] - 1) / 2, (shape[0] - 1) / 2])
    reach = float(np.hypot(*middle))
    wanted = (xy_px - middle) / reach
    found = wanted.copy()
    # The picture is made by looking up source = found * (1 + k r^2): invert by repetition.
    for _ in range(12):
        square = (found**2).sum(axis=1, keepdims=True)
        found = wanted / (1 + plan.distortion * square)
    return found * reach + middle


def _distorted(image: NDArray[np.float32], strength: float) -> NDArray[np.float32]:
    """Return the image with its radii changed by a share growing with their square."""
    height, width = image.shape[:2]
    cx, cy = np.float32((width - 1) / 2), np.float32((height - 1) / 2)
    x = np.arange(width, dtype=np.float32)[None, :] - cx
    y = np.arange(height, dtype=np.float32)[:, None] - cy
    factor = 1 + np.float32(strength) * (x**2 + y**2) / (cx**2 + cy**2)
    return np.asarray(
        cv2.remap(
            image, x * factor + cx, y * factor + cy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        ),
        np.float32,
    )


def _has_colour_error(plan: OpticsPlan) -> bool:
    moved = (*plan.red_shift, *plan.blue_shift)
    return plan.red_scale != 1 or plan.blue_scale != 1 or any(part != 0 for part in moved)


def _colour_error(image: NDArray[np.float32], plan: OpticsPlan) -> NDArray[np.float32]:
    """Return the image with red and blue a little larger, smaller or aside."""
    height, width = image.shape[:2]
    cx, cy = (width - 1) / 2, (height - 1) / 2
    planes = list(cv2.split(image))
    for channel, scale, shift in (
        (0, plan.red_scale, plan.red_shift),
        (2, plan.blue_scale, plan.blue_shift),
    ):
        turn = np.array(
            [
                [scale, 0, cx * (1 - scale) + shift[0]],
                [0, scale, cy * (1 - scale) + shift[1]],
            ]
        )
        planes[channel] = cv2.warpAffine(
            planes[channel],
            turn,
            (width, height),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        )
    return np.asarray(cv2.merge(planes), np.float32)


def _corner_blur(image: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """Return the image blending into a blurred one towards the corners."""
    soft = cv2.GaussianBlur(image, (0, 0), sigma_px)
    y = np.linspace(-1, 1, image.shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, image.shape[1], dtype=np.float32)[None, :]
    share = np.clip((x**2 + y**2) / 2, 0, 1)
    if image.ndim == 3:
        share = share[..., None]
    return np.asarray(image + share * (soft - image), np.float32)


def _shake(length_px: float, angle_deg: float) -> NDArray[np.float32]:
    """Return the kernel of a straight shake, centred, of unit sum."""
    reach = int(np.ceil(length_px / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    turn = np.radians(angle_deg)
    for t in np.linspace(-0.5, 0.5, max(9, int(4 * length_px))):
        x, y = reach + t * length_px * np.cos(turn), reach + t * length_px * np.sin(turn)
        x0, y0 = int(np.floor(x)), int(np.floor(y))
        fx, fy = x - x0, y - y0
        for dx, wx in ((0, 1 - fx), (1, fx)):
            for dy, wy in ((0, 1 - fy), (1, fy)):
                if 0 <= y0 + dy < kernel.shape[0] and 0 <= x0 + dx < kernel.shape[1]:
                    kernel[y0 + dy, x0 + dx] += wx * wy
    return kernel / kernel.sum()
