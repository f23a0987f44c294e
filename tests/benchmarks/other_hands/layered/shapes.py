"""Outlines that several kinds of litter share, as distances to them, positive inside."""

from __future__ import annotations

import numpy as np

from other_hands.layered.chance import wave


def blob(
    rng: np.random.Generator,
    u_um: np.ndarray,
    v_um: np.ndarray,
    radius_um: float,
    roughness: float,
    terms: int = 6,
) -> np.ndarray:
    """Draw a roundish outline whose radius sways with the angle; float32 in micrometres."""
    angle = np.arctan2(v_um, u_um)
    radius = radius_um * np.clip(1 + wave(rng, angle, terms, roughness, 2), 0.35, 2)
    return ((radius - np.hypot(u_um, v_um)) * 0.9).astype(np.float32)


def polygon(
    rng: np.random.Generator, u_um: np.ndarray, v_um: np.ndarray, radius_um: float, sides: int
) -> np.ndarray:
    """Draw an angular outline with straight sides at various distances; in micrometres."""
    inside_um = np.full(u_um.shape, 1e3, np.float32)
    angles = np.sort(rng.uniform(0, 2 * np.pi, sides)) + rng.normal(0, 0.1)
    if sides < 5:
        # So few sides have to stand all around, or the outline is left open.
        angles = np.arange(sides) * 2 * np.pi / sides + rng.normal(0, 0.22, sides)
    for angle in angles:
        away_um = radius_um * rng.uniform(0.55, 1.0)
        inside_um = np.minimum(inside_um, away_um - u_um * np.cos(angle) - v_um * np.sin(angle))
    return np.minimum(inside_um, radius_um * 1.5 - np.hypot(u_um, v_um))


def round_height(inside_um: np.ndarray, radius_um: float | np.ndarray) -> np.ndarray:
    """Give the height of a round body over its outline, not yet divided by the radius."""
    return np.sqrt(np.clip(inside_um * (2 * radius_um - inside_um), 0, None))
