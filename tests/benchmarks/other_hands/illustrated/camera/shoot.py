"""Taking the photo of a scene: all that happens between light and picture, in order."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from other_hands.illustrated.camera.chat import sent
from other_hands.illustrated.camera.optics import (
    draw_lens_blur_px,
    moved,
    with_colour_error,
    with_field_edge,
    with_sensor_dust,
)
from other_hands.illustrated.camera.overlay import overlaid
from other_hands.illustrated.camera.sensor import Tone, developed, draw_tone
from other_hands.illustrated.scene import Scene


@dataclass(frozen=True)
class Shot:
    """A photo, and what is needed to tell what can be seen on it."""

    picture: np.ndarray  # (height, width, 3) uint8, red first
    light: np.ndarray  # (height, width, 3) that fell on the sensor, at the scene's size
    tone: Tone
    lens_px: float
    motion_px: float
    noise: float
    hidden: np.ndarray  # (height, width) share that text hides, at the scene's size
    shrink: float  # width of the picture by that of the scene


def shoot(scene: Scene) -> Shot:
    """Take the photo of a painted scene."""
    rng, um = scene.rng, scene.um_per_px
    light = scene.picture
    if scene.eyepiece is not None:
        light = with_field_edge(rng, light, scene.eyepiece)
    light = with_sensor_dust(rng, light)
    light = np.clip(light, 0, 3).astype(np.float32)
    light = with_colour_error(rng, light, phone=scene.condition in ("phone", "chat"))
    lens_px = draw_lens_blur_px(rng, um)
    light = cv2.GaussianBlur(light, (0, 0), lens_px)
    light, motion_px = moved(rng, light, um)
    tone = draw_tone(rng, 0.4 if scene.on_card else 1.0)
    picture, noise = developed(rng, tone(light), chat=scene.condition == "chat")
    hidden = np.zeros(light.shape[:2], np.float32)
    if scene.condition == "overlay":
        picture, hidden = overlaid(rng, picture, um)
    shrink = 1.0
    if scene.condition == "chat":
        picture, shrink = sent(rng, picture)
    levels = (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8)
    return Shot(levels, light, tone, lens_px, motion_px, noise, hidden, shrink)
