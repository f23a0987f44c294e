"""Takes one photograph: look, scene, light, camera, file and truth."""

from __future__ import annotations

import cv2
import numpy as np

from other_hands.layered.camera import develop, through_camera_lens
from other_hands.layered.canvas import HEIGHT_PX, WIDTH_PX, Canvas
from other_hands.layered.file import Sent, pack, send_by_chat, truth_table
from other_hands.layered.ground import card_density
from other_hands.layered.light import eyepiece_field, glare, illumination, with_specks
from other_hands.layered.look import Look
from other_hands.layered.overlay import Overlay, draw_overlay
from other_hands.layered.recipe import CONDITIONS, draw_look
from other_hands.layered.scene import fill
from other_hands.layered.visibility import judge_seen
from other_hands.photograph import Photograph


def draw(condition: str, number: int, seed: int) -> Photograph:
    """Draw one photograph; the same condition, number and seed give the same one.

    Parameters
    ----------
    condition
        One of CONDITIONS.
    number
        Which photograph of the condition, from 0.
    seed
        Of the whole set of photographs.

    Raises
    ------
    ValueError
        If there is no such condition.
    """
    if condition not in CONDITIONS:
        raise ValueError(f"no condition {condition!r}; there are {', '.join(CONDITIONS)}")
    rng = np.random.default_rng([seed, CONDITIONS.index(condition), number])
    look = draw_look(rng, condition)
    canvas = Canvas(rng, look)
    fill(canvas, condition)
    field, glow = _empty_field(rng, look)
    overlay = _draw_overlay(rng, condition, canvas.um_per_px)
    covered = np.zeros((HEIGHT_PX, WIDTH_PX), bool) if overlay is None else overlay.covered
    seen = judge_seen(canvas, field, covered)
    light = _on_sensor(canvas, field, glow)
    light = through_camera_lens(rng, look.camera, light)
    image = develop(rng, look.camera, light)
    if overlay is not None:
        image = overlay.over(image)
    sent = Sent(image, look.camera.jpeg_quality, scale_x=1.0, scale_y=1.0)
    if condition == "chat":
        sent = send_by_chat(rng, sent)
    packed = pack(rng, sent, lossless_share=0.0 if condition == "chat" else 0.25)
    um_per_px = canvas.um_per_px / ((sent.scale_x + sent.scale_y) / 2)
    return Photograph(packed, um_per_px, truth_table(canvas, seen, sent))


def _empty_field(rng: np.random.Generator, look: Look) -> tuple[np.ndarray, np.ndarray | None]:
    """Draw the light of the empty field (h, w, 3), and what glows over it at an eyepiece."""
    field = illumination(rng, look) * look.background.astype(np.float32)
    if look.eyepiece is None:
        return field, None
    share, glow = eyepiece_field(rng, look.eyepiece, look.camera.colour_magnification)
    return field * share, glow


def _draw_overlay(rng: np.random.Generator, condition: str, um_per_px: float) -> Overlay | None:
    """Draw an overlay where the condition asks for one, and on some blank photographs."""
    if condition == "overlay" or (condition == "blank" and rng.random() < 0.2):
        return draw_overlay(rng, um_per_px)
    return None


def _on_sensor(canvas: Canvas, field: np.ndarray, glow: np.ndarray | None) -> np.ndarray:
    """Send the field's light through all densities, with stray light, glare and glow."""
    rng, look = canvas.rng, canvas.look
    light = _transmitted(canvas)
    if look.eyepiece is None and not look.on_card and rng.random() < 0.4:
        light = with_specks(rng, light)
    light = light * field
    # Stray light fills the picture, but not what lies outside the eyepiece's round field.
    stray = look.veil * 0.6 * float(np.mean(look.background))
    if look.eyepiece is not None:
        stray = stray * (field / look.background)
    light = light * (1 - look.veil) + stray
    # Lamps for a card stand above it and are often reflected; those below rarely are.
    patches = int(rng.integers(0, 3) if look.on_card else rng.random() < 0.05)
    for _ in range(patches):
        light = light + glare(rng)[..., None]
    return light if glow is None else light + glow


def _transmitted(canvas: Canvas) -> np.ndarray:
    """Give the share of light (HEIGHT_PX, WIDTH_PX, 3) that comes through the canvas."""
    density = canvas.litter + canvas.spores
    if canvas.look.on_card:
        density += card_density(canvas, density)[..., None]
    np.clip(density, -0.8, 7, out=density)
    light = np.exp(-density)
    if canvas.look.optics.supersampling == 1:
        return light
    return cv2.resize(light, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA)
