"""From light on the sensor to the camera's 8-bit picture."""

from __future__ import annotations

import cv2
import numpy as np

from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX
from other_hands.layered.look import Camera

#: Centre of the picture, and distance of its corners from there.
CENTRE_PX = np.array([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2])
CORNER_PX = np.hypot(*CENTRE_PX)


def through_camera_lens(rng: np.random.Generator, camera: Camera, light: np.ndarray) -> np.ndarray:
    """Distort, blur and smear light (h, w, 3) as the camera's lens and a shaking hand do."""
    if camera.distortion or abs(camera.colour_magnification) > 1e-5:
        light = _distorted(camera, light)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), camera.blur_px)
    if camera.motion_px:
        light = cv2.filter2D(light, -1, _motion(rng, camera.motion_px))
    return light


def _distorted(camera: Camera, light: np.ndarray) -> np.ndarray:
    """Stretch or squeeze a picture towards its corners, each colour a little differently."""
    light = light.astype(np.float32)
    rows, columns = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    middle_x, middle_y = np.float32(CENTRE_PX[0]), np.float32(CENTRE_PX[1])
    columns -= middle_x
    rows -= middle_y
    squared = columns * columns + rows * rows
    stretch = 1 + camera.distortion * squared / np.float32(CORNER_PX * CORNER_PX)
    out = np.empty_like(light)
    for colour in range(3):
        scale = np.float32(1 + camera.colour_magnification * (colour - 1))
        out[..., colour] = cv2.remap(
            np.ascontiguousarray(light[..., colour]),
            (columns * stretch * scale + middle_x).astype(np.float32),
            (rows * stretch * scale + middle_y).astype(np.float32),
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out


def on_picture(camera: Camera, x_px: float, y_px: float) -> tuple[float, float]:
    """Give where a point of the scene comes to lie on the picture that the lens distorts."""
    scene = np.array([x_px, y_px]) - CENTRE_PX
    picture = scene.copy()
    # The lens tells where each pixel looks; the other way is found step by step.
    for _ in range(12):
        picture = scene / (1 + camera.distortion * (picture @ picture) / CORNER_PX**2)
    x_px, y_px = picture + CENTRE_PX
    return x_px, y_px


def _motion(rng: np.random.Generator, length_px: float) -> np.ndarray:
    """Draw a (9, 9) kernel of a straight smear."""
    kernel = np.zeros((9, 9), np.float32)
    angle_rad = rng.uniform(0, 3.14)
    for t in np.linspace(-0.5, 0.5, 41):
        row = round(4 + t * length_px * np.sin(angle_rad))
        column = round(4 + t * length_px * np.cos(angle_rad))
        kernel[row, column] += 1
    return kernel / kernel.sum()


def develop(rng: np.random.Generator, camera: Camera, light: np.ndarray) -> np.ndarray:
    """Turn linear light (h, w, 3), 0 to about 1, into an 8-bit RGB picture."""
    image = _with_noise(rng, camera, np.clip(light, 0, None))
    image = _toned(camera, image)
    if camera.smoothing:
        image = cv2.bilateralFilter(image, 5, 0.05, 1.6)
    if camera.sharpening:
        soft = cv2.GaussianBlur(image, (0, 0), camera.sharpening_px)
        image = np.clip(image + camera.sharpening * (image - soft), 0, 1)
    return (image * 255 + 0.5).astype(np.uint8)


def _with_noise(rng: np.random.Generator, camera: Camera, light: np.ndarray) -> np.ndarray:
    """Add noise that grows with the light: grey by pixel, coloured in blots."""
    noise = np.sqrt(0.25 * camera.noise**2 + camera.noise**2 * light)
    colours = rng.standard_normal((HEIGHT_PX, WIDTH_PX, 3)).astype(np.float32)
    coloured = cv2.GaussianBlur(colours, (0, 0), 0.9) * 1.8
    grey = rng.standard_normal((HEIGHT_PX, WIDTH_PX, 1)).astype(np.float32)
    return light + noise * (0.7 * grey + 0.6 * coloured)


def _toned(camera: Camera, image: np.ndarray) -> np.ndarray:
    """Apply shoulder, gamma, contrast and saturation; float32, 0 to 1."""
    image = np.clip(image, 0, 1.15)
    shoulder = 0.9 + (1 - np.exp(-(image - 0.9) * 8)) / 8 * 0.8
    image = np.where(image > 0.9, shoulder, image)
    image = np.clip(image, 0, 1) ** (1 / camera.gamma)
    image = image + camera.contrast * (image - 0.5) * image * (1 - image) * 2
    mean = image.mean(-1, keepdims=True)
    image = mean + (image - mean) * camera.saturation
    return np.clip(image, 0, 1).astype(np.float32)
