"""What the camera and the way to us do: exposure, noise, tone, sharpening, size, JPEG."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class CameraPlan:
    """All about the camera.

    Attributes
    ----------
    sensor_scale : float
        Canvas pixels for each pixel of the picture handed out: above 1 the
        picture is shrunk in the end, below 1 it is blown up.
    resize : str
        ``"area"``, ``"linear"``, ``"cubic"`` or ``"nearest"``.
    exposure : float
        Brightness of clear ground before the tone curve; above 1 it clips.
    white_balance : tuple of float
        Factor on red, green and blue.
    shot, read : float
        Standard deviation of photon noise at white, and of the read-out.
    noise_grain_px : float
        Sigma by which the noise is smeared; 0 for white noise.
    gamma, contrast : float
        Exponent of the tone curve (its inverse is applied) and steepness about mid grey.
    black : float
        Level that is cut off as black.
    saturation : float
        1 is faithful, 0 grey.
    soften_px : float
        Sigma of the loss by the colour filter.
    smear : float
        Share of a noise-removing median filter.
    sharpen, sharpen_px : float
        Strength and sigma of the sharpening.
    jpeg : tuple of int
        Qualities of the JPEG compressions, the first at the sensor's size when
        there are two or more; empty for none.
    """

    sensor_scale: float = 1.0
    resize: str = "area"
    exposure: float = 0.85
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    shot: float = 0.01
    read: float = 0.004
    noise_grain_px: float = 0.0
    gamma: float = 2.2
    contrast: float = 1.0
    black: float = 0.0
    saturation: float = 1.0
    soften_px: float = 0.0
    smear: float = 0.0
    sharpen: float = 0.0
    sharpen_px: float = 1.0
    jpeg: tuple[int, ...] = (92,)


_RESIZE = {
    "area": cv2.INTER_AREA,
    "linear": cv2.INTER_LINEAR,
    "cubic": cv2.INTER_CUBIC,
    "nearest": cv2.INTER_NEAREST_EXACT,
}


def random_camera(rng: np.random.Generator) -> CameraPlan:
    """Draw a camera at random."""
    kind = rng.random()
    if kind < 0.6:
        scale, resize = 1.0, "area"
    elif kind < 0.8:
        scale = float(rng.uniform(0.5, 0.95))
        resize = str(rng.choice(["linear", "cubic", "cubic", "nearest"]))
    else:
        scale = float(rng.uniform(1.1, 1.6))
        resize = str(rng.choice(["area", "linear", "cubic"]))
    grey, pale = rng.random() < 0.06, rng.random() < 0.08
    balance = np.exp(rng.normal(0, 0.06, 3))
    return CameraPlan(
        sensor_scale=scale,
        resize=resize,
        exposure=float(np.clip(rng.normal(0.7, 0.2), 0.12, 1.4)),
        white_balance=(float(balance[0]), float(balance[1]), float(balance[2])),
        shot=float(np.exp(rng.normal(np.log(0.015), 0.8))),
        read=float(np.exp(rng.normal(np.log(0.004), 0.8))),
        noise_grain_px=float(rng.uniform(0.4, 1.2)) if rng.random() < 0.5 else 0.0,
        gamma=float(np.clip(rng.normal(1.9, 0.4), 0.9, 2.8)),
        contrast=float(np.exp(rng.normal(0.05, 0.22))),
        black=float(rng.beta(1, 12) * 0.3),
        saturation=0.0 if grey else _random_saturation(rng, pale),
        soften_px=float(rng.uniform(0.3, 0.8)) if rng.random() < 0.5 else 0.0,
        smear=float(rng.uniform(0.3, 1.0)) if rng.random() < 0.2 else 0.0,
        sharpen=_random_sharpening(rng),
        sharpen_px=float(rng.uniform(0.6, 2.2)),
        jpeg=_random_qualities(rng),
    )


def _random_saturation(rng: np.random.Generator, pale: bool) -> float:
    return float(rng.uniform(0.03, 0.3) if pale else np.clip(rng.normal(1.05, 0.3), 0.1, 2.0))


def _random_sharpening(rng: np.random.Generator) -> float:
    kind = rng.random()
    if kind < 0.48:
        return 0.0
    # Some cameras and chat programs sharpen until everything has a halo.
    return float(rng.uniform(2.0, 4.5) if kind > 0.95 else rng.gamma(1.5, 0.5))


def _random_qualities(rng: np.random.Generator) -> tuple[int, ...]:
    kind = rng.random()
    if kind < 0.2:
        return ()
    if kind < 0.24:
        return (int(rng.integers(12, 31)),)
    if kind < 0.75:
        return (int(rng.integers(60, 99)),)
    if kind < 0.85:
        return (int(rng.integers(30, 61)),)
    return (int(rng.integers(70, 98)), int(rng.integers(40, 90)))


def expose(light: NDArray[np.float32], plan: CameraPlan) -> NDArray[np.float32]:
    """Return what the sensor holds before noise: exposed, balanced, clipped at 1."""
    factor = np.float32(plan.exposure) * np.array(plan.white_balance, np.float32)
    out = light * factor
    return np.clip(out, 0, 1, out=out)


def develop(rng: np.random.Generator, exposed: NDArray[np.float32], plan: CameraPlan) -> Pixels:
    """Return the camera's own 8-bit picture, shape (h, w, 3), at the sensor's size."""
    picture = _with_noise(rng, exposed, plan)
    if plan.soften_px > 0.2:
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), plan.soften_px), np.float32)
    if plan.smear > 0:
        smooth = cv2.medianBlur(np.asarray(picture, np.float32), 5)
        picture = picture + np.float32(plan.smear) * (smooth - picture)
    picture = toned(picture, plan)
    if plan.saturation != 1:
        share = np.full((3, 1), 1 - plan.saturation, np.float32) * np.array(
            [[0.299, 0.587, 0.114]], np.float32
        )
        mix = share + np.float32(plan.saturation) * np.eye(3, dtype=np.float32)
        picture = np.asarray(cv2.transform(picture, mix), np.float32)
    if plan.sharpen > 0.05:
        soft = cv2.GaussianBlur(picture, (0, 0), plan.sharpen_px)
        strength = plan.sharpen
        picture = np.asarray(cv2.addWeighted(picture, 1 + strength, soft, -strength, 0), np.float32)
    # Rounded and held within 0 to 255 on the way.
    return np.asarray(cv2.convertScaleAbs(np.maximum(picture, 0), alpha=255.0), np.uint8)


def toned(picture: NDArray[np.float32], plan: CameraPlan) -> NDArray[np.float32]:
    """Return exposed light after the tone curve, not clipped at its ends."""
    picture = (picture - np.float32(plan.black)) * np.float32(1 / (1 - plan.black))
    np.clip(picture, 0, 1, out=picture)
    cv2.pow(picture, 1 / plan.gamma, dst=picture)
    picture *= np.float32(plan.contrast)
    picture += np.float32(0.5 - 0.5 * plan.contrast)
    return picture


def hand_out(pixels: Pixels, size_px: tuple[int, int], plan: CameraPlan) -> Pixels:
    """Return the picture at its final (width, height), without the last compression."""
    if len(plan.jpeg) > 1:
        pixels = compressed(pixels, plan.jpeg[0])
    if (pixels.shape[1], pixels.shape[0]) != size_px:
        pixels = np.asarray(
            cv2.resize(pixels, size_px, interpolation=_RESIZE[plan.resize]), np.uint8
        )
    for quality in plan.jpeg[1:-1]:
        pixels = compressed(pixels, quality)
    return pixels


def compressed(pixels: Pixels, quality: int) -> Pixels:
    """Return RGB pixels after a JPEG compression of the given quality."""
    bgr = np.ascontiguousarray(pixels[..., ::-1])
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    decoded = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.ascontiguousarray(np.asarray(decoded, np.uint8)[..., ::-1])


def _with_noise(
    rng: np.random.Generator, exposed: NDArray[np.float32], plan: CameraPlan
) -> NDArray[np.float32]:
    """Return the picture with noise that grows with the root of the light."""
    noise: NDArray[np.float32] = np.empty(exposed.shape, np.float32)
    # Twice as fast as the generator's own; seeded by it, so as reproducible.
    cv2.setRNGSeed(int(rng.integers(2**31)))
    cv2.randn(noise.reshape(len(noise), -1), np.zeros(1), np.ones(1))
    if plan.noise_grain_px > 0.2:
        noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), plan.noise_grain_px), np.float32)
        # Keep the deviation: blurring white noise divides it by about 2 sqrt(pi) sigma.
        noise *= np.float32(max(1.0, 2 * np.sqrt(np.pi) * plan.noise_grain_px))
    spread = exposed * np.float32(plan.shot**2)
    spread += np.float32(plan.read**2)
    np.sqrt(spread, out=spread)
    noise *= spread
    noise += exposed
    return noise
