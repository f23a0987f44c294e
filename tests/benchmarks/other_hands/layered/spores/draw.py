"""Draws one spore, whole or damaged, and writes down what was drawn."""

from __future__ import annotations

import cv2
import numpy as np

from other_hands.layered.canvas import Canvas, DrawnSpore
from other_hands.layered.spores.damage import DAMAGES, Site, leave_whole
from other_hands.layered.spores.shape import Spore
from other_hands.layered.spores.substance import density_and_path

#: Damage after which a spore has to be measured anew, as its outline has changed.
RESHAPED = ("cracked", "bitten", "collapsed")


def draw_spore(
    canvas: Canvas, spore: Spore, x_um: float, y_um: float, damage: str, focus_um: float
) -> None:
    """Draw a spore with its centre at a point, damaged unless damage is ""."""
    optics = canvas.look.optics
    cone = optics.aperture + optics.condenser_aperture
    blur_um = abs(focus_um) * cone * 0.9 + 1.2 / optics.aperture * 0.25
    window = canvas.whole_window(x_um, y_um, spore.length_um * 0.62 + 3 + blur_um)
    u_um, v_um = window.turned(spore.angle_rad)
    site = Site(canvas, np.random.default_rng(spore.seed + 7), spore, u_um, v_um)
    form = DAMAGES[damage](site)
    density, path_um = density_and_path(canvas, spore, form)
    if damage:
        whole = leave_whole(site)
        whole_density, whole_path_um = density_and_path(canvas, spore, whole)
        before = _appearance(canvas, whole_density, whole_path_um, focus_um)
        after = _appearance(canvas, density, path_um, focus_um)
        # Damage that this lens and focus cannot show is none to an expert.
        if not _shows(canvas, np.abs(after - before), whole.inside_um > 0):
            form, density, path_um, damage = whole, whole_density, whole_path_um, ""
    mask = form.inside_um > 0
    if mask.sum() < 6:
        return
    off_um, size_um, angle_rad = (0.0, 0.0), (spore.length_um, spore.width_um), spore.angle_rad
    if damage in RESHAPED:
        off_um, size_um, angle_rad = _measure(spore.angle_rad, u_um[mask], v_um[mask])
    shown = canvas.shown(density, path_um, focus_um)
    drawn = DrawnSpore(
        density=shown.astype(np.float16),
        box=window.box,
        mask=mask,
        x_um=x_um + off_um[0],
        y_um=y_um + off_um[1],
        length_um=size_um[0],
        width_um=size_um[1],
        angle_deg=float(np.degrees(angle_rad) % 180),
        state="damaged" if damage else "intact",
        damage=damage,
        focus_um=focus_um,
    )
    canvas.lay_spore(shown, drawn)


def _appearance(
    canvas: Canvas, density: np.ndarray, path_um: np.ndarray, focus_um: float
) -> np.ndarray:
    """Give the brightness (h, w) of an object by itself, as eyes judge it on the photograph."""
    light = np.exp(-canvas.shown(density, path_um, focus_um)).mean(-1)
    blur_px = max(canvas.look.camera.blur_px, 0.5) * canvas.look.optics.supersampling
    return cv2.GaussianBlur(light, (0, 0), blur_px) ** 0.45


def _shows(canvas: Canvas, change: np.ndarray, mask: np.ndarray) -> bool:
    """Tell whether a change of brightness within a spore can be seen through noise and veil."""
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3))) > 0
    least = max(0.05, 1.6 * canvas.look.camera.noise) * (1 + canvas.look.veil)
    return bool(np.percentile(change[grown], 88) >= least)


def _measure(
    angle_rad: float, u_um: np.ndarray, v_um: np.ndarray
) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Measure an outline by positions within it: offset, length and width, angle."""
    (u_low, u_high), (v_low, v_high) = (np.percentile(at, [0.3, 99.7]) for at in (u_um, v_um))
    length_um, width_um = float(u_high - u_low), float(v_high - v_low)
    along_um, across_um = (u_high + u_low) / 2, (v_high + v_low) / 2
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    off_um = (along_um * c - across_um * s, along_um * s + across_um * c)
    if width_um > length_um:
        return off_um, (width_um, length_um), angle_rad + np.pi / 2
    return off_um, (length_um, width_um), angle_rad
