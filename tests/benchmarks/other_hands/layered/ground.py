"""What lies under everything: the texture of the adhesive, and the white card."""

from __future__ import annotations

import cv2
import numpy as np

from other_hands.layered.canvas import Canvas
from other_hands.layered.chance import fractal_field, log_uniform, smooth_field
from other_hands.layered.curves import curve
from other_hands.layered.look import TapeLook

#: The most fibres that are drawn in a card.
MOST_FIBRES = 701


def spread_adhesive(canvas: Canvas) -> None:
    """Add the texture of the adhesive to the litter: clouds, grain, creases and streaks."""
    rng, tape = canvas.rng, canvas.look.tape
    # At half the resolution: all of it is soft.
    shape, pitch_um = (canvas.height_px // 2, canvas.width_px // 2), canvas.pitch_um * 2
    strength = tape.adhesive
    density = np.zeros(shape, np.float32)
    clouds = strength * 0.5 * fractal_field(rng, shape, 60 / pitch_um, 2)
    grain = strength * 0.6 * smooth_field(rng, shape, max(5 / pitch_um, 1.5))
    patches = np.clip(smooth_field(rng, shape, 90 / pitch_um) * 0.5 + 0.6, 0, 2)
    density += clouds + grain * patches
    relief = fractal_field(rng, shape, max(rng.uniform(6, 25) / pitch_um, 2), 2)
    down, across = np.gradient(relief)
    steepness = np.hypot(across, down)
    creases = np.clip(steepness / (steepness.mean() + 1e-6) - 1, -1, 3)
    density += strength * 1.2 * creases * (1 if rng.random() < 0.5 else 0.2)
    density += _streaks(rng, shape, tape, pitch_um)
    size = (canvas.width_px, canvas.height_px)
    canvas.litter += cv2.resize(density, size, interpolation=cv2.INTER_LINEAR)[..., None]


def _streaks(
    rng: np.random.Generator, shape: tuple[int, int], tape: TapeLook, pitch_um: float
) -> np.ndarray:
    """Draw streaks along the tape, faint on most photographs."""
    rows, columns = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    across_px = -columns * np.sin(tape.angle_rad) + rows * np.cos(tape.angle_rad)
    profile = smooth_field(rng, (1, int(np.ptp(across_px)) + 4), max(8 / pitch_um, 2))[0]
    share = rng.uniform(0.2, 0.9) if rng.random() < 0.3 else rng.uniform(0, 0.2)
    place = np.clip((across_px - across_px.min()).astype(int), 0, len(profile) - 1)
    return tape.adhesive * share * profile[place]


def card_density(canvas: Canvas, density: np.ndarray) -> np.ndarray:
    """Draw what a card adds to densities (h, w, 3): shadows of things on it, fibres in it; (h, w).

    Fibres are brighter or darker than the card, so that what is added may be less than zero.
    """
    return _shadows(canvas, density) - _paper(canvas)


def _shadows(canvas: Canvas, density: np.ndarray) -> np.ndarray:
    """Draw the soft shadows that things cast on the card, to one side of them."""
    rng, pitch_um = canvas.rng, canvas.pitch_um * 3
    small = cv2.resize(
        np.clip(density.mean(-1), 0, 2),
        (canvas.width_px // 3, canvas.height_px // 3),
        interpolation=cv2.INTER_AREA,
    )
    angle_rad, away_um = rng.uniform(0, 6.3), rng.uniform(4, 14)
    small = cv2.GaussianBlur(small, (0, 0), max(rng.uniform(3, 9) / pitch_um, 0.6))
    along = np.cos(angle_rad) * away_um / pitch_um, np.sin(angle_rad) * away_um / pitch_um
    shift = np.array([[1, 0, along[0]], [0, 1, along[1]]], np.float32)
    size = (small.shape[1], small.shape[0])
    cast = cv2.warpAffine(small, shift, size, borderMode=cv2.BORDER_REPLICATE)
    cast = cast * rng.uniform(0.25, 0.55)
    return cv2.resize(cast, (canvas.width_px, canvas.height_px))


def _paper(canvas: Canvas) -> np.ndarray:
    """Draw the brightness (h, w) of paper: fibres with shadows, clouds and grain."""
    rng, pitch_um = canvas.rng, canvas.pitch_um * 2
    shape = (canvas.height_px // 2, canvas.width_px // 2)
    felt = np.zeros(shape, np.float32)
    number = int(60 + 170 * canvas.width_um * canvas.height_um / (800 * 600.0))
    for _ in range(min(number, MOST_FIBRES)):
        start_um = canvas.anywhere()
        length_um, bend = log_uniform(rng, 150, 1100), rng.uniform(0.2, 0.9)
        path_px = curve(rng, *start_um, length_um, bend, 30) / pitch_um
        _lay_paper_fibre(rng, felt, path_px, rng.uniform(-1, 1), pitch_um)
    soft = cv2.GaussianBlur(felt, (0, 0), max(log_uniform(rng, 0.8, 6) / pitch_um, 0.6))
    soft = soft / (soft.std() + 1e-6)
    paper = (
        rng.uniform(0.03, 0.09) * soft
        + 0.02 * fractal_field(rng, shape, 130 / pitch_um, 3)
        + 0.008 * fractal_field(rng, shape, 4 / pitch_um, 2)
    )
    size = (canvas.width_px, canvas.height_px)
    return cv2.resize(paper, size, interpolation=cv2.INTER_LINEAR)


def _lay_paper_fibre(
    rng: np.random.Generator,
    felt: np.ndarray,
    path_px: np.ndarray,
    strength: float,
    pitch_um: float,
) -> None:
    """Add a fibre of a brightness to the felt, with a shadow beside it."""
    height, width = felt.shape
    low, high = path_px.min(0) - 40, path_px.max(0) + 40
    left, top = int(max(low[0], 0)), int(max(low[1], 0))
    right, bottom = int(min(high[0], width)), int(min(high[1], height))
    if right - left < 3 or bottom - top < 3:
        return
    line = np.zeros((bottom - top, right - left), np.uint8)
    width_px = max(1, int(log_uniform(rng, 8, 30) / pitch_um))
    eighths = ((path_px - [left, top]) * 8).astype(np.int32)
    cv2.polylines(line, [eighths], False, 255, width_px, cv2.LINE_AA, 3)
    fibre = cv2.GaussianBlur(line, (0, 0), max(width_px * 0.25, 0.8)).astype(np.float32) / 255
    shadow = np.roll(fibre, (max(1, width_px // 3), max(1, width_px // 4)), (0, 1))
    felt[top:bottom, left:right] += strength * (fibre - 0.4 * shadow)
